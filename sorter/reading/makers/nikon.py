"""Nikon: a TIFF of its own within the note; focus distance and focus shift are enciphered.

Those blocks stay closed. What the menus were set to, which several bodies write too, says nothing
of a frame. Where no other source stands the numbers are those of general-purpose metadata
libraries' tag tables.
"""

from __future__ import annotations

import math
import struct
from typing import Final

from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading import previews
from sorter.reading.builder import FactsBuilder, FoundFacts
from sorter.reading.directories import Directory, opened, ordered
from sorter.reading.makers.form import MOST_IN_SERIES, Note, in_life, in_series

ISO: Final = 0x0002
FOCUS_MODE: Final = 0x0007
FLASH_OFFSET: Final = 0x0018
BRACKET_OFFSET: Final = 0x0019
PREVIEW: Final = 0x0011
SERIAL: Final = 0x001D
SHUTTER: Final = 0x0034
HDR: Final = 0x0035
BURST: Final = 0x0056
LENS: Final = 0x0084
MANUAL_DISTANCE: Final = 0x0085
FLASH: Final = 0x0087
SHOOTING_MODE: Final = 0x0089
LENS_DATA: Final = 0x0098
PREVIEW_PLACE, PREVIEW_SIZE = 0x0201, 0x0202  # in the directory of PREVIEW
OLD_SERIAL: Final = 0x00A0
SHUTTER_COUNT: Final = 0x00A7
MULTIPLE: Final = 0x00B0
SWITCHED_ON: Final = 0x00B6

_CONTINUOUS, _TIMER, _BEFORE_RELEASE = 1 << 0, 1 << 3, 1 << 11
_EXPOSURE, _WHITE_BALANCE, _LIGHTING = 1 << 4, 1 << 6, 1 << 8
_NOT_SINGLE: Final = 0x87
_PREVIEW_ROOM: Final = 1024
"""More than any body's directory of previews takes."""
_FASTEST_FRAMES: Final = 96
_FOLLOWS: Final = {"AF-S": False, "AF-C": True, "AF-F": True}
_NO_FLASH: Final = 0
_FLASHES: Final = frozenset({1, 7, 8, 9, 18})
_PLAIN_LENS_DATA: Final = b"0101"
"""The one version of the lens data that holds a distance and is not enciphered."""
_SERIAL_PREFIX: Final = "NO="
_BASE_YEAR: Final = 1990


def read(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from a note whose inner TIFF begins behind ten bytes."""
    start = note.start + 10
    _fill(opened(note.tiff.source, start, note.tiff.end), note, builder)


def read_old(note: Note, builder: FactsBuilder) -> None:
    """Nothing: the compacts of this form say nothing that we use."""


def read_bare(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from a note without a header, which the first bodies wrote."""
    _fill(note.from_tiff(0), note, builder)


def _fill(found: Directory | None, note: Note, builder: FactsBuilder) -> None:
    if found is None:
        return
    facts = builder.facts
    mode = found.text(FOCUS_MODE).upper()
    if mode.startswith(("MANUAL", "AF")):
        facts["focus_mode"] = FocusMode.MANUAL if mode.startswith("MANUAL") else FocusMode.AUTO
        facts["focus_follows"] = _FOLLOWS.get(mode[:4])
    _shooting_mode(found, facts)
    _burst(found.raw(BURST), facts)
    _counts(found, facts)
    for tag in (SERIAL, OLD_SERIAL):
        builder.serial(found.text(tag).removeprefix(_SERIAL_PREFIX).strip())
    builder.lens(lens_name(found.ratios(LENS)))
    facts["iso"] = facts.get("iso") or _iso(found.numbers(ISO))
    metres = _distance(found)
    builder.distance(metres, metres)
    flash = found.number(FLASH)
    builder.flash(True if flash in _FLASHES else False if flash == _NO_FLASH else None)
    _merged(found, facts, in_raw=note.tiff.base == 0)
    _preview(found, builder)


def _preview(found: Directory, builder: FactsBuilder) -> None:
    """The small JPEG that the note's own directory of previews describes.

    Places count from where the note's do. A directory beyond the first block is not fetched for
    it: raws have larger JPEGs elsewhere.
    """
    tiff, pointer = found.tiff, found.number(PREVIEW)
    if not pointer or tiff.base + pointer + _PREVIEW_ROOM > len(tiff.source.head):
        return
    below = ordered(tiff, pointer)
    if below is not None:
        place, length = below.number(PREVIEW_PLACE), below.number(PREVIEW_SIZE)
        if place and length:
            previews.take(tiff.source, builder, tiff.base + place, length)


def _counts(found: Directory, facts: FoundFacts) -> None:
    """All shots of the body's life, and when it was switched on, which names the session."""
    facts["counter"] = in_life(found.number(SHUTTER_COUNT))
    facts["session"] = session(found.raw(SWITCHED_ON), found.tiff.order)


def session(stamp: bytes, order: str) -> str:
    """The time of the last power-up as text; empty where it is none, as on bodies with zeros."""
    if len(stamp) != 8:
        return ""
    year, month, day, hour, minute, second = struct.unpack(f"{order}H5B", stamp[:7])
    sane = 1 <= month <= 12 and 1 <= day <= 31 and hour < 24 and minute < 60 and second < 60
    if year < _BASE_YEAR or not sane:
        return ""
    return f"{year:04}-{month:02}-{day:02} {hour:02}:{minute:02}:{second:02}"


def _iso(numbers: tuple[int, ...]) -> float | None:
    """The sensitivity of bodies that leave it out of Exif: the second of two words (from memory)."""
    return float(numbers[1]) if len(numbers) == 2 and numbers[1] else None


def _distance(found: Directory) -> float | None:
    """Metres by the lens, or those that were set by hand (early compacts).

    The lens's is a code of forty steps to a power of ten, zero for infinity; the other a ratio,
    whose denominator is zero for infinity.
    """
    lens_data = found.raw(LENS_DATA)
    if lens_data.startswith(_PLAIN_LENS_DATA) and len(lens_data) > 9:
        return math.inf if not lens_data[9] else 0.01 * 10.0 ** (lens_data[9] / 40)
    above, under = found.ratio(MANUAL_DISTANCE) or (0, 0)
    if above <= 0 or under < 0:
        return None
    return above / under if under else math.inf


def _shooting_mode(found: Directory, facts: FoundFacts) -> None:
    """Drive and bracketing by bits. No focus shift is stated, so "off" is never said.

    Brackets of exposure and of flash power are one bit: the offset is the one that is not zero.
    """
    mode = found.number(SHOOTING_MODE)
    if mode is None:
        return
    drive = _drive_mode(mode, found.number(SHUTTER))
    if drive is not None:
        facts["drive_mode"] = drive
    if mode & (_WHITE_BALANCE | _LIGHTING) and mode & _EXPOSURE:
        facts["bracketing"] = Bracketing.OTHER
    elif mode & _EXPOSURE:
        facts["bracketing"] = Bracketing.EXPOSURE
        offset = found.ratio(BRACKET_OFFSET)
        exposure = offset[0] / offset[1] if offset and offset[1] else None
        facts["bracket_offset_ev"] = exposure or _flash_offset(found.raw(FLASH_OFFSET)) or exposure


def _drive_mode(mode: int, shutter: int | None) -> DriveMode | None:
    if mode & _TIMER:
        return DriveMode.TIMER
    if mode & (_CONTINUOUS | _BEFORE_RELEASE) or shutter == _FASTEST_FRAMES:
        return DriveMode.CONTINUOUS
    return None if mode & _NOT_SINGLE else DriveMode.SINGLE


def _flash_offset(record: bytes) -> float | None:
    """An exposure value out of signed bytes: the first times the second over the third."""
    if len(record) < 3:
        return None
    above, step, under = struct.unpack("3b", record[:3])
    return above * step / under if under else None


def _burst(record: bytes, facts: FoundFacts) -> None:
    """The first file of the burst names it by card slot, folder and number; the shot's number.

    Its lowest bits tell that file's format, which differs between a raw and its JPEG. Unverified on
    real files: so an address that no card can have is not taken.
    """
    if len(record) < 12:
        return
    first, number = struct.unpack("<II", record[4:12])
    slot, folder, file = first >> 29 & 1, first >> 19 & 0x3FF, first >> 5 & 0x3FFF
    if 100 <= folder <= 999 and 1 <= file <= 9999 and number <= MOST_IN_SERIES:
        facts["burst_id"] = f"{slot}-{folder:03}-{file:04}"
        facts["shot_number"] = in_series(number)


def lens_name(limits: tuple[tuple[int, int], ...]) -> str:
    """Focal lengths and widest openings as a name, for bodies that write none."""
    if len(limits) != 4 or not all(under for _, under in limits):
        return ""
    short, long, wide, narrow = (above / under for above, under in limits)
    if not short:
        return ""
    focal = f"{short:g}" if short == long else f"{short:g}-{long:g}"
    opening = f"{wide:.2g}" if wide == narrow else f"{wide:.2g}-{narrow:.2g}"
    return f"{focal}mm f/{opening}"


def _merged(found: Directory, facts: FoundFacts, *, in_raw: bool) -> None:
    """What the body merged. A raw under HDR is one of the pictures that it is merged out of.

    in_raw: the note stands in a TIFF that begins with the file, as it does in raws alone.
    """
    record, hdr = found.raw(MULTIPLE), found.raw(HDR)
    mode, shots = _multiple(record, found.tiff.order)
    if mode in {1, 2, 3}:
        facts["merged"] = "exposure" if mode == 3 else "other"
        facts["merged_from"] = shots if 1 < shots < 100 else None
    elif len(hdr) > 4 and hdr[:1] == b"0" and hdr[4] == 1 and not in_raw:
        facts["merged"] = "exposure"


def _multiple(record: bytes, order: str) -> tuple[int, int]:
    """The mode and the number of shots behind the record's version; zeros where it is short."""
    if len(record) < 12:
        return 0, 0
    mode, shots = struct.unpack("<II" if record[:4] == b"0101" else f"{order}II", record[4:12])
    return mode, shots
