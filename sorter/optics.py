"""The arithmetic of a stack: how deep a slice is, and how many it takes. Pure.

Lengths are millimetres where nothing else is said. N is the marked f-number, m the magnification (image
over subject), P the pupil magnification (exit over entrance pupil), c the circle of confusion. The
formulas are those of macro textbooks and tables; where one is recalled rather than read, it says so.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from enum import StrEnum
from typing import Final

from sorter.model.steps import Setup, StepRow

CIRCLES_MM: Final[Mapping[str, float]] = {"full-frame": 0.030, "aps-c": 0.020, "four-thirds": 0.015}
"""The circle of confusion by sensor: about its diagonal over 1500, as tables have it."""
FULL_STOPS: Final = (1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0, 32.0)
"""Marked f-numbers, a stop apart (Exif annex C: Av 1 to 10; nominal values are rounded)."""
_DUST: Final = 1e-9  # of floating point, relative: 24.000000001 slices are 24


class Criterion(StrEnum):
    """What "sharp" is held against: a circle of confusion, the wave nature of light, or the larger."""

    LARGER = "larger"
    GEOMETRIC = "geometric"
    WAVE = "wave"


def depth_of_field(f_number: float, m: float, circle_mm: float, pupil: float = 1.0) -> float:
    """Total depth of field, geometric: 2 N c (1 + m/P) / m².

    At P = 1 that is 2 N c (m + 1) / m² (macro textbooks); the pupil's part is from memory.
    """
    return 2 * f_number * circle_mm * (1 + m / pupil) / m**2


def effective_f_number(f_number: float, m: float, pupil: float = 1.0) -> float:
    """N (1 + m/P): what the light at the sensor goes by. The pupil's part is from memory."""
    return f_number * (1 + m / pupil)


def airy_diameter_um(effective: float, wavelength_um: float = 0.55) -> float:
    """Diameter of the Airy disk to its first dark ring, in micrometres: 2.44 λ N_eff."""
    return 2.44 * wavelength_um * effective


def numerical_aperture(effective: float, m: float) -> float:
    """On the subject's side: m / (2 N_eff)."""
    return m / (2 * effective)


def wave_depth_um(aperture: float, wavelength_um: float = 0.55) -> float:
    """Depth of field by wave optics, in micrometres: λ / NA²."""
    return wavelength_um / aperture**2


def wave_depth(effective: float, m: float, wavelength_um: float = 0.55) -> float:
    """The same in millimetres for a photographic lens: 4 λ N_eff² / m²."""
    return wave_depth_um(numerical_aperture(effective, m), wavelength_um) / 1000


def hyperfocal(focal_mm: float, f_number: float, circle_mm: float) -> float:
    """The distance from which on all is sharp to infinity: f²/(N c) + f. Many tables leave out the f."""
    return focal_mm**2 / (f_number * circle_mm) + focal_mm


def limits(focal_mm: float, distance_mm: float, hyperfocal_mm: float) -> tuple[float, float]:
    """The nearest and the farthest sharp distance: H s/(H + (s - f)) and H s/(H - (s - f)).

    The far one is infinite where s - f is H or more.
    """
    beyond = distance_mm - focal_mm
    near = hyperfocal_mm * distance_mm / (hyperfocal_mm + beyond)
    if beyond >= hyperfocal_mm:
        return near, math.inf
    return near, hyperfocal_mm * distance_mm / (hyperfocal_mm - beyond)


def step_width(depth_mm: float, overlap: float) -> float:
    """How far focus may move from slice to slice: depth x (1 - overlap). The habit is 20 to 30 %."""
    return depth_mm * (1 - overlap)


def frames_needed(subject_mm: float, depth_mm: float, step_mm: float) -> int:
    """How many slices cover the subject: 1 where S ≤ D, else ceil((S - D)/step) + 1.

    Slabs of the depth D stand a step apart, the first flush with the front. Worked out here: published
    pages differ from it and from each other by one or more.
    """
    if subject_mm <= depth_mm * (1 + _DUST):
        return 1
    steps = (subject_mm - depth_mm) / step_mm
    return math.ceil(steps * (1 - _DUST)) + 1


def magnification_at(focal_mm: float, distance_mm: float) -> float | None:
    """An estimate out of focal length and focus distance, from subject to sensor; None below 4 f.

    For a thin lens the distance is f (2 + m + 1/m); of its two answers the one up to 1 is taken. Real
    lenses shorten when they focus close, and tubes are not told.
    """
    if focal_mm <= 0 or not math.isfinite(distance_mm):
        return None
    half = distance_mm / (2 * focal_mm) - 1
    if half < 1:
        return None
    return 1 / (half + math.sqrt(half**2 - 1))


def step_of_depth(
    focal_mm: float, f_number: float, distances_m: Sequence[float], circle_mm: float
) -> float | None:
    """The mean step between focus distances over the depth of field in their middle: an estimate.

    distances_m: from subject to sensor, one a slice, in metres. None where they say nothing: fewer
    than two, all the same, or one at infinity. Where a thin lens could not focus so near, life size
    is taken.
    """
    near, far = min(distances_m, default=0.0), max(distances_m, default=0.0)
    if len(distances_m) < 2 or near <= 0 or near == far or math.isinf(far):  # noqa: PLR2004
        return None
    m = magnification_at(focal_mm, (near + far) / 2 * 1000) or 1.0
    depth = max(
        depth_of_field(f_number, m, circle_mm), wave_depth(effective_f_number(f_number, m), m)
    )
    return (far - near) * 1000 / (len(distances_m) - 1) / depth


def row_for(f_number: float, setup: Setup) -> StepRow:
    """All that follows for one f-number."""
    effective = effective_f_number(f_number, setup.magnification, setup.pupil)
    geometric = depth_of_field(f_number, setup.magnification, setup.circle_mm, setup.pupil)
    wave = wave_depth(effective, setup.magnification, setup.wavelength_um)
    decides = _decides(setup.criterion, geometric, wave)
    depth = geometric if decides is Criterion.GEOMETRIC else wave
    step = step_width(depth, setup.overlap)
    needed = None if setup.subject_mm is None else frames_needed(setup.subject_mm, depth, step)
    return StepRow(
        f_number=f_number,
        effective_f_number=effective,
        geometric_mm=geometric,
        wave_mm=wave,
        decides=str(decides),
        depth_mm=depth,
        airy_um=airy_diameter_um(effective, setup.wavelength_um),
        step_mm=step,
        frames=needed,
    )


def _decides(criterion: str, geometric: float, wave: float) -> Criterion:
    if criterion != Criterion.LARGER:
        return Criterion(criterion)
    return Criterion.GEOMETRIC if geometric >= wave else Criterion.WAVE
