"""Phase One: a table of its own form, the one maker's with a complete record of a sequence.

Layout: a mark that tells the byte order, the table's place at byte 8, there the number of rows,
four bytes, and rows of sixteen bytes: tag, form, length, value (or its place, from the note).
Source: general-purpose metadata libraries' tag tables. Whether frames count from 0 or from 1 is
unverified: so a 0 is not taken, and the steps between the others are right in both cases.
"""

from __future__ import annotations

import struct
from typing import Final

from sorter.model.kinds import Bracketing
from sorter.reading.builder import FactsBuilder, FoundFacts
from sorter.reading.directories import as_text
from sorter.reading.makers.form import Note, in_series

SERIAL: Final = 0x0102
SEQUENCE: Final = 0x0262
SEQUENCE_KIND: Final = 0x0263
FRAME: Final = 0x0264
FRAMES: Final = 0x0265
LENS: Final = 0x0412

_MARKS: Final = {(b"IIII", b"waR"): "<", (b"MMMM", b"Raw"): ">"}
_FEWEST_ROWS, _MOST_ROWS = 2, 300
_LONGEST: Final = 200
_PARTS: Final = (SEQUENCE_KIND, FRAME, FRAMES)
_READ: Final = frozenset({SERIAL, SEQUENCE, *_PARTS, LENS})
_KINDS: Final = {
    0: Bracketing.EXPOSURE,
    1: Bracketing.OTHER,
    2: Bracketing.OTHER,
    5: Bracketing.EXPOSURE,
    6: Bracketing.FOCUS,
}
"""Shutter, aperture, sensitivity, HDR, focus; intervals and one for depth are no such bracket."""


def read(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from the note's table, as far as it is there."""
    order, rows = _rows(note)
    builder.serial(as_text(rows.get(SERIAL, b"")))
    builder.lens(as_text(rows.get(LENS, b"")))
    name = as_text(rows.get(SEQUENCE, b""))
    if name:
        _sequence(name, [_number(rows.get(tag, b""), order) for tag in _PARTS], builder.facts)


def _sequence(name: str, parts: list[int | None], facts: FoundFacts) -> None:
    kind, frame, frames = parts
    bracket = _KINDS.get(-1 if kind is None else kind)
    if bracket is None:
        return
    facts["burst_id"] = name
    facts["bracketing"] = bracket
    facts["shot_number"] = in_series(frame)
    facts["planned"] = in_series(frames) if frames != 1 else None


def _rows(note: Note) -> tuple[str, dict[int, bytes]]:
    """The byte order and the values by tag; none where the table does not begin as it should."""
    head = note.tiff.whole(note.offset, 12)
    order = _MARKS.get((head[:4], head[4:7] if head[:1] == b"M" else head[5:8]))
    if order is None:
        return "<", {}
    start = note.offset + struct.unpack(f"{order}I", head[8:])[0]
    stated = note.tiff.whole(start, 4)
    count = struct.unpack(f"{order}I", stated)[0] if stated else 0
    if not _FEWEST_ROWS <= count <= _MOST_ROWS:
        return order, {}
    table = note.tiff.upto(start + 8, 16 * count)
    rows = struct.iter_unpack(f"{order}III4s", table[: len(table) // 16 * 16])
    return order, {
        tag: _value(note, length, stored, order)
        for tag, _, length, stored in rows
        if tag in _READ and length <= _LONGEST
    }


def _value(note: Note, length: int, stored: bytes, order: str) -> bytes:
    """The value in its row, or where the row says."""
    if length <= len(stored):
        return stored
    return note.tiff.whole(note.offset + struct.unpack(f"{order}I", stored)[0], length)


def _number(value: bytes, order: str) -> int | None:
    return struct.unpack(f"{order}I", value)[0] if len(value) == 4 else None
