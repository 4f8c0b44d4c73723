"""Nikon: a TIFF of its own within the note; focus distance and focus shift are enciphered."""

from __future__ import annotations

import math
import struct
from typing import Final

from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading import previews
from sorter.reading.directories import Directory, opened, ordered
from sorter.reading.draft import Draft, Said
from sorter.reading.makers.form import Note

ISO: Final = 0x0002
FOCUS_MODE: Final = 0x0007
BRACKET_OFFSET: Final = 0x0019
PREVIEW: Final = 0x0011
SERIAL: Final = 0x001D
BURST: Final = 0x0056
LENS: Final = 0x0084
SHOOTING_MODE: Final = 0x0089
SHUTTER_COUNT: Final = 0x00A7
LENS_DATA: Final = 0x0098
PREVIEW_PLACE, PREVIEW_SIZE = 0x0201, 0x0202  # in the directory of PREVIEW
OLD_SERIAL: Final = 0x00A0
MULTIPLE: Final = 0x00B0

_CONTINUOUS, _TIMER = 1 << 0, 1 << 3
_EXPOSURE, _WHITE_BALANCE, _LIGHTING = 1 << 4, 1 << 6, 1 << 8
_NOT_SINGLE: Final = 0x87
_PREVIEW_ROOM: Final = 1024
"""More than any body's directory of previews takes."""
_NO_COUNT: Final = 0xFFFFF7FF
_PLAIN_LENS_DATA: Final = b"0101"
"""The one version of the lens data that holds a distance and is not enciphered."""


def read(note: Note, draft: Draft) -> None:
    """Fills the draft from a note whose inner TIFF begins behind ten bytes."""
    start = note.start + 10
    _fill(opened(note.tiff.source, start, note.tiff.end), draft)


def read_old(note: Note, draft: Draft) -> None:
    """Nothing: the compacts of this form say nothing that we use."""


def read_bare(note: Note, draft: Draft) -> None:
    """Fills the draft from a note without a header, which the first bodies wrote."""
    _fill(note.from_tiff(0), draft)


def _fill(found: Directory | None, draft: Draft) -> None:
    if found is None:
        return
    said = draft.said
    mode = found.text(FOCUS_MODE).upper()
    if mode:
        said["focus_mode"] = FocusMode.MANUAL if mode.startswith("MANUAL") else FocusMode.AUTO
    _shooting_mode(found, said)
    _burst(found.raw(BURST), said)
    count = found.number(SHUTTER_COUNT)
    if count and count != _NO_COUNT:
        said["counter"] = count
    said["serial"] = said.get("serial") or found.text(SERIAL) or found.text(OLD_SERIAL)
    said["lens"] = said.get("lens") or lens_name(found.ratios(LENS))
    said["iso"] = said.get("iso") or _iso(found.numbers(ISO))
    metres = _distance(found.raw(LENS_DATA))
    draft.distance(metres, metres)
    _merged(found, said)
    _preview(found, draft)


def _preview(found: Directory, draft: Draft) -> None:
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
            previews.take(tiff.source, draft, tiff.base + place, length)


def _iso(numbers: tuple[int, ...]) -> float | None:
    """The sensitivity of bodies that leave it out of Exif: the second of two words (from memory)."""
    return float(numbers[1]) if len(numbers) == 2 and numbers[1] else None


def _distance(lens_data: bytes) -> float | None:
    """Metres out of a code of forty steps to a power of ten; zero means infinity."""
    if not lens_data.startswith(_PLAIN_LENS_DATA) or len(lens_data) < 10:
        return None
    return math.inf if not lens_data[9] else 0.01 * 10.0 ** (lens_data[9] / 40)


def _shooting_mode(found: Directory, said: Said) -> None:
    """Drive and bracketing by bits. No focus shift is stated, so "off" is never said."""
    mode = found.number(SHOOTING_MODE)
    if mode is None:
        return
    if mode & _TIMER:
        said["drive_mode"] = DriveMode.TIMER
    elif mode & _CONTINUOUS:
        said["drive_mode"] = DriveMode.CONTINUOUS
    elif not mode & _NOT_SINGLE:
        said["drive_mode"] = DriveMode.SINGLE
    if mode & (_WHITE_BALANCE | _LIGHTING) and mode & _EXPOSURE:
        said["bracketing"] = Bracketing.OTHER
    elif mode & _EXPOSURE:
        said["bracketing"] = Bracketing.EXPOSURE
        offset = found.ratio(BRACKET_OFFSET)
        said["bracket_offset_ev"] = offset[0] / offset[1] if offset and offset[1] else None


def _burst(record: bytes, said: Said) -> None:
    """The first file of the burst names the burst; the shot's number stands behind it."""
    if len(record) < 12:
        return
    first, number = struct.unpack("<II", record[4:12])
    if first:
        said["burst_id"] = f"{first:08x}"
        said["shot_number"] = number or None


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


def _merged(found: Directory, said: Said) -> None:
    record = found.raw(MULTIPLE)
    if len(record) < 12 or found.tiff.end == 0:
        return
    order = "<" if record[:4] == b"0101" else found.tiff.order
    mode, shots = struct.unpack(f"{order}II", record[4:12])
    if mode in {1, 2, 3}:
        said["merged"] = "exposure" if mode == 3 else "other"
        said["merged_from"] = shots if 1 < shots < 100 else None
