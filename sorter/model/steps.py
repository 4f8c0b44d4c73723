"""How deep the slices of a stack are, and how many it takes: what was asked, and the answers."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Setup:
    """What the arithmetic of a stack starts from; lengths in mm.

    magnification: image over subject. circle_mm: the circle of confusion. criterion: larger,
    geometric or wave. subject_mm: how deep the subject is; None where that is not asked. estimated:
    why the magnification is an estimate; empty where it was given.
    """

    magnification: float
    circle_mm: float
    overlap: float = 0.25
    pupil: float = 1.0
    wavelength_um: float = 0.55
    subject_mm: float | None = None
    criterion: str = "larger"
    estimated: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StepRow:
    """The answers for one f-number; lengths in mm, but for the Airy disk's diameter in µm.

    decides: by which criterion depth_mm is what it is. frames: None where no subject was named.
    """

    f_number: float
    effective_f_number: float
    geometric_mm: float
    wave_mm: float
    decides: str
    depth_mm: float
    airy_um: float
    step_mm: float
    frames: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Covered:
    """What a sequence covered, estimated; lengths in mm, distances in m.

    near_m, far_m: its nearest and farthest focus. subject_mm: what lies between the two, and half a
    depth of field beyond each. near, far: the answers at both ends. needed: the frames that steps as
    short as at the near end would have taken. mean_step_mm: from slice to slice; None for one frame.
    """

    sequence: int
    kind: str
    frames: int
    focal_mm: float
    near_m: float
    far_m: float
    subject_mm: float
    near_magnification: float
    far_magnification: float
    near: StepRow
    far: StepRow
    needed: int
    mean_step_mm: float | None
