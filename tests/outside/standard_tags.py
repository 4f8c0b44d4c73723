"""The standard's own tags (CIPA DC-008), as any reference tells them, brought to our fields.

get(name) gives a tag's text by the standard's name for it, "" where the reference has none; numbers
are texts such as "4", "1/160" or "0.00625".
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from outside import fields
from outside.fields import Value
from outside.wording import metres, minutes, moment, number, positive, zone

Get = Callable[[str], str]
MOST_EV: Final = 64
"""An APEX value beyond it is damage, and no power of two of it can be taken."""

_TIMES: Final = (
    ("DateTimeOriginal", "SubSecTimeOriginal", "OffsetTimeOriginal"),
    ("DateTimeDigitized", "SubSecTimeDigitized", "OffsetTimeDigitized"),
    ("DateTime", "SubSecTime", "OffsetTime"),
)
_WIDER_ISO: Final = ("RecommendedExposureIndex", "StandardOutputSensitivity", "ISOSpeed")


def standard(get: Get, *, converted: bool = False) -> dict[str, Value | None]:
    """The fields that the standard has tags for; converted where APEX values come as plain ones."""
    flash, distance = get("Flash"), metres(get("SubjectDistance"))
    return {
        fields.MAKE: get("Make"),
        fields.MODEL: get("Model"),
        fields.LENS: get("LensModel"),
        **_time(get),
        fields.EXPOSURE: positive(get("ExposureTime")) or _time_value(get, converted),
        fields.F_NUMBER: positive(get("FNumber")) or _aperture_value(get, converted),
        fields.ISO: _iso(get),
        fields.FOCAL: positive(get("FocalLength")),
        fields.BIAS: number(get("ExposureBiasValue")),
        fields.FLASH: ("fired" if int(flash) & 1 else "not fired") if flash.isdigit() else None,
        fields.NEAR: distance,
        fields.FAR: distance,
    }


def _time(get: Get) -> dict[str, Value | None]:
    """The sorter's rule: taken, else digitized, else changed, each with a fraction of its own."""
    for date, fraction, offset in _TIMES:
        found = moment(get(date))
        if found:
            stated = minutes(get(offset))
            return {
                fields.TIME: found,
                fields.SUBSECONDS: get(fraction),
                fields.OFFSET: zone(get(date)) if stated is None else stated,
            }
    return {}


def _time_value(get: Get, converted: bool) -> float | None:
    """Seconds: 2 to the power of the negative time value (annex on APEX)."""
    value = number(get("ShutterSpeedValue"))
    if value is None or converted or abs(value) > MOST_EV:
        return value if converted and value else None
    return float(2.0**-value)


def _aperture_value(get: Get, converted: bool) -> float | None:
    """The f-number: 2 to the power of half the aperture value (annex on APEX)."""
    value = number(get("ApertureValue"))
    if not value or converted or abs(value) > MOST_EV:
        return value if converted and value else None
    return float(2.0 ** (value / 2))


def _iso(get: Get) -> float | None:
    """The sensitivity; 65535 means that it stands in a wider tag."""
    stated = positive(get("ISOSpeedRatings"))
    if stated and stated != 65535:
        return stated
    return next((found for tag in _WIDER_ISO if (found := positive(get(tag)))), None)
