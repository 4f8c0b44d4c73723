"""Exif dates to moments. Nothing is invented: what cannot be a date is no date."""

from __future__ import annotations

import re
from datetime import date
from functools import lru_cache
from typing import Final

from sorter.model.values import Moment

SUSPECT: Final = "the capture time has 18 characters: a digit of it may be missing"

_EPOCH: Final = date(1970, 1, 1).toordinal()
_NUMBER: Final = r"(\d\d| \d|\d)"
_DATE: Final = re.compile(
    rf"(\d{{4}})[:/.\-]{_NUMBER}[:/.\-]{_NUMBER}[ T]{_NUMBER}[:.]{_NUMBER}[:.]{_NUMBER}"
    r"(?:[.,](\d+))?(Z|[+-]\d\d:?\d\d)?",
    re.ASCII,
)
_OFFSET: Final = re.compile(r"([+-])(\d\d):?(\d\d)", re.ASCII)


def moment_of(text: str, fraction: str = "", offset: str = "") -> Moment | None:
    """The moment that these three texts tell; None where the date is none.

    Rule (CIPA DC-008, DateTimeOriginal and SubSecTimeOriginal): ``YYYY:MM:DD HH:MM:SS``; the
    fraction's digits are a decimal fraction. Read as well: other separators, a blank for a leading
    zero, a fraction or an offset within the date.
    """
    found = _parts(text)
    if found is None:
        return None
    local_s, digits, zone = found
    return Moment(
        local_s=local_s,
        digits=digits or digits_of(fraction),
        offset_min=minutes_of(zone or offset),
    )


@lru_cache(maxsize=16)  # the frames of a burst share their second
def _parts(text: str) -> tuple[int, str | None, str | None] | None:
    """Seconds since 1970 by that clock, and the fraction and the offset that stand in the text."""
    found = _DATE.fullmatch(text)
    if found is None:
        return None
    year, month, day, hour, minute, second = (int(part) for part in found.groups()[:6])
    if hour > 23 or minute > 59 or second > 59:
        return None
    try:
        days = date(year, month, day).toordinal() - _EPOCH
    except ValueError:
        return None
    return days * 86400 + hour * 3600 + minute * 60 + second, found[7], found[8]


def digits_of(fraction: str) -> str | None:
    """The digits of a fraction of a second as written; None where it is not digits alone.

    A leading zero stays ("07" is 0.07 s), a missing fraction is not ".0".
    """
    kept = fraction.strip()
    return kept if kept.isascii() and kept.isdigit() else None


@lru_cache(maxsize=16)
def minutes_of(offset: str) -> int | None:
    """Minutes east of UTC of ``+HH:MM``; None where it says nothing or too much."""
    if offset == "Z":
        return 0
    found = _OFFSET.fullmatch(offset.strip())
    if found is None:
        return None
    minutes = int(found[2]) * 60 + int(found[3])
    if minutes > 15 * 60 or int(found[3]) > 59:
        return None
    return -minutes if found[1] == "-" else minutes
