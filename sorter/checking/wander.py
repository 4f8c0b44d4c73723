"""Whether what is sharp wanders from frame to frame, or stays."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.checking.focus import FocusFit, find_focus, weights
from sorter.checking.tiles import Tiles

if TYPE_CHECKING:
    from sorter.checking.focus import Values

ENOUGH_TILES: Final = 25
SHARE: Final = 0.12
"""Of the grid's tiles that have texture which focus changes, at the least."""
EXPLAINED: Final = 0.8
"""Of what changes in the tiles, by frames that are focused here and there."""
IN_ORDER_EXPLAINED: Final = 0.5
SHUFFLES: Final = 2000
"""The same where frames follow each other by what is sharp, as in none of so many shuffles."""
CHANGE: Final = 0.06
"""Mean square, in nats, of what changes: a tenth of that is noise and a hand's tremble."""
WIDTHS: Final = 1.2
"""Widths of the curve that the frames' places reach over, at the least."""
ROUGH: Final = 0.35
"""How far the depths of neighbouring tiles lie apart, over those of any two, at the most.

Spray makes tiles sharp anywhere and anywhen. On stacks up to 0.25 was seen (0.32 on six slices of the
scene with known depth), on bursts with spray over all of the frame 0.4 and more; less on a few frames.
"""
ROUGH_AND_RELIT: Final = 0.6
"""The same, and the share of tiles that are sharpest where they have another light, at the most.

What comes into focus keeps its light, what flies into the frame brings its own. On stacks up to 0.58
was seen, but for four slices that spread points over a tenth of the frame.
"""
RELIT: Final = 4.0
RELIT_SHARE: Final = 0.06
"""Grey levels, and share of its light, by which a tile's light differs."""
POOR: Final = 0.12
"""Median error in nats² above which the order of capture is doubted."""
BETTER: Final = 0.75
MUCH_BETTER: Final = 0.6
FAR_BETTER: Final = 0.35
"""The same where the other order is all but that of capture: a frame beside one plane may lie on either
side of it."""
ONE_WAY: Final = 0.7
HALF: Final = 0.5
THIRD: Final = 0.35
ENOUGH_FITTING: Final = 0.6
"""Of the tiles, that frames in another order explain, to be believed where their own order explains few."""
DRIVEN: Final = 0.2
TURNED: Final = 0.5
"""How far steps usually are from a whole one where a motor makes them, and where a hand does."""
EVEN: Final = 0.45
"""Spread of the steps over their mean up to which a motor may have made them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wander:
    """Whether focus wanders over the series, and how. share: of tiles that change with focus.

    structured: of tiles that show anything but noise. change, explained: mean square of what changes, in nats², and the part of it that focus explains in
    the median tile. fitting: share of the tiles of which it explains the half or more. sharp, fine: what
    this was found in, of the tiles with texture, by frames.
    """

    focus: FocusFit | None = None
    wanders: bool = False
    share: float = 0.0
    structured: float = 0.0
    change: float = 0.0
    explained: float = 0.0
    fitting: float = 0.0
    sharp: Values = field(default_factory=lambda: np.zeros((0, 0)))
    fine: Values = field(default_factory=lambda: np.zeros((0, 0)))

    @property
    def is_even(self) -> bool:
        """Whether the frames' places go one way in about even steps, as a motor makes them."""
        if self.focus is None:
            return False
        steps = np.diff(self.focus.at)
        one_way = bool((steps > 0).all() or (steps < 0).all())
        return one_way and float(np.std(steps)) < EVEN * float(np.abs(steps).mean())


def wander(tiles: Tiles, *, any_order: bool, is_driven: bool = False) -> Wander:
    """What focus does over these tiles. any_order: frames may stand in any order of focus.

    is_driven: a motor made the steps, about evenly and one way.
    """
    sharp = tiles.sharp[tiles.textured]
    share = float(tiles.textured.mean()) if len(tiles.textured) else 0.0
    if len(sharp) < ENOUGH_TILES or sharp.shape[1] < 2:  # noqa: PLR2004  two make a difference
        return Wander(share=share, structured=tiles.structured)
    if any_order:
        focus = _in_any_order(sharp)
    else:
        focus = find_focus(sharp, spread=DRIVEN if is_driven else TURNED)
        if float(np.median(focus.error)) > POOR and not is_driven:
            focus = _rather_in_order(sharp, focus)
    found = _explained(sharp, focus)
    if found.fitting < HALF and not any_order:
        free = _in_any_order(sharp)
        other = _explained(sharp, free)
        if other.fitting >= ENOUGH_FITTING:
            focus, found = free, other
    reach = float(np.ptp(focus.at)) / focus.width
    wanders = (
        share >= SHARE
        and found.change > CHANGE
        and found.fitting >= HALF
        and (
            found.explained > EXPLAINED
            or (found.explained > IN_ORDER_EXPLAINED and is_in_order(sharp))
        )
        and reach > WIDTHS
        and _keeps_its_scene(focus.depth, tiles)
    )
    return Wander(
        focus=focus,
        wanders=wanders,
        share=share,
        structured=tiles.structured,
        change=found.change,
        explained=found.explained,
        fitting=found.fitting,
        sharp=sharp,
        fine=tiles.fine[tiles.textured],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Explained:
    """What a fit explains, as Wander has it."""

    change: float
    explained: float
    fitting: float


def _explained(sharp: Values, focus: FocusFit) -> _Explained:
    weight, still, left = weights(sharp, focus), _left_still(sharp), _left(sharp, focus)
    # Where all lies in one plane, all that changes is how sharp each frame is: that is focus, too.
    mean = (weight * sharp).sum(1, keepdims=True) / weight.sum(1, keepdims=True)
    most = np.maximum(HALF * (weight * still).sum(1), THIRD * (weight * (sharp - mean) ** 2).sum(1))
    fits = (weight * left).sum(1) < most
    return _Explained(
        change=float(np.mean(still)),
        explained=1 - _middle(left, weight) / max(_middle(still, weight), 1e-9),
        fitting=float(fits.mean()),
    )


def _in_any_order(sharp: Values) -> FocusFit:
    """The fit of frames that may lie anywhere: from the order of capture, or from that of their likeness."""
    free, other = find_focus(sharp), find_focus(sharp, by_likeness(sharp))
    return other if np.median(other.error) < BETTER * np.median(free.error) else free


def _rather_in_order(sharp: Values, in_order: FocusFit) -> FocusFit:
    """This fit, or another one where frames in their own order say much less of the tiles.

    Frames that may lie anywhere always fit better: it has to be much.
    """
    free = _in_any_order(sharp)
    least = MUCH_BETTER if abs(in_step(free.at)) < ONE_WAY else FAR_BETTER
    better = np.median(free.error) < least * np.median(in_order.error)
    return free if better else in_order


def freely(sharp: Values, focus: FocusFit) -> FocusFit | None:
    """The fit with its frames let go of their order; None where their likeness has them in that very order."""
    if abs(in_step(by_likeness(sharp))) == 1 and abs(in_step(focus.at)) == 1:
        return None
    return find_focus(sharp, focus.at)


def is_in_order(sharp: Values) -> bool:
    """Whether frames that follow each other are as like as in none of SHUFFLES of them.

    A permutation test: the way from each to the next, in what is sharp, against that of shuffled ones.
    """
    between = apart(sharp)
    dice = np.random.default_rng(0)
    orders = (dice.permutation(len(between)) for _ in range(SHUFFLES))
    way = float(np.diagonal(between, 1).sum())
    return all(float(between[order[:-1], order[1:]].sum()) > way for order in orders)


def in_step(at: Values) -> float:
    """How far places go one way: 1 or -1 where all pairs of frames do, 0 at random (M. G. Kendall, 1938)."""
    ways = np.sign(at[None, :] - at[:, None])[np.triu_indices(len(at), 1)]
    return float(ways.mean()) if len(ways) else 0.0


def _keeps_its_scene(depth: Values, tiles: Tiles) -> bool:
    """Whether a scene that stays comes into focus, and nothing that comes and goes."""
    rough = _roughness(depth, tiles)
    return rough < ROUGH and rough + _relit(tiles) < ROUGH_AND_RELIT


def _relit(tiles: Tiles) -> float:
    """The share of tiles with texture whose light is another where they are sharpest."""
    frames = np.median(tiles.light, axis=0, keepdims=True)
    light = (tiles.light * np.median(frames) / np.maximum(frames, 1e-6))[tiles.textured]
    usual = np.median(light, axis=1)
    sharpest = light[np.arange(len(light)), tiles.sharp[tiles.textured].argmax(1)]
    return float((np.abs(sharpest - usual) > np.maximum(RELIT, RELIT_SHARE * usual)).mean())


def _roughness(depth: Values, tiles: Tiles) -> float:
    """How far the depths of neighbours lie apart, over those of any two; infinite where none has one."""
    grid = np.full(tiles.shape, np.nan)
    grid.ravel()[tiles.textured] = depth
    nearby = np.concatenate([np.abs(np.diff(grid, axis=axis)).ravel() for axis in (0, 1)])
    nearby = nearby[~np.isnan(nearby)]
    if len(nearby) < ENOUGH_TILES:
        return np.inf
    # Any two: a shuffle that is the same every time.
    any_two = np.median(np.abs(depth - np.random.default_rng(0).permutation(depth)))
    return float(np.median(nearby) / max(float(any_two), 1e-6))


def _middle(squares: Values, weight: Values) -> float:
    """The median tile's weighted mean: tiles over an edge in depth, or with spray, do not count."""
    return float(np.median((weight * squares).sum(1) / weight.sum(1)))


def _left_still(sharp: Values) -> Values:
    """What is left of each value where all frames show all tiles equally, but for one factor each."""
    rest = sharp - sharp.mean(1, keepdims=True)
    left: Values = (rest - np.median(rest, axis=0, keepdims=True)) ** 2
    return left


def _left(sharp: Values, focus: FocusFit) -> Values:
    expected = focus.top[:, None] + focus.lowered(focus.at[None, :] - focus.depth[:, None])
    left: Values = (sharp - expected) ** 2
    return left


def by_likeness(sharp: Values) -> Values:
    """Places of the frames in the order that puts like ones side by side.

    The eigenvector of the second least eigenvalue of their graph's Laplacian gives the order
    (J. E. Atkins, E. G. Boman, B. Hendrickson, "A spectral algorithm for seriation", 1998).
    """
    between = apart(sharp)
    near = np.sort(between, axis=1)[:, 1 : min(4, len(between))]
    weight = np.exp(-between / max(1e-9, 2 * float(np.median(near))))
    np.fill_diagonal(weight, 0)
    _, vectors = np.linalg.eigh(np.diag(weight.sum(1)) - weight)
    order = np.argsort(vectors[:, 1], kind="stable")
    at = np.empty(len(order))
    at[order] = np.arange(len(order), dtype=float)
    return at if at[0] <= at[-1] else at.max() - at


def apart(sharp: Values) -> Values:
    """How far any two frames lie apart in their sharpness: mean squares, in nats²."""
    squares = (sharp**2).mean(0)
    found: Values = squares[:, None] + squares[None, :] - 2 * (sharp.T @ sharp) / len(sharp)
    return np.maximum(found, 0.0)
