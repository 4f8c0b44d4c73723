"""The arithmetic of a stack: tables over f-numbers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final

from sorter import optics
from sorter.disk.output import Output, replace_file
from sorter.model.steps import Setup, StepRow

SENSORS: Final = tuple(optics.CIRCLES_MM)
FULL_STOPS: Final = optics.FULL_STOPS
CRITERIA: Final = tuple(str(each) for each in optics.Criterion)
MM: Final = 1000.0  # in a metre

NEAR: Final = "nearer than a thin lens of that focal length can focus, so it is taken for life size"
ESTIMATED: Final = (
    "lenses shorten when they focus close, tubes are not told, and distances in whole centimetres are "
    "coarser than a macro step"
)


def circle_of(sensor: str) -> float:
    """The circle of confusion for a sensor, in mm."""
    return optics.CIRCLES_MM[sensor]


def estimated_magnification(focal_mm: float, distance_m: float) -> float:
    """By focal length and focus distance, as of a thin lens; 1 where that could not focus so near.

    A macro lens that does has become shorter: it is near life size then.
    """
    return optics.magnification_at(focal_mm, distance_m * MM) or 1.0


def is_near(focal_mm: float, distance_m: float) -> bool:
    """Whether a thin lens of this focal length could not focus so near."""
    return optics.magnification_at(focal_mm, distance_m * MM) is None


def steps(f_numbers: Iterable[float], setup: Setup) -> tuple[StepRow, ...]:
    """The answers for each f-number, in their order."""
    return tuple(optics.row_for(each, setup) for each in sorted(set(f_numbers)))


def draw(path: Path, rows: Sequence[StepRow], setup: Setup) -> None:
    """A plot over f-numbers as a PNG: depth of field by both criteria, and frames where told.

    Raises OutputNotWritable.
    """
    from sorter.pipeline.plotting import plot  # noqa: PLC0415  only where a plot is asked for

    replace_file(path, plot(rows, setup), Output.PLOT)
