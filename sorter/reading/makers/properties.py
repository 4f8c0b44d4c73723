"""The properties that raws of one maker's first bodies hold as words: names to facts.

Source: general-purpose metadata libraries' tag tables; held against a raw of an SD10.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from sorter.model.kinds import DriveMode, FocusMode
from sorter.model.values import Moment
from sorter.reading import standard
from sorter.reading.draft import Draft, Said

_DRIVES: Final = {
    "SINGLE": DriveMode.SINGLE,
    "MULTI": DriveMode.CONTINUOUS,
    "2S": DriveMode.TIMER,
    "10S": DriveMode.TIMER,
}
_FOCUS: Final = {"AF": FocusMode.AUTO, "NO LOCK": FocusMode.AUTO, "M": FocusMode.MANUAL}
MOST_DIGITS: Final = 20


def read(pairs: Mapping[str, str], draft: Draft) -> None:
    """Fills the draft with what the properties say.

    TIME counts the seconds since 1970 of the camera's own clock: a body whose clock was never set
    counts from the midnight on which its year begins, whatever the zone.
    """
    said = draft.said
    said["make"], said["model"] = pairs.get("CAMMANUF", ""), pairs.get("CAMMODEL", "")
    said["serial"] = pairs.get("CAMSERIAL", "")
    _exposure(pairs, said)
    if pairs.get("DRIVE") in _DRIVES:
        said["drive_mode"] = _DRIVES[pairs["DRIVE"]]
    if pairs.get("FOCUS") in _FOCUS:
        said["focus_mode"] = _FOCUS[pairs["FOCUS"]]
    seconds = pairs.get("TIME", "")
    if seconds.isascii() and seconds.isdigit() and int(seconds):
        said["moment"] = Moment(local_s=int(seconds))
    elif seconds:
        draft.notes.append(standard.NOT_SET)


def _exposure(pairs: Mapping[str, str], said: Said) -> None:
    said["exposure_time_s"] = _within(pairs.get("SHUTTER"), standard.LONGEST_EXPOSURE_S)
    said["f_number"] = _within(pairs.get("APERTURE"), standard.LARGEST_F_NUMBER)
    said["iso"] = _within(pairs.get("ISO"), standard.LARGEST_ISO)
    said["focal_length_mm"] = _within(pairs.get("FLENGTH"), standard.LONGEST_LENS_MM)
    bias = number(pairs.get("EXPCOMP"))
    if bias is not None and abs(bias) <= standard.LARGEST_EV:
        said["exposure_bias_ev"] = bias


def _within(text: str | None, largest: float) -> float | None:
    value = number(text)
    return value if value is not None and 0 < value <= largest else None


def number(text: str | None) -> float | None:
    """A decimal number as it is written; None where the text is none."""
    bare = (text or "").lstrip("+-")
    if not bare.isascii() or not bare.replace(".", "", 1).isdigit() or len(bare) > MOST_DIGITS:
        return None
    return -float(bare) if (text or "").startswith("-") else float(bare)
