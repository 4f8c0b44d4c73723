"""Stacks among single frames: those of one framing that differ only in what is sharp."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Final

from sorter.checking.series import judge
from sorter.model.finding import Piece
from sorter.model.glance import ALIKE, Measured, Move
from sorter.model.kinds import STACK_KINDS, Kind

FRAMED: Final = 0.1
"""Of the longer side: how far the frame may move between two slices that are turned by hand."""


def stacks_in(measured: Measured, least: int) -> Iterator[Piece]:
    """Each stack of at least so many frames, and why it is one."""
    start = 0
    for index in range(1, len(measured.glances) + 1):
        if index < len(measured.glances) and _goes_on(measured, index):
            continue
        if index - start >= least:
            part = _part(measured, start, index)
            found = judge(part, sequence=0, kind=Kind.SINGLE)
            if found.check.looks_like in STACK_KINDS:
                why = (
                    f"by the pictures: {index - start} frames of one framing that differ in what is "
                    "sharp"
                )
                yield Piece(first=start, last=index - 1, kind=Kind.MANUAL_STACK, grounds=why)
        start = index


def _goes_on(measured: Measured, index: int) -> bool:
    """Whether the frame shows what the one before it does, in the same framing."""
    move, glance = measured.moves[index], measured.glances[index]
    if move is None or glance is None or move.of != index - 1 or move.likeness < ALIKE:
        return False
    return max(abs(move.dx), abs(move.dy)) < FRAMED * max(glance.width, glance.height)


def _part(measured: Measured, start: int, stop: int) -> Measured:
    moves: list[Move | None] = [
        None if move is None or move.of < start else replace(move, of=move.of - start)
        for move in measured.moves[start:stop]
    ]
    return Measured(glances=measured.glances[start:stop], moves=tuple(moves))
