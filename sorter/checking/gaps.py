"""Where slices are missing between two: by how tiles change there, and by what is seen to be soft.

The frames' places are found together, where each step is rather taken for a whole one. So each step that
may hide a gap is asked again by itself: how much better do the tiles that are sharp around it fit if all
frames behind it lie farther off? A gap is one only where that is much better, and where what peaks between
both slices has lost so much in either that it is seen.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.checking.focus import counting, fit_tiles

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.checking.focus import FocusFit, Values

WIDENED: Final = np.array([0, 0.5, 1, 1.5, 2, 2.5, 3, 4])
"""Steps by which a step is tried wider."""
AROUND: Final = 6
"""Frames on either side that are asked."""
CLOSE_BY: Final = 2.0
LEAST_CHANGE: Final = 1.6
"""Times what tiles change over the usual step: below, no step is asked."""
MOST_GAPS: Final = 2
LEAST_ASKED: Final = 6
EQUAL: Final = 0.5
"""Nats that a tile differs by from one slice to the next where its top lies between both."""
LEAST_BETWEEN: Final = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A step that may hide a gap.

    change: what the tiles around change over it, times what they do over the usual step. wide: in steps,
    as it fits best. left: the error that is left then, over that of the step as it was. loss: nats that a
    tile in its middle has lost in both slices. around, between: share of the tiles that are sharpest
    around it, and of those that are as sharp on both sides of it. softer: how much coarser these are, at
    their sharpest, than others at theirs (nats, below 0); None where there are too few.
    """

    change: float
    wide: float
    left: float
    loss: float
    around: float
    between: float
    softer: float | None

    def is_gap(self, *, by_hand: bool) -> bool:
        """Whether slices are missing, by one of the ways in which gaps were seen to show."""
        return any(way.shows(self, by_hand=by_hand) for way in WAYS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """One way in which a gap shows: what of a step is at least (left, softer: at most) so much.

    By hand, where steps are never even, it has to be by more: turned_loss, TURNED_WIDE, TURNED_LEFT.
    softer: None where it need not be told; NOT_FINER holds then where it is.
    """

    change: float
    wide: float
    left: float
    loss: float
    turned_loss: float
    between: float
    around: float
    softer: float | None

    def shows(self, step: Step, *, by_hand: bool) -> bool:
        """Whether it shows in this step."""
        if step.softer is None and self.softer is not None:
            return False
        if step.softer is not None and step.softer > (self.softer or NOT_FINER):
            return False
        if step.wide > MISFIT and step.loss < MISFIT_LOSS:
            return False
        return (
            step.change >= self.change
            and step.wide >= max(self.wide, TURNED_WIDE if by_hand else 0)
            and step.left <= min(self.left, TURNED_LEFT if by_hand else 1)
            and step.loss >= (self.turned_loss if by_hand else self.loss)
            and step.between >= self.between
            and step.around >= self.around
        )


NOT_FINER: Final = 0.05
"""Nats: what peaks in a gap is at least no finer than what peaks elsewhere."""
TURNED_WIDE: Final = 3.0
TURNED_LEFT: Final = 0.9
MISFIT: Final = 4.2
MISFIT_LOSS: Final = 0.8
"""A step that fits best that wide and loses less is one where the curve does not fit at all."""
WAYS: Final = (
    # It fits better wide: by 0.39 nats of energy a sixth of the contrast is lost, and seen.
    Way(
        change=2.2,
        wide=2.2,
        left=0.97,
        loss=0.386,
        turned_loss=0.6,
        between=0.004,
        around=0.03,
        softer=None,
    ),
    Way(
        change=1.75,
        wide=2.2,
        left=0.9,
        loss=0.386,
        turned_loss=0.6,
        between=0.004,
        around=0.03,
        softer=None,
    ),
    # Tiles change over it far more than elsewhere.
    Way(
        change=3.0,
        wide=2.0,
        left=1.0,
        loss=0.25,
        turned_loss=0.6,
        between=0.02,
        around=0.05,
        softer=-0.1,
    ),
    # It fits far better wide, and so wide that nothing is as sharp on both sides of it.
    Way(
        change=2.0,
        wide=3.0,
        left=0.5,
        loss=1.2,
        turned_loss=1.2,
        between=0.0,
        around=0.1,
        softer=None,
    ),
    # What peaks there is seen to be soft.
    Way(
        change=1.6,
        wide=3.0,
        left=0.75,
        loss=1.2,
        turned_loss=1.2,
        between=0.008,
        around=0.05,
        softer=-0.5,
    ),
)
"""Chosen on 160 stacks with a gap of two slices and 970 without (scripts/score_checks, seeds below 30000)."""


def gaps(focus: FocusFit, sharp: Values, fine: Values, *, by_hand: bool) -> tuple[int, ...]:
    """Indexes of the frames behind which slices are missing, in order of focus.

    sharp, fine: log sharpness and fineness, tiles by frames.
    """
    order = np.argsort(focus.at, kind="stable")
    found = [
        int(min(order[index], order[index + 1]))
        for index, step in _steps(focus, sharp[:, order], fine[:, order], order)
        if step.is_gap(by_hand=by_hand)
    ]
    # Many gaps are none: then all steps are about as wide, or the curve is another one.
    return tuple(sorted(found)) if len(found) <= MOST_GAPS else ()


def _steps(
    focus: FocusFit, sharp: Values, fine: Values, order: NDArray[np.int64]
) -> Iterator[tuple[int, Step]]:
    """The steps that may hide a gap, by the index of the frame before them; all in order of focus."""
    at = focus.at[order]
    best = sharp.argmax(1)
    changes = _changes(sharp, best)
    own = fine[np.arange(len(best)), best]
    inner = (best > 0) & (best < sharp.shape[1] - 1)
    for index in range(len(at) - 1):
        usual = float(np.median(np.delete(changes, index))) if len(changes) > 1 else 0.0
        around = np.flatnonzero((best >= index - 1) & (best <= index + 2))
        if changes[index] < LEAST_CHANGE * usual or len(around) < LEAST_ASKED:
            continue
        wider, left = _wider(sharp[around], at, index, focus.width)
        wide = float(at[index + 1] - at[index]) + wider
        between = _between(sharp, best, index)
        others = own[inner & ~between]
        told = between.sum() >= LEAST_BETWEEN and len(others)
        yield (
            index,
            Step(
                change=float(changes[index]) / max(usual, 1e-9),
                wide=wide,
                left=left,
                loss=-float(focus.lowered(wide / 2)),
                around=len(around) / len(sharp),
                between=float(between.mean()),
                softer=float(np.median(own[between]) - np.median(others)) if told else None,
            ),
        )


def _wider(sharp: Values, at: Values, index: int, width: float) -> tuple[float, float]:
    """By how many steps this step fits best wider, and the error that is left then, in shares."""
    rows = slice(max(0, index - AROUND), index + AROUND + 2)
    near, places = sharp[:, rows], at[rows]
    behind = np.arange(len(at))[rows] > index
    weight = counting(near)
    errors = [
        float(fit_tiles(near, weight, places + more * behind, width).error.mean())
        for more in WIDENED
    ]
    least = int(np.argmin(errors))
    return float(WIDENED[least]), errors[least] / max(errors[0], 1e-9)


def _between(sharp: Values, best: NDArray[np.int64], index: int) -> NDArray[np.bool_]:
    """The tiles that are sharpest on one side of the step and about as sharp on the other."""
    close = np.abs(sharp[:, index] - sharp[:, index + 1]) < EQUAL
    found: NDArray[np.bool_] = close & ((best == index) | (best == index + 1))
    return found


def _changes(sharp: Values, best: NDArray[np.int64]) -> NDArray[np.float64]:
    """How much the tiles that are sharp around there change from each frame to the next, in nats."""
    found = np.zeros(sharp.shape[1] - 1)
    for index, change in enumerate(np.diff(sharp, axis=1).T):
        close = change[np.abs(best - index - 0.5) < CLOSE_BY]
        if len(close):
            found[index] = float(np.median(np.abs(close - np.median(change))))
    return found
