"""What a sequence of a shoot covered, estimated from the camera's distances."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from sorter import optics
from sorter.errors import BadChoice
from sorter.handoff.numbers import spans_of, written
from sorter.model.kinds import Role
from sorter.model.row import Row
from sorter.model.steps import Covered, Setup, StepRow
from sorter.pipeline.stepping import MM, estimated_magnification
from sorter.writing.records import entries_of


def covered(shoot: Path, number: int, setup: Setup, f_number: float | None = None) -> Covered:
    """What a sequence of the shoot covered, estimated from the camera's distances.

    setup: its magnification is not used. f_number: in place of what the camera said. Raises BadChoice
    where there is no such sequence, or the camera did not tell enough, and what entries_of raises.
    """
    rows = [each.row for each in entries_of(shoot)]
    frames = _frames(rows, number)
    focal = _known((row.focal_length_mm for row in frames), "focal length", number)
    stop = f_number or _known((row.f_number for row in frames), "f-number", number)
    near_m = _known((row.focus_near_m for row in frames), "focus distance", number)
    far_m = max(row.focus_far_m for row in frames if row.focus_far_m is not None)
    near, far = (_at(focal, each, stop, setup) for each in (near_m, far_m))
    subject = (far_m - near_m) * MM + (near[1].depth_mm + far[1].depth_mm) / 2
    return Covered(
        sequence=number,
        kind=str(frames[0].kind),
        frames=len(frames),
        focal_mm=focal,
        near_m=near_m,
        far_m=far_m,
        subject_mm=subject,
        near_magnification=near[0],
        far_magnification=far[0],
        near=near[1],
        far=far[1],
        needed=optics.frames_needed(subject, near[1].depth_mm, near[1].step_mm),
        mean_step_mm=(far_m - near_m) * MM / (len(frames) - 1) if len(frames) > 1 else None,
    )


def _at(focal: float, distance_m: float, stop: float, setup: Setup) -> tuple[float, StepRow]:
    magnification = estimated_magnification(focal, distance_m)
    there = Setup(
        magnification=magnification,
        circle_mm=setup.circle_mm,
        overlap=setup.overlap,
        pupil=setup.pupil,
        wavelength_um=setup.wavelength_um,
        criterion=setup.criterion,
    )
    return magnification, optics.row_for(stop, there)


def _frames(rows: Sequence[Row], number: int) -> list[Row]:
    """One row for each frame of the sequence, in order of capture."""
    numbers = {row.sequence for row in rows if row.sequence is not None}
    if number not in numbers:
        there = written(spans_of(numbers)) or "none"
        raise BadChoice(f"--sequence: this shoot has no sequence {number}. It has {there}.")
    frames: dict[int, Row] = {}
    for row in rows:
        if row.sequence == number and row.position and row.role in (Role.RAW, Role.IMAGE):
            frames.setdefault(row.position, row)
    return [frames[position] for position in sorted(frames)]


def _known(values: Iterable[float | None], what: str, number: int) -> float:
    """The smallest of what the camera told. Raises BadChoice where it told nothing that can be used."""
    known = [value for value in values if value and value != float("inf")]
    if not known:
        raise BadChoice(
            f"sequence {number}: the camera told no {what}, so that its depth cannot be estimated. Give "
            "--magnification and --depth without a shoot."
        )
    return min(known)
