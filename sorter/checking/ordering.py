"""The order of a stack's frames by focus, where that is beyond doubt another one than that of capture.

Where steps are fine, the places of neighbours are known no better than to a step: their order is noise.
So each place has an error, and only what lies farther apart than that is put before another.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.checking.focus import BEYOND_DOUBT, LEAST_WEIGHT, loss_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.checking.focus import FocusFit

    Values = NDArray[np.float64]

GROUPS: Final = 12
"""Of tiles, each of which is left out in turn to see how far the frames' places hang on it."""
DISPLACEMENTS: Final = np.linspace(-4, 4, 81)
"""Steps from where a frame was found, at which it is tried."""
ROUNDS: Final = 3
SLOPES: Final = 0.3, 1.5
"""What falls with the distance from focus falls in one frame so many times as much as in another: shaken ones
show less of it."""
SURE: Final = 2.0
"""Times the error of the difference of two places, that they lie apart at the least …"""
LEAST_STEPS: Final = 0.5
"""… and so many of the usual steps (two neighbours that changed about lie one apart) …"""
LEAST_WIDTHS: Final = 0.2
"""… and so many widths of the curve: what lies nearer shows the same."""
LEAST_EXPLAINED: Final = 0.6
"""Below, the places tell of noise or of movement. Where frames had been changed about on purpose, those that
were put in their right order had 0.76 and more."""
OTHERWISE: Final = 0.34
"""Share of frames that lie two places and more from where they were taken, above which a stack was taken in
another order altogether."""


def order_by_focus(
    focus: FocusFit, sharp: Values, explained: float, unknown: Collection[int] = ()
) -> tuple[int, ...] | None:
    """The frames' indexes in order of focus; None where that of capture, either way round, may be it.

    sharp: log sharpness, tiles by frames. explained: the share of what changes that the fit explains.
    unknown: frames of whose place nothing tells, for no tile is sharpest there.
    """
    if explained < LEAST_EXPLAINED:
        return None
    way = 1.0 if np.arange(len(focus.at)) @ (focus.at - focus.at.mean()) >= 0 else -1.0
    order = np.argsort(way * focus.at, kind="stable").tolist()
    if order == sorted(order):
        return None
    found, error = places(focus, sharp, _out_of_order(order))
    error[list(unknown)] = np.inf
    least = max(LEAST_STEPS, LEAST_WIDTHS * focus.width)
    settled = _settled(order, (way * focus.at, way * found), error, least)
    if settled == sorted(settled):
        return None
    # In a stack that was taken in another order altogether, that of capture tells nothing of neighbours.
    strayed = sum(abs(place - index) > 1 for place, index in enumerate(order))
    return tuple(order if strayed > OTHERWISE * len(order) else settled)


def _out_of_order(order: list[int]) -> list[int]:
    """The frames before which a later one stands, or behind which an earlier one does."""
    last = np.maximum.accumulate(order)
    first = np.minimum.accumulate(order[::-1])[::-1]
    return [each for place, each in enumerate(order) if last[place] > each or first[place] < each]


def places(
    focus: FocusFit, sharp: Values, which: Collection[int] | None = None
) -> tuple[Values, Values]:
    """Each frame's place by tiles before and behind it, and its standard error; both in steps.

    which: the frames that are asked; None for all. Others lie where the fit has them, without an error.

    A shaken frame, or one with something before it, is softer all over, which a fit takes for another
    place. So here a frame may have a sharpness and a depth of field of its own: what is left of its place
    is told by what is sharper on one side of it than on the other. The error comes from leaving out each of
    some groups of the tiles (the jackknife: J. W. Tukey, "Bias and confidence in not quite large samples",
    1958), and from how far the fit's own place lies off.
    """
    group = np.arange(len(sharp)) % GROUPS
    found, error = focus.at.copy(), np.zeros(len(focus.at))
    for index in range(len(focus.at)) if which is None else which:
        losses = _losses(focus, sharp, index)
        sums = np.stack([losses[:, group == each].sum(1) for each in range(GROUPS)])
        found[index] += _least(sums.sum(0)[None])[0]
        error[index] = np.sqrt((GROUPS - 1) * np.var(_least(sums.sum(0)[None] - sums)))
    return found, np.hypot(error, (found - focus.at) / 2)


def _losses(focus: FocusFit, sharp: Values, index: int) -> Values:
    """What the tiles have against the frame's lying at each of the displacements: these by tiles."""
    place = focus.at[index]
    weight = np.clip(np.exp(0.5 * focus.lowered(place - focus.depth)), LEAST_WEIGHT, 1.0)
    fallen = focus.lowered(place + DISPLACEMENTS[:, None] - focus.depth[None, :])
    seen = np.broadcast_to(sharp[:, index] - focus.top, fallen.shape)
    counts = np.broadcast_to(weight, fallen.shape)
    for _ in range(ROUNDS):
        off = np.abs(seen - _own(seen, fallen, counts))
        counts = weight * np.minimum(1, BEYOND_DOUBT / np.maximum(off, BEYOND_DOUBT / 10))
    off = np.abs(seen - _own(seen, fallen, counts))
    weighted: Values = weight * loss_of(off)
    return weighted


def _own(seen: Values, fallen: Values, counts: Values) -> Values:
    """The straight line through what is seen over what has fallen, by weighted least squares."""
    total = counts.sum(1, keepdims=True)
    middle = (counts * fallen).sum(1, keepdims=True) / total
    mean = (counts * seen).sum(1, keepdims=True) / total
    spread = (counts * (fallen - middle) ** 2).sum(1, keepdims=True)
    slope = (counts * (fallen - middle) * (seen - mean)).sum(1, keepdims=True)
    line: Values = mean + np.clip(slope / np.maximum(spread, 1e-9), *SLOPES) * (fallen - middle)
    return line


def _least(losses: Values) -> Values:
    """Where each row has its least value, between three of them by a parabola; in steps."""
    middle = np.clip(losses.argmin(1), 1, losses.shape[1] - 2)
    rows = np.arange(len(losses))
    before, least, after = (losses[rows, middle + step] for step in (-1, 0, 1))
    bend = before - 2 * least + after
    off = 0.5 * (before - after) / np.where(bend > 0, bend, np.inf)
    where: Values = DISPLACEMENTS[middle] + np.clip(off, -0.5, 0.5) * np.diff(DISPLACEMENTS)[0]
    return where


def _settled(
    order: list[int], found: tuple[Values, Values], error: Values, least: float
) -> list[int]:
    """The order, in which frames that lie no farther apart than is sure stand as they were taken.

    found: the places by two accounts. least: how far they lie apart by both at the least, in steps.
    """
    settled, changed = list(order), True
    while changed:
        changed = False
        for before in range(len(settled) - 1):
            one, other = settled[before : before + 2]
            apart = min(float(at[other] - at[one]) for at in found)
            sure = max(least, SURE * float(np.hypot(error[one], error[other])))
            if one > other and apart <= sure:
                settled[before : before + 2] = other, one
                changed = True
    return settled
