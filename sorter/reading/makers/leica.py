"""Leica's own notes: a serial number, a lens, a focus distance; no drive mode is known.

Source: general-purpose metadata libraries' tag tables. What the M and S write as distance is in
millimetres or centimetres, by the body, and they do not say which: it is taken as a step, of which
only the order counts. All distances here are unverified on real files. Notes of the M (Typ 240),
the S2 and the Monochrom (Typ 246) that stand behind the picture are not looked for.
"""

from __future__ import annotations

import math
import struct
from typing import Final

from sorter.reading.builder import FactsBuilder
from sorter.reading.directories import Directory
from sorter.reading.makers import panasonic
from sorter.reading.makers.form import Note

HEADER: Final = 8
M8_SERIAL: Final = 0x0303
RANGEFINDER_LENS: Final = 0x0303
RANGEFINDER_DISTANCE: Final = 0x0304
LENS: Final = 0x0303
SERIAL: Final = 0x0305
FOCUS: Final = 0x040A

_OWN_MAKE: Final = "leica camera ag"
_FAR_AWAY: Final = 65535
_TEXT: Final = 2


def read_short(note: Note, builder: FactsBuilder) -> None:
    """A header of zeros: the M8's by its make, else that of a body that is Panasonic's."""
    if not note.make.lower().startswith(_OWN_MAKE):
        panasonic.read_second_form(note, builder)
        return
    found = note.from_tiff(HEADER, [note.start + HEADER])
    number = found.number(M8_SERIAL) if found is not None else None
    if number:
        builder.serial(f"{number:07}")


def read_own(note: Note, builder: FactsBuilder) -> None:
    """The X, T and their like: offsets count from the note."""
    _compact(note.from_itself(HEADER), builder)


def read_from_tiff(note: Note, builder: FactsBuilder) -> None:
    """The Q, SL, CL: offsets count from the TIFF."""
    _compact(note.from_tiff(HEADER), builder)


def read_rangefinder(note: Note, builder: FactsBuilder) -> None:
    """The M10, S, and where their note stands within Exif the M (Typ 240) and its like."""
    found = note.from_tiff(HEADER, [0])
    if found is None:
        return
    builder.lens(_text(found, RANGEFINDER_LENS))
    distance = found.number(RANGEFINDER_DISTANCE)
    if distance and distance < 1 << 31:
        builder.facts["focus_step"] = distance
        builder.facts["step_nearward"] = False


def _compact(found: Directory | None, builder: FactsBuilder) -> None:
    if found is None:
        return
    number = found.number(SERIAL)
    builder.serial(str(number) if number else "")
    builder.lens(_text(found, LENS))
    record = found.raw(FOCUS)
    if len(record) >= 2:
        metres = _metres(struct.unpack(f"{found.tiff.order}H", record[:2])[0])
        builder.distance(metres, metres)


def _metres(millimetres: int) -> float | None:
    """Metres; zero means not recorded, all ones infinity."""
    if not millimetres:
        return None
    return math.inf if millimetres == _FAR_AWAY else millimetres / 1000


def _text(found: Directory, tag: int) -> str:
    """The text, where it is one: bodies write other things under this tag too."""
    entry = found.entries.get(tag)
    return found.text(tag) if entry is not None and entry[0] == _TEXT else ""
