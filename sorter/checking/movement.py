"""What moved over a series: the frame as a whole, and things within it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.model.measurement import ALIKE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.model.measurement import Displacement, MeasuredSeries

JUMP: Final = 0.025
"""Of the frame's longer side: merging crops away what one frame lacks, and no more is to be lost."""
OF_USUAL: Final = 5.0
"""A jump is also so many times the usual move of its series: hand-held ones sway all the time."""
GROWS: Final = 0.02
"""A change of scale from frame to frame that no lens makes by its breathing over one step."""
STRAYS: Final = 0.012
"""Of the longer side: what a part of the frame may stray by itself; a leaf in the wind strays more."""
STRAYS_OF_USUAL: Final = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Movement:
    """jumps, moved: indexes of the frames before them."""

    jumps: tuple[int, ...]
    moved: tuple[int, ...]


def movement(measured: MeasuredSeries, use: NDArray[np.bool_]) -> Movement:
    """What moved, over the frames that are used."""
    displacements = [
        (index, displacement)
        for index, displacement in enumerate(measured.displacements)
        if displacement is not None and use[index] and use[displacement.of]
    ]
    side = max((max(g.width, g.height) for g in measured.measurements if g is not None), default=0)
    known = [displacement for _, displacement in displacements if displacement.likeness >= ALIKE]
    usual = (
        float(np.median([np.hypot(displacement.dx, displacement.dy) for displacement in known]))
        if known
        else 0.0
    )
    strays = float(np.median([displacement.strayed for displacement in known])) if known else 0.0
    return Movement(
        jumps=tuple(
            index - 1 for index, displacement in displacements if _jumps(displacement, side, usual)
        ),
        moved=tuple(
            index - 1
            for index, displacement in displacements
            if _strayed(displacement, side, strays)
        ),
    )


def _jumps(displacement: Displacement, side: int, usual: float) -> bool:
    if displacement.likeness < ALIKE or abs(displacement.growth - 1) > GROWS:
        return True
    return float(np.hypot(displacement.dx, displacement.dy)) > max(JUMP * side, OF_USUAL * usual)


def _strayed(displacement: Displacement, side: int, usual: float) -> bool:
    return displacement.likeness >= ALIKE and displacement.strayed > max(
        STRAYS * side, STRAYS_OF_USUAL * usual
    )
