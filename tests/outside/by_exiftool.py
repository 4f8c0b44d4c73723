"""What exiftool says of every file of a folder, brought to our fields.

One run: numbers come unconverted (the # behind a tag's name), drive and focus mode as words, and so
do the distances of which infinity is one. Source of every name here: exiftool's own tag tables.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Final

from outside import fields
from outside.fields import Value, Values, known
from outside.standard_tags import standard
from outside.wording import drive_in_words, focus_in_words, metres, positive

Tags = Mapping[str, str]

_NUMBERS: Final = """
ExposureTime ShutterSpeedValue FNumber ApertureValue ISO ISOSpeed StandardOutputSensitivity
RecommendedExposureIndex FocalLength ExposureCompensation Flash SubjectDistance
Nikon:FocusDistance Nikon:ISO DateTimeOriginal CreateDate ModifyDate SubSecTimeOriginal
SubSecTimeDigitized SubSecTime OffsetTimeOriginal OffsetTimeDigitized OffsetTime
Canon:FlashBits Canon:CanonFlashMode Apple:FocusDistanceRange
"""
_WORDS: Final = """
FileType MIMEType Make Model LensModel Lens LensType FocusDistanceUpper FocusDistanceLower
Olympus:FocusDistance FocusMode DriveMode ContinuousDrive SelfTimer ShootingMode BurstMode
ReleaseMode Sigma:AFMode SigmaRaw:Focus
"""
_STANDARD: Final = ("ExifIFD", "IFD0")
"""Groups of the standard's own tags, in the order in which they are asked."""
_OLD_RAWS: Final = {"CRW": ("CanonRaw", "Canon"), "X3F": (*_STANDARD, "SigmaRaw")}
"""Groups in which raws without Exif keep the same, by FileType."""

_ONE_WORD: Final = """
JPEG JPS TIFF DNG PNG GIF CR2 CR3 CRW NEF ARW RAF RW2 ORF PEF SRW MRW X3F IIQ RAW HEIC HEIF AVIF
WEBP JP2 J2C JXL
"""
PICTURES: Final = frozenset([*_ONE_WORD.split(), "Extended WEBP", "JXL Codestream"])
"""FileType of formats that cameras and phones write, and their converters."""


@cache
def tells(folder: Path) -> dict[str, Values]:
    """What exiftool knows, by the path within the folder."""
    return {path: _values(tags) for path, tags in raw(folder).items()}


@cache
def raw(folder: Path) -> dict[str, dict[str, str]]:
    """exiftool's own answers as texts, "group:tag" to value, by the path within the folder."""
    program = shutil.which("exiftool")
    assert program, "exiftool is missing: apt-get install libimage-exiftool-perl"
    wanted = [*(f"-{tag}#" for tag in _NUMBERS.split()), *(f"-{tag}" for tag in _WORDS.split())]
    command = [program, "-json", "-a", "-G1", "-q", "-q", "-r", "-ext", "*", *wanted, "."]
    done = subprocess.run(command, check=False, cwd=folder, capture_output=True)  # noqa: S603
    listed = json.loads(done.stdout.decode(errors="replace"), parse_int=str, parse_float=str)
    return {
        tags["SourceFile"].removeprefix("./"): {key: _text(value) for key, value in tags.items()}
        for tags in listed
    }


def _text(value: object) -> str:
    """One text; of a list the first part."""
    first = value[0] if isinstance(value, list) and value else value
    return str(first).strip()


def _values(tags: Tags) -> Values:
    found = standard(lambda name: _of_standard(tags, name), converted=True)
    found |= {
        fields.ISO: found[fields.ISO] or _makers_iso(tags),
        fields.LENS: found[fields.LENS] or _makers_lens(tags),
        fields.FOCUS: _focus(tags),
        fields.DRIVE: _drive(tags),
        fields.PICTURE: _picture(tags),
        fields.FLASH: found[fields.FLASH] or _makers_flash(tags),
        **_makers_distances(tags),
    }
    return known(found)


def _of_standard(tags: Tags, name: str) -> str:
    """The tag by the standard's name for it, from the groups that hold the standard's tags."""
    own = _OWN_NAMES.get(name, name)
    groups = _OLD_RAWS.get(tags.get("File:FileType", ""), _STANDARD)
    return next((tags[key] for group in groups if (key := f"{group}:{own}") in tags), "")


_OWN_NAMES: Final = {
    "DateTime": "ModifyDate",
    "DateTimeDigitized": "CreateDate",
    "ISOSpeedRatings": "ISO",
    "ExposureBiasValue": "ExposureCompensation",
}
"""Where exiftool calls a tag otherwise than the standard."""


def _makers_iso(tags: Tags) -> float | None:
    """The sensitivity out of a note; Nikon's is the last of two numbers."""
    nikon = tags.get("Nikon:ISO", "").split()
    return positive(nikon[-1]) if nikon else positive(tags.get("Composite:ISO", ""))


def _makers_flash(tags: Tags) -> str | None:
    """Whether the flash fired, for raws without Exif.

    FlashBits 13 and 14 are the body's own flash and one on its shoe; a flash mode of 0 is off.
    """
    if tags.get("File:FileType") != "CRW" or "Canon:FlashBits" not in tags:
        return None
    if int(tags["Canon:FlashBits"]) & (1 << 13 | 1 << 14):
        return "fired"
    return "not fired" if tags.get("Canon:CanonFlashMode") == "0" else None


def _makers_distances(tags: Tags) -> dict[str, Value | None]:
    """The limits of focus out of a note; a lone one stands for both."""
    found = [metres(tags[key]) for key in _DISTANCES if key in tags]
    found += [metres(part) for part in tags.get("Apple:FocusDistanceRange", "").split()]
    limits = [limit for limit in found if limit is not None]
    return {fields.NEAR: min(limits), fields.FAR: max(limits)} if limits else {}


_DISTANCES: Final = (
    "Canon:FocusDistanceLower",
    "Canon:FocusDistanceUpper",
    "Olympus:FocusDistance",
    "Nikon:FocusDistance",
)


def _makers_lens(tags: Tags) -> str:
    """The lens by the name that the camera wrote; a maker's number is not looked up."""
    return (
        tags.get("Canon:LensModel", "")
        or tags.get("Olympus:LensModel", "")
        or tags.get("Panasonic:LensType", "").strip("-")
        or tags.get("Nikon:Lens", "")
        or tags.get("PhaseOne:LensModel", "")
    )


def _focus(tags: Tags) -> str | None:
    for key in ("Canon", "Nikon", "Olympus", "Panasonic", "Pentax", "Sony", "FujiFilm", "Ricoh"):
        if tags.get(f"{key}:FocusMode"):
            return focus_in_words(tags[f"{key}:FocusMode"])
    return focus_in_words(tags.get("Sigma:AFMode") or tags.get("SigmaRaw:Focus", ""))


def _drive(tags: Tags) -> str | None:
    timer = tags.get("Canon:SelfTimer") or tags.get("Panasonic:SelfTimer")
    if timer is None:
        timer = tags.get("Sony:SelfTimer", "Off")
    if timer not in {"Off", "n/a", "Off (0)"}:
        return "timer"
    for key in _DRIVES:
        if tags.get(key):
            return drive_in_words(tags[key])
    return None


_DRIVES: Final = (
    "Canon:ContinuousDrive",
    "Nikon:ShootingMode",
    "Olympus:DriveMode",
    "Panasonic:BurstMode",
    "Pentax:DriveMode",
    "Sony:ReleaseMode",
    "FujiFilm:DriveMode",
    "Ricoh:DriveMode",
    "Sigma:DriveMode",
    "SigmaRaw:DriveMode",
)


def _picture(tags: Tags) -> str | None:
    """Whether it is a picture; nothing is said of picture formats that no camera writes."""
    if tags.get("File:FileType") in PICTURES:
        return "picture"
    return None if tags.get("File:MIMEType", "").startswith("image/") else "no picture"
