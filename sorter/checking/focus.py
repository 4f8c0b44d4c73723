"""Where the frames of a series are focused, and how deep each tile lies, out of sharpness alone.

A tile's sharpness over the frames is a curve with its top where the tile is in focus. Defocus by a
thin lens is linear in the position of the focus (in dioptres), so that the curves of all tiles are
one curve at different places. That curve, the places of the tiles and those of the frames are found
together: what one tile cannot tell (whether its top lies beyond the last frame), all together can.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Values = NDArray[np.float64]

FALL: Final = 1.5
"""How steeply sharpness falls far from focus: energy over distance to the power of twice this.

1.35 to 1.6 was seen on real pictures blurred by a disc (the corpus's picture with known depth).
"""
REACH: Final = 12.0
"""How many steps beyond the first and last frame a tile's place is looked for."""
STEP: Final = 0.25
WIDTHS: Final = np.geomspace(0.3, 14, 9)
NEAR_WIDTHS: Final = np.array([0.72, 0.85, 1, 1.18, 1.4])
"""Times a width, that are tried next."""
ROUNDS: Final = 3
LEAST_WEIGHT: Final = 0.08
"""Of a frame in which a tile is soft: what is seen there is mostly its neighbours and noise."""
MOST_TILES: Final = 200
"""More are not needed to find the frames' places and the curve's width."""
AROUND_STEPS: Final = 1.6
AROUND_WIDTHS: Final = 0.5
"""A tile lies no farther than that from the frame that shows it sharpest."""
FAR_STEPS: Final = 2.0
FAR_WIDTHS: Final = 2.0
"""Frames that lie farther than that from it count less and less: there it shows its neighbours."""
FARTHEST: Final = 30.0
"""Steps from where a tile may lie to the farthest frame that is asked about it."""
GROUP: Final = 24.0
"""Steps that the sharpest frames of tiles lie apart at most that are fitted together."""
ENOUGH: Final = 10
LEAST_STEP: Final = 0.05
FLAT: Final = 1e-12  # a bend that is but what floating point leaves over
DISPLACEMENTS: Final = np.linspace(-1.5, 1.5, 31)
"""Steps that a frame is moved by in one round."""
ALIKE_TILES: Final = 25.0
LEAST_ERROR: Final = 0.03
UNEVEN: Final = 1.0
BACKWARDS: Final = 30.0
BEYOND_DOUBT: Final = 0.5
"""Nats that a tile may lie off the curve before it counts by its distance, no more by its square."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FocusFit:
    """The series by focus.

    at: the place of each frame; the median step is 1. width: distance from a tile's place at which
    its sharpness has fallen to 1 / 2**FALL of the top's energy (about a third). depth: the place of
    each tile. top: its log sharpness there. error: mean square of what is left, in nats².
    """

    at: Values
    width: float
    depth: Values
    top: Values
    error: Values

    def lowered(self, distance: Values | float) -> Values:
        """The log of a tile's sharpness so far from its place, against its top."""
        return curve(distance, self.width)


def curve(distance: Values | float, width: float) -> Values:
    """The log of the energy at a distance from focus, 0 at focus."""
    fallen: Values = -FALL * np.log1p((np.asarray(distance) / width) ** 2)
    return fallen


def find_focus(
    sharp: Values, start: Values | None = None, *, spread: float | None = None
) -> FocusFit:
    """The focus of a series. sharp: log sharpness, tiles by frames.

    start: places of the frames to begin from; None for one step each, in order of capture. spread: how
    far steps usually are from a whole one; then frames stay in their order and steps are taken to be
    even where tiles do not tell otherwise. None: frames lie where the tiles that are sharp have them.
    """
    count = sharp.shape[1]
    at = np.arange(count, dtype=float) if start is None else start.astype(float)
    some = sharp[np.linspace(0, len(sharp) - 1, min(len(sharp), MOST_TILES)).astype(int)]
    weight = counting(some)
    found = _best(some, weight, at, WIDTHS)
    found = _best(some, weight, at, np.maximum(found.width * NEAR_WIDTHS, WIDTHS[0]))
    for _ in range(ROUNDS):
        good = found.error <= np.percentile(found.error, 80)
        losses = _losses(some[good], found, good)
        at = _placed_freely(at, losses) if spread is None else _placed_in_order(at, losses, spread)
        at = _even(at)
        found = _best(some, weight, at, np.maximum(found.width * NEAR_WIDTHS[1:4], WIDTHS[0]))
    return fit_tiles(sharp, counting(sharp), at, found.width)


def _best(sharp: Values, weight: Values, at: Values, widths: Values) -> FocusFit:
    """The width that fits best, judged by tiles that have their top between the ends."""
    inner = _with_inner_top(sharp)
    every = (fit_tiles(sharp, weight, at, float(width)) for width in widths)
    return min(every, key=lambda each: float(np.median(each.error[inner])))


def counting(sharp: Values) -> Values:
    """How much each value counts: less where its tile is soft."""
    weight: Values = np.clip(np.exp(0.5 * (sharp - sharp.max(1, keepdims=True))), LEAST_WEIGHT, 1)
    return weight


def _with_inner_top(sharp: Values) -> NDArray[np.bool_]:
    """Tiles whose sharpest frame is neither the first nor the last; all where these are too few."""
    best = sharp.argmax(1)
    inner = (best > 0) & (best < sharp.shape[1] - 1)
    return inner if inner.sum() >= ENOUGH else np.ones(len(sharp), dtype=bool)


def fit_tiles(sharp: Values, weight: Values, at: Values, width: float) -> FocusFit:
    """The tiles with these places of the frames: each with the least squares, its height left free.

    A tile lies close to the frame that shows it sharpest: an edge in depth gives it two tops, and
    some place far from both would fit best. Only where the sharpest frame is an outermost one may it
    lie beyond. So tiles are fitted in groups, each against the frames around it.
    """
    best = at[sharp.argmax(1)]
    around = max(AROUND_STEPS, AROUND_WIDTHS * width)
    depth, top, error = (np.zeros(len(sharp)) for _ in range(3))
    for low, high in _groups(at):
        own = np.flatnonzero((best >= low) & (best < high))
        if not len(own):
            continue
        first = at.min() - REACH if low == -np.inf else best[own].min() - around
        last = at.max() + REACH if high == np.inf else best[own].max() + around
        seen = (at > first - FARTHEST) & (at < last + FARTHEST)
        grid = np.arange(first, last + STEP / 2, STEP)
        allowed = _allowed(grid, best[own], at, around)
        fitted = _fitted(
            sharp[np.ix_(own, seen)],
            weight[np.ix_(own, seen)] * _nearness(best[own], at[seen], width),
            curve(at[seen][None, :] - grid[:, None], width),
            allowed,
        )
        where, top[own], error[own] = fitted
        depth[own] = grid[0] + STEP * where
    return FocusFit(at=at, width=width, depth=depth, top=top, error=error)


def _groups(at: Values) -> Iterator[tuple[float, float]]:
    """From which place of the sharpest frame on, and up to which: the outermost by themselves."""
    low, high = float(at.min()), float(at.max())
    inner = np.nextafter(low, np.inf)
    if high <= inner:
        yield -np.inf, np.inf
        return
    edges = [-np.inf, inner, *np.arange(low + GROUP, high - GROUP / 2, GROUP), high, np.inf]
    yield from itertools.pairwise(edges)


def _fitted(
    sharp: Values, weight: Values, fall: Values, allowed: NDArray[np.bool_]
) -> tuple[Values, Values, Values]:
    """Where in the grid each tile fits best, its top there, and its mean square error.

    fall: the curve, places of the grid by frames. allowed: tiles by places.
    """
    total = weight.sum(1, keepdims=True)
    weighted = weight * sharp
    mean = weighted.sum(1, keepdims=True) / total
    fallen = weight @ fall.T / total
    squares = weight @ (fall * fall).T - total * fallen**2
    error = squares - 2 * (weighted @ fall.T - total * mean * fallen)
    error += (weighted * sharp).sum(1, keepdims=True) - total * mean**2
    error[~allowed] = np.inf
    least = error.argmin(1)
    rows = np.arange(len(sharp))
    place = least + _vertex(error, least)
    return place, (mean - fallen)[rows, least], error[rows, least] / total[:, 0]


def _nearness(best: Values, at: Values, width: float) -> Values:
    """1 for the frame that shows a tile sharpest, less for those far from it."""
    apart = (at[None, :] - best[:, None]) / (FAR_STEPS + FAR_WIDTHS * width)
    near: Values = 1 / (1 + apart**2)
    return near


def weights(sharp: Values, focus: FocusFit) -> Values:
    """How much each value counts for its tile's place."""
    return counting(sharp) * _nearness(focus.at[sharp.argmax(1)], focus.at, focus.width)


def _allowed(grid: Values, best: Values, at: Values, around: float) -> NDArray[np.bool_]:
    """Which places of the grid a tile may have whose sharpest frame lies at best."""
    low = np.where(best <= at.min(), -np.inf, best - around)
    high = np.where(best >= at.max(), np.inf, best + around)
    allowed: NDArray[np.bool_] = (grid[None, :] >= low[:, None]) & (grid[None, :] <= high[:, None])
    return allowed


def _vertex(error: Values, best: NDArray[np.int64]) -> Values:
    """Where between its neighbours the least error lies, -0.5 to 0.5 of a step; 0 at the ends."""
    rows = np.arange(len(error))
    middle = np.clip(best, 1, error.shape[1] - 2)
    before, least, after = (error[rows, middle + step] for step in (-1, 0, 1))
    known = np.isfinite(before) & np.isfinite(after)
    before, after = np.where(known, before, least), np.where(known, after, least)
    bend = before - 2 * least + after
    off = 0.5 * (before - after) / np.where(bend > FLAT, bend, np.inf)
    where: Values = np.where(middle == best, np.clip(off, -0.5, 0.5), 0.0)
    return where


def _losses(sharp: Values, fit: FocusFit, which: NDArray[np.bool_]) -> Values:
    """What each frame loses where it is moved by each of DISPLACEMENTS: by the tiles that are sharp in it.

    Of this fit these tiles. In units of the fit's own error, as if ALIKE_TILES of them told anything new:
    what one tile's curve lacks, its neighbours' lack too.
    """
    depth, top = fit.depth[which], fit.top[which]
    losses = np.zeros((len(fit.at), len(DISPLACEMENTS)))
    for index, place in enumerate(fit.at):
        weight = np.clip(np.exp(0.5 * curve(place - depth, fit.width)), LEAST_WEIGHT, 1.0)
        moved = place + DISPLACEMENTS[None, :] - depth[:, None]
        off = np.abs(sharp[:, index][:, None] - top[:, None] - curve(moved, fit.width))
        losses[index] = (weight[:, None] * loss_of(off)).sum(0)
    scale = min(1.0, ALIKE_TILES / max(1, len(sharp)))
    told: Values = losses * scale / max(LEAST_ERROR, float(np.median(fit.error[which])))
    return told


def loss_of(off: Values) -> Values:
    """What a tile has against lying so far off the curve: by its square, beyond doubt by its distance."""
    return np.where(off < BEYOND_DOUBT, off**2 / 2, BEYOND_DOUBT * (off - BEYOND_DOUBT / 2))


def _placed_freely(at: Values, losses: Values) -> Values:
    """Each frame where the tiles that are sharp in it would have it, up to 1.5 steps from before."""
    placed: Values = at + DISPLACEMENTS[losses.argmin(1)]
    return placed


def _placed_in_order(at: Values, losses: Values, spread: float) -> Values:
    """The same of frames that keep their order, each step rather a whole one than another."""
    found = at.copy()
    last = len(at) - 1
    for index in range(last + 1):
        places = at[index] + DISPLACEMENTS
        cost = losses[index].copy()
        if index:
            cost += _uneven(places - found[index - 1], spread)
        if index < last:
            cost += _uneven(found[index + 1] - places, spread)
        found[index] = places[int(cost.argmin())]
    return np.maximum.accumulate(found + LEAST_STEP * np.arange(last + 1))


def _uneven(steps: Values, spread: float) -> Values:
    """What a step costs that is no whole one; backwards more than anything. Heavy tails: there are gaps."""
    cost = UNEVEN * np.log1p(((steps - 1) / spread) ** 2)
    return np.where(steps < LEAST_STEP, cost + BACKWARDS * (1 + LEAST_STEP - steps), cost)


def _even(at: Values) -> Values:
    """The places with a median step of 1, the least one 0."""
    steps = np.diff(np.sort(at))
    median = float(np.median(steps)) if len(steps) else 1.0
    even: Values = (at - at.min()) / max(median, LEAST_STEP)
    return even
