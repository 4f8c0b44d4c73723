"""The properties that raws of one maker's first bodies hold as words: names to facts.

Source: general-purpose metadata libraries' tag tables; held against a raw of an SD10.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from sorter.model.kinds import DriveMode, FocusMode
from sorter.model.values import Moment
from sorter.reading import standard
from sorter.reading.builder import FactsBuilder, FoundFacts

_DRIVES: Final = {
    "SINGLE": DriveMode.SINGLE,
    "MULTI": DriveMode.CONTINUOUS,
    "2S": DriveMode.TIMER,
    "10S": DriveMode.TIMER,
}
_FOCUS: Final = {"AF": FocusMode.AUTO, "NO LOCK": FocusMode.AUTO, "M": FocusMode.MANUAL}
MOST_DIGITS: Final = 20


def read(pairs: Mapping[str, str], builder: FactsBuilder) -> None:
    """Fills the draft with what the properties say.

    TIME counts the seconds since 1970 of the camera's own clock: a body whose clock was never set
    counts from the midnight on which its year begins, whatever the zone.
    """
    facts = builder.facts
    facts["make"], facts["model"] = pairs.get("CAMMANUF", ""), pairs.get("CAMMODEL", "")
    facts["serial"] = pairs.get("CAMSERIAL", "")
    _exposure(pairs, facts)
    if pairs.get("DRIVE") in _DRIVES:
        facts["drive_mode"] = _DRIVES[pairs["DRIVE"]]
    if pairs.get("FOCUS") in _FOCUS:
        facts["focus_mode"] = _FOCUS[pairs["FOCUS"]]
    seconds = pairs.get("TIME", "")
    if seconds.isascii() and seconds.isdigit() and int(seconds):
        facts["moment"] = Moment(local_s=int(seconds))
    elif seconds:
        builder.notes.append(standard.NOT_SET)


def _exposure(pairs: Mapping[str, str], facts: FoundFacts) -> None:
    facts["exposure_time_s"] = _within(pairs.get("SHUTTER"), standard.LONGEST_EXPOSURE_S)
    facts["f_number"] = _within(pairs.get("APERTURE"), standard.LARGEST_F_NUMBER)
    facts["iso"] = _within(pairs.get("ISO"), standard.LARGEST_ISO)
    facts["focal_length_mm"] = _within(pairs.get("FLENGTH"), standard.LONGEST_LENS_MM)
    bias = number(pairs.get("EXPCOMP"))
    if bias is not None and abs(bias) <= standard.LARGEST_EV:
        facts["exposure_bias_ev"] = bias


def _within(text: str | None, largest: float) -> float | None:
    value = number(text)
    return value if value is not None and 0 < value <= largest else None


def number(text: str | None) -> float | None:
    """A decimal number as it is written; None where the text is none."""
    bare = (text or "").lstrip("+-")
    if not bare.isascii() or not bare.replace(".", "", 1).isdigit() or len(bare) > MOST_DIGITS:
        return None
    return -float(bare) if (text or "").startswith("-") else float(bare)
