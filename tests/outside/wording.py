"""What references say in words, as the sorter's words and numbers."""

from __future__ import annotations

import math
import re
from typing import Final

_DATE: Final = re.compile(r"(\d{4})[:/-](\d\d)[:/-](\d\d)[ T](\d\d:\d\d:\d\d).*", re.DOTALL)
_OFFSET: Final = re.compile(r"([+-])(\d\d):(\d\d)")


def moment(text: str) -> str:
    """A date and time to the second; nothing where it is no date (blanks, zeros)."""
    found = _DATE.fullmatch(text.strip())
    if found is None or found[1] == "0000":
        return ""
    return f"{found[1]}-{found[2]}-{found[3]}T{found[4]}"


def minutes(text: str) -> int | None:
    """Minutes east of UTC."""
    if text.strip() == "Z":
        return 0
    found = _OFFSET.fullmatch(text.strip())
    return None if found is None else int(f"{found[1]}1") * (int(found[2]) * 60 + int(found[3]))


def zone(date: str) -> int | None:
    """The offset that stands within a date, where some writers put it."""
    found = re.search(r"\d(Z|[+-]\d\d:\d\d)$", date.strip())
    return None if found is None else minutes(found[1])


def number(text: str) -> float | None:
    """A number, whole, decimal or as a quotient; nothing for "undef", "inf" and x/0."""
    above, _, under = text.partition("/")
    try:
        value = float(above) / float(under or 1)
    except (ValueError, ZeroDivisionError):
        return None
    return value if math.isfinite(value) else None


def positive(text: str) -> float | None:
    """A number above zero: zero is Exif's and makers' way to say nothing."""
    value = number(text)
    return value if value is not None and value > 0 else None


def metres(text: str) -> float | None:
    """A distance; zero means that none is known, a numerator of all ones infinity (DC-008)."""
    if text.lower().startswith("inf") or text.startswith(("4294967295", "-1/")):
        return math.inf
    return positive(text.removesuffix(" m"))


def focus_in_words(text: str) -> str | None:
    """manual or auto; nothing for what is neither ("Unknown (7)").

    DMF is automatic: the ring may only correct it (common practice, no source).
    """
    if re.search(r"manual|^MF", text, re.IGNORECASE):
        return "manual"
    automatic = r"auto|AF|DMF|single|continuous|servo|AI focus|macro|infinity|pan|normal|multi|face"
    return "auto" if re.search(automatic, text, re.IGNORECASE) else None


def drive_in_words(text: str) -> str | None:
    """timer, continuous or single; nothing for a bracketing mode, which is no drive mode.

    Nothing for "Delay" either: the mirror goes up before, and how many pictures follow is not told.
    """
    lowered = text.lower()
    if re.search(r"(?<!no )timer|^\d+s$", lowered):  # one maker names the timer by its seconds
        return "timer"
    if re.search(r"bracket", lowered):
        return None
    if re.search(r"continuous|burst|^on\b|high|low", lowered):
        return "continuous"
    return "single" if re.search(r"single|normal|^off", lowered) else None
