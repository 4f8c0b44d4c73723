"""What moved over a series: the frame as a whole, and things within it.

Things within it are told by light that comes and goes (movers.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.checking.align import longer_side
from sorter.checking.movers import Moved, movers
from sorter.model.measurement import ALIKE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.checking.align import Alignment
    from sorter.model.measurement import Displacement, MeasuredSeries

JUMP: Final = 0.025
"""Of the frame's longer side: merging crops away what one frame lacks, and no more is to be lost."""
OF_USUAL: Final = 5.0
"""A jump is also so many times the usual move of its series: hand-held ones sway all the time."""
GROWS: Final = 0.02
"""A change of scale from frame to frame that no lens makes by its breathing over one step."""


LARGE: Final = 0.04
"""Of the frame: a merge takes what is smaller out of one slice, and is still one picture."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """jumps: indexes of the frames before them. moved: what moved, in order, one thing a step."""

    jumps: tuple[int, ...]
    moved: tuple[Moved, ...]

    @property
    def breaks(self) -> int:
        """Over how many steps the frame jumped, or a large part of it moved."""
        return len({*self.jumps, *(each.before for each in self.moved if each.area > LARGE)})


def movement(measured: MeasuredSeries, places: Alignment, use: NDArray[np.bool_]) -> Movement:
    """What moved, over the frames that are used."""
    displacements = [
        (index, displacement, longer_side(of))
        for index, displacement in enumerate(measured.displacements)
        if displacement is not None
        and use[index]
        and use[displacement.of]
        and (of := measured.measurements[displacement.of]) is not None
    ]
    known = [(each, side) for _, each, side in displacements if each.likeness >= ALIKE]
    usual = _median([float(np.hypot(each.dx, each.dy)) / side for each, side in known])
    return Movement(
        jumps=tuple(index - 1 for index, each, side in displacements if _jumps(each, side, usual)),
        moved=movers(measured, places, np.flatnonzero(use)),
    )


def _median(values: list[float]) -> float:
    return float(np.median(values)) if values else 0.0


def _jumps(displacement: Displacement, side: int, usual: float) -> bool:
    """side: pixels of the longer side. usual: how far frames of the series move, in sides."""
    if displacement.likeness < ALIKE or abs(displacement.growth - 1) > GROWS:
        return True
    way = float(np.hypot(displacement.dx, displacement.dy)) / side
    return way > max(JUMP, OF_USUAL * usual)
