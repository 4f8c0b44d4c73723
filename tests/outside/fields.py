"""The fields that are held against references, and when two values count as the same.

Values are texts and numbers. Numbers are the same where they differ by no more than 1e-5 of the
reference: exiftool prints ten digits, and libraries divide rationals in floating point. Texts, and
with them times, are the same only where they are equal.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Final

from sorter.model.frame import Facts, ReadFile

Value = str | float
Values = dict[str, Value]
"""What is known of a file, by field; a field that is not there is not known."""

RELATIVE: Final = 1e-5

TIME, SUBSECONDS, OFFSET = "time", "sub-seconds", "offset"
MAKE, MODEL, LENS = "make", "model", "lens"
EXPOSURE, F_NUMBER, ISO = "exposure time", "f-number", "ISO"
FOCAL, BIAS, FLASH = "focal length", "exposure bias", "flash"
FOCUS, DRIVE, NEAR, FAR = "focus mode", "drive mode", "focus near", "focus far"
PICTURE: Final = "picture"


def _moment(facts: Facts) -> Value | None:
    """The wall clock's second, without what is a field of its own."""
    return facts.moment.iso()[:19] if facts.moment else None


def _flash(facts: Facts) -> Value | None:
    return None if facts.flash_fired is None else "fired" if facts.flash_fired else "not fired"


def _offset(facts: Facts) -> Value | None:
    return facts.moment.offset_min if facts.moment else None


_OURS: Final[dict[str, Callable[[Facts], Value | None]]] = {
    TIME: _moment,
    SUBSECONDS: lambda facts: facts.moment.digits if facts.moment else None,
    OFFSET: _offset,
    MAKE: lambda facts: facts.make,
    MODEL: lambda facts: facts.model,
    LENS: lambda facts: facts.lens,
    EXPOSURE: lambda facts: facts.exposure_time_s,
    F_NUMBER: lambda facts: facts.f_number,
    ISO: lambda facts: facts.iso,
    FOCAL: lambda facts: facts.focal_length_mm,
    BIAS: lambda facts: facts.exposure_bias_ev,
    FLASH: _flash,
    FOCUS: lambda facts: facts.focus_mode,
    DRIVE: lambda facts: facts.drive_mode,
    NEAR: lambda facts: facts.focus_near_m,
    FAR: lambda facts: facts.focus_far_m,
}
FIELDS: Final = (PICTURE, *_OURS)


def ours(read: ReadFile) -> Values:
    """What the sorter says of a file."""
    said = known({field: tell(read.facts) for field, tell in _OURS.items()})
    return said | {PICTURE: "picture" if read.is_picture else "no picture"}


def known(found: Mapping[str, Value | None]) -> Values:
    """Only what is known; texts without the blanks and NULs that makers fill them up with."""
    tidy = {
        field: value.strip(" \0") if isinstance(value, str) else value
        for field, value in found.items()
    }
    return {field: value for field, value in tidy.items() if value is not None and value != ""}


def same(one: Value | None, other: Value | None) -> bool:
    """Whether both say the same; a value that only one of them knows is not the same."""
    if isinstance(one, str) or isinstance(other, str) or one is None or other is None:
        return one == other
    return math.isclose(one, other, rel_tol=RELATIVE)


def shown(value: Value | None) -> str:
    """A value as it stands in the table of known differences; nothing for what is not known."""
    if value is None:
        return ""
    return str(value) if isinstance(value, str) else f"{value:.6g}"
