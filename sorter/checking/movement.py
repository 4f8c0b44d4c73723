"""What moved over a series: the frame as a whole, and things within it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.model.glance import ALIKE

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.model.glance import Measured, Move

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


def movement(measured: Measured, use: NDArray[np.bool_]) -> Movement:
    """What moved, over the frames that are used."""
    moves = [
        (index, move)
        for index, move in enumerate(measured.moves)
        if move is not None and use[index] and use[move.of]
    ]
    side = max((max(g.width, g.height) for g in measured.glances if g is not None), default=0)
    known = [move for _, move in moves if move.likeness >= ALIKE]
    usual = float(np.median([np.hypot(move.dx, move.dy) for move in known])) if known else 0.0
    strays = float(np.median([move.strayed for move in known])) if known else 0.0
    return Movement(
        jumps=tuple(index - 1 for index, move in moves if _jumps(move, side, usual)),
        moved=tuple(index - 1 for index, move in moves if _strayed(move, side, strays)),
    )


def _jumps(move: Move, side: int, usual: float) -> bool:
    if move.likeness < ALIKE or abs(move.growth - 1) > GROWS:
        return True
    return float(np.hypot(move.dx, move.dy)) > max(JUMP * side, OF_USUAL * usual)


def _strayed(move: Move, side: int, usual: float) -> bool:
    return move.likeness >= ALIKE and move.strayed > max(STRAYS * side, STRAYS_OF_USUAL * usual)
