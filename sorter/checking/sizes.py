"""Frames whose picture is too small to tell what is sharp in it."""

from __future__ import annotations

from dataclasses import replace

from sorter.model.measurement import MeasuredSeries


def telling(measured: MeasuredSeries) -> MeasuredSeries:
    """The series as the questions of focus see it: a small picture among large ones counts as none.

    Where all are small they stay, for brightness and likeness.
    """
    if not any(each is not None and each.tells_focus for each in measured.measurements):
        return measured
    kept = [
        each if each is not None and each.tells_focus else None for each in measured.measurements
    ]
    return replace(
        measured,
        measurements=tuple(kept),
        displacements=tuple(
            move if own is not None else None
            for own, move in zip(kept, measured.displacements, strict=True)
        ),
    )


def too_small(measured: MeasuredSeries) -> tuple[int, ...]:
    """The indexes of the frames that telling leaves out."""
    seen = telling(measured).measurements
    return tuple(
        index
        for index, (before, after) in enumerate(zip(measured.measurements, seen, strict=True))
        if before is not None and after is None
    )


def smallest(measured: MeasuredSeries) -> int | None:
    """Pixels of the longer side of the smallest picture; None where there is none."""
    return min((each.side for each in measured.measurements if each is not None), default=None)
