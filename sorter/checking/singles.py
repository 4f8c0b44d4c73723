"""Stacks among single frames: those of one framing that differ only in what is sharp."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from sorter.checking.align import FRAMED
from sorter.checking.series import judge
from sorter.model.finding import ProposedSequence
from sorter.model.kinds import STACK_KINDS, Kind
from sorter.model.measurement import ALIKE, Displacement, MeasuredSeries


def stacks_in(measured: MeasuredSeries, least: int) -> Iterator[ProposedSequence]:
    """Each stack of at least so many frames, and why it is one."""
    start = 0
    for index in range(1, len(measured.measurements) + 1):
        if index < len(measured.measurements) and _goes_on(measured, index):
            continue
        if index - start >= least:
            part = _part(measured, start, index)
            found = judge(part, sequence=0, kind=Kind.SINGLE)
            if found.check.looks_like in STACK_KINDS:
                why = (
                    f"by the pictures: {index - start} frames of one framing that differ in what is "
                    "sharp"
                )
                yield ProposedSequence(
                    first=start, last=index - 1, kind=Kind.MANUAL_STACK, grounds=why
                )
        start = index


def _goes_on(measured: MeasuredSeries, index: int) -> bool:
    """Whether the frame shows what the one before it does, in the same framing."""
    displacement, measurement = measured.displacements[index], measured.measurements[index]
    if (
        displacement is None
        or measurement is None
        or displacement.of != index - 1
        or displacement.likeness < ALIKE
    ):
        return False
    return max(abs(displacement.dx), abs(displacement.dy)) < FRAMED * max(
        measurement.width, measurement.height
    )


def _part(measured: MeasuredSeries, start: int, stop: int) -> MeasuredSeries:
    displacements: list[Displacement | None] = [
        None
        if displacement is None or displacement.of < start
        else replace(displacement, of=displacement.of - start)
        for displacement in measured.displacements[start:stop]
    ]
    return MeasuredSeries(
        measurements=measured.measurements[start:stop], displacements=tuple(displacements)
    )
