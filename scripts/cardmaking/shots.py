"""One press of the shutter, described in plain values: what the file makers write down."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from datetime import datetime

Flash = Literal["fired", "off"]
FocusMode = Literal["auto", "servo", "manual"]
Drive = Literal["single", "continuous", "timer"]
Bracket = Literal["off", "focus", "exposure"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One frame as the camera saw it.

    captured is the camera's own clock without a zone (None: the clock was never set), subsec the
    digits of the decimal fraction, offset text such as ``+01:00``. Distances are metres, infinity
    is ``math.inf``; exposure is seconds; bias and aeb_offset are EV. None means that the camera
    does not say, and so does an f-number or a focal length of 0: a lens without contacts.
    """

    make: str
    model: str
    captured: datetime | None
    serial: str = ""
    firmware: str = "1.0.0"
    lens: str = ""
    subsec: str | None = None
    offset: str | None = None
    exposure: Fraction = Fraction(1, 160)
    f_number: float = 8.0
    iso: int = 200
    bias: Fraction = Fraction(0)
    manual_exposure: bool = True
    focal_mm: int = 100
    flash: Flash | None = "off"
    focus_mode: FocusMode = "auto"
    drive: Drive = "single"
    bracket: Bracket = "off"
    shot_number: int = 0
    """Place in the burst or bracket from 1; 0 outside one. Written where the make has a field."""
    planned: int | None = None
    """Number of frames that the focus bracket was set to (Canon only)."""
    near_m: float | None = None
    far_m: float | None = None
    focus_step: int | None = None
    """Motor position (Olympus, grows toward near), or steps from the start (Panasonic)."""
    step_limits: tuple[int, int] = (0, 0)
    """Motor positions at infinity and at the nearest point (Olympus)."""
    step_width: int = 0
    """The menu's width of one focus step, 1 to 10."""
    flash_interval_s: int = 0
    aeb_offset: Fraction = Fraction(0)
    aeb_frames: int = 0
    """Number of frames of the exposure bracket; 0: three (Panasonic)."""
    aeb_rising: bool = False
    """Whether they begin with the darkest and not with the middle one."""
    merged_frames: int = 0
    """Number of frames that the camera merged into this picture; 0 for a plain frame."""
    merging: Literal["focus", "other"] = "focus"
    """What it merged them for (Olympus)."""
    composite: bool = False
    """Whether the menu asks for a merged picture behind the bracket (Canon)."""
    uptime_s: float = 0.0
    """Seconds since the camera was switched on (Panasonic)."""
    switched_on: datetime | None = None
    """When that was, by its own clock (Nikon)."""
    released: int = 0
    """Shots of the body's life, this one included (Nikon, Fujifilm); 0: not written."""
    burst_first: tuple[int, int] | None = None
    """Folder and file number of the first frame of the burst (newer Nikon bodies)."""
    orientation: int = 1

    @property
    def result(self) -> bool:
        """Whether the camera merged this picture out of several frames."""
        return self.merged_frames > 0

    def identity(self) -> bytes:
        """Sixteen bytes that are the same for all files of this frame and for no other frame."""
        what = f"{self.model}|{self.serial}|{self.captured}|{self.subsec}|{self.shot_number}"
        return hashlib.shake_128(what.encode()).digest(16)
