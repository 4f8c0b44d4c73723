"""The arithmetic of a stack as lines for the screen. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from sorter.cli.layout import Printed
from sorter.cli.outcomes import tabled
from sorter.cli.phrases import counted
from sorter.model.steps import Covered, Setup, StepRow

_UM_BELOW_MM: Final = 0.1

NO_UNIT: Final = (
    "A camera's focus step width has no unit: for one setting, between 0.2 and 0.8 of the depth of "
    "field were measured, by lens. Try yours on a ruler."
)
MARKED: Final = (
    "f-numbers are those marked on the lens. At macro some cameras show the effective one already."
)
_CRITERIA: Final = {
    "larger": "the larger of geometric and wave counts",
    "geometric": "the geometric one counts",
    "wave": "the one by wave optics counts",
}


def length(mm: float) -> str:
    """Millimetres, or micrometres where they are few: 1.44 mm, 75 µm."""
    if mm < _UM_BELOW_MM:
        return f"{mm * 1000:.3g} µm"
    return f"{mm:.3g} mm"


def table(rows: Sequence[StepRow], setup: Setup, circle: str) -> Iterator[Printed]:
    """A line for each f-number, and what it all rests on."""
    headings = ["f/", "effective", "geometric", "wave", "counts", "Airy disk", "step", "frames"]
    lines = [_cells(row) for row in rows]
    if setup.subject_mm is None:
        headings, lines = headings[:-1], [line[:-1] for line in lines]
    yield from tabled(headings, lines, right={0, 1, 2, 3, 5, 6, 7})
    yield from _grounds(setup, circle, f"magnification {setup.magnification:.3g}")
    if setup.estimated:
        yield Printed(text=f"The magnification is an estimate, {setup.estimated}.", style="note")
    yield Printed(text=MARKED, style="dim")
    yield Printed(text=NO_UNIT, style="dim")


def _cells(row: StepRow) -> list[str]:
    return [
        f"{row.f_number:g}",
        f"{row.effective_f_number:.3g}",
        length(row.geometric_mm),
        length(row.wave_mm),
        row.decides,
        f"{row.airy_um:.3g} µm",
        length(row.step_mm),
        str(row.frames or ""),
    ]


def _grounds(setup: Setup, circle: str, size: str) -> Iterator[Printed]:
    pupil = "" if setup.pupil == 1 else f", pupil magnification {setup.pupil:g}"
    subject = "" if setup.subject_mm is None else f"; a subject {setup.subject_mm:g} mm deep"
    yield Printed(
        text=f"{size}{pupil}; circle of confusion {setup.circle_mm:g} mm ({circle}); light of "
        f"{setup.wavelength_um:g} µm; slices overlap by {setup.overlap:.0%}{subject}."
    )
    yield Printed(text=f"Of the two depths of field {_CRITERIA[setup.criterion]}.")


def sequence(found: Covered, setup: Setup, circle: str, estimated: str) -> Iterator[Printed]:
    """What a sequence covered, and how many frames that would have taken."""
    yield Printed(
        text=f"sequence {found.sequence}, {found.kind} of {counted(found.frames, 'frame', 'frames')}: "
        f"{found.focal_mm:g} mm at f/{found.near.f_number:g}, all of it estimated",
        style="heading",
    )
    ends = (
        ("nearest", found.near_m, found.near_magnification, found.near),
        ("farthest", found.far_m, found.far_magnification, found.far),
    )
    lines = [
        [name, f"{at:.3f} m", f"{m:.3g}", length(row.depth_mm), row.decides, length(row.step_mm)]
        for name, at, m, row in ends
    ]
    headings = ("focus", "distance", "magnification", "depth of field", "counts", "step")
    yield from tabled(headings, lines, right={1, 2, 3, 5})
    mean = "" if found.mean_step_mm is None else f", {length(found.mean_step_mm)} a step on average"
    yield Printed(text=f"It covered about {length(found.subject_mm)}{mean}.")
    yield Printed(
        text=f"With steps as at the nearest focus that takes {counted(found.needed, 'frame', 'frames')}"
        f"; {found.frames} were taken."
    )
    yield from _grounds(setup, circle, "magnification by focal length and distance")
    yield Printed(text=f"An estimate: {estimated}.", style="note")
    yield Printed(text=NO_UNIT, style="dim")
