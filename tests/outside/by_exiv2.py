"""What libexiv2 says of a file, by the PyPI package exiv2, brought to our fields.

The binding and the library are under the GPL: they serve in tests only, and nothing here is part of
what is installed. Source of every key: exiv2's own tag tables.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Final

import exiv2

from outside import fields
from outside.fields import Value, Values, known
from outside.standard_tags import standard
from outside.wording import drive_in_words, focus_in_words, metres

Tags = Mapping[str, tuple[str, str]]
"""Key to the value as it stands, and as exiv2 prints it."""

exiv2.LogMsg.setLevel(exiv2.LogMsg.Level.mute)


@cache
def tells(path: Path) -> Values:
    """What exiv2 knows; nothing where it knows no such file."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            image = exiv2.ImageFactory.open(str(path))
            image.readMetadata()
            data = image.exifData()
            tags = {one.key(): (one.toString(), one.print(data)) for one in data}
    except exiv2.Exiv2Error:
        return {}
    return known(_values(tags))


def _values(tags: Tags) -> dict[str, Value | None]:
    found = standard(lambda name: _of_standard(tags, name))
    if not found[fields.MAKE] and not found.get(fields.TIME):
        return {}
    found |= {
        fields.LENS: found[fields.LENS] or _makers_lens(tags),
        fields.FOCUS: _focus(tags),
        fields.DRIVE: _drive(tags),
        **_makers_distances(tags),
    }
    return found


def _of_standard(tags: Tags, name: str) -> str:
    """The tag's first value, from the two directories that hold the standard's tags."""
    for group in ("Photo", "Image"):
        if f"Exif.{group}.{name}" in tags:
            text = tags[f"Exif.{group}.{name}"][0].strip()
            return text.split()[0] if name == "ISOSpeedRatings" and text else text
    return ""


def _words(tags: Tags, keys: tuple[str, ...]) -> str:
    """The first of these keys that is there, as exiv2 prints it."""
    return next((tags[key][1] for key in keys if key in tags), "")


def _makers_lens(tags: Tags) -> str:
    """The lens by the name that the camera wrote; a maker's number is not looked up."""
    keys = ("Exif.Canon.LensModel", "Exif.OlympusEq.LensModel", "Exif.Panasonic.LensType")
    return _words(tags, keys) or _words(tags, ("Exif.Nikon3.Lens",)).replace(" F", " f/")


def _makers_distances(tags: Tags) -> dict[str, Value | None]:
    """Canon's limits in whole centimetres, which print exactly; Olympus's numerator is millimetres.

    Nikon's is left out: exiv2 prints two digits of it, and has no other form of it.
    """
    found = [metres(_infinite(tags[key][1])) for key in _LIMITS if key in tags]
    found.append(_millimetres(tags.get("Exif.OlympusFi.FocusDistance", ("", ""))[0]))
    limits = [limit for limit in found if limit is not None]
    return {fields.NEAR: min(limits), fields.FAR: max(limits)} if limits else {}


def _millimetres(ratio: str) -> float | None:
    """Metres out of a quotient whose numerator is millimetres, whatever stands below it."""
    numerator = metres(ratio.partition("/")[0])
    return None if numerator is None else numerator / 1000


_LIMITS: Final = ("Exif.CanonFi.FocusDistanceLower", "Exif.CanonFi.FocusDistanceUpper")


def _infinite(text: str) -> str:
    return "inf" if text.startswith("Inf") else text


def _focus(tags: Tags) -> str | None:
    return focus_in_words(_words(tags, _FOCUS_MODES))


_FOCUS_MODES: Final = (
    "Exif.CanonCs.FocusMode",
    "Exif.Nikon3.Focus",
    "Exif.OlympusCs.FocusMode",
    "Exif.Panasonic.FocusMode",
    "Exif.Pentax.Focus",
    "Exif.PentaxDng.Focus",
    "Exif.Sony1.FocusMode2",
    "Exif.Sony2.FocusMode2",
    "Exif.Fujifilm.FocusMode",
)


def _drive(tags: Tags) -> str | None:
    timer = _words(tags, ("Exif.CanonCs.Selftimer", "Exif.Panasonic.SelfTimer"))
    if timer not in {"", "Off", "n/a"} or tags.get("Exif.Sony2010e.SelfTimer", "0") == "1":
        return "timer"
    return drive_in_words(_words(tags, _DRIVES).replace("Single / timer", "Single"))


_DRIVES: Final = (
    "Exif.CanonCs.DriveMode",
    "Exif.Nikon3.ShootingMode",
    "Exif.Panasonic.BurstMode",
    "Exif.Pentax.DriveMode",
    "Exif.PentaxDng.DriveMode",
    "Exif.Sony1.ReleaseMode",
    "Exif.Sony2.ReleaseMode",
    "Exif.Fujifilm.DriveSetting",
)
