"""The records of a CIFF heap, which older bodies of one maker wrote as raws: numbers to facts.

Source: general-purpose metadata libraries' tag tables; held against raws of an EOS 300D and a
PowerShot S40.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping
from typing import Final, NamedTuple

from sorter.model.values import Moment
from sorter.reading import previews, standard
from sorter.reading.builder import FactsBuilder, FoundFacts
from sorter.reading.directories import as_text
from sorter.reading.makers import canon
from sorter.reading.makers.form import word_at
from sorter.reading.source import Source

CAMERA: Final = 0x080A
BASE_ISO: Final = 0x101C
FOCAL_LENGTH: Final = 0x1029
SHOT: Final = 0x102A
SETTINGS: Final = 0x102D
FILE: Final = 0x1093
FULL_PICTURE_SIZE: Final = 0x10B5
SERIAL: Final = 0x180B
TIME: Final = 0x180E
PICTURE: Final = 0x1810
EXPOSURE: Final = 0x1818
FULL_PICTURE: Final = 0x2007
THUMBNAIL: Final = 0x2008

BIAS, F_NUMBER, EXPOSURE_TIME = 6, 21, 22  # words of SHOT
UNITS: Final = 25
"""The word of SETTINGS that tells how many units of focal length make a millimetre."""
MOST_BYTES: Final = 4096
"""No record that is read here comes near it."""
STOPS: Final = 3
MILLION: Final = 1_000_000
_ORIENTATIONS: Final = {0: 1, 90: 6, -270: 6, 180: 3, -180: 3, 270: 8, -90: 8}
_NUMBERED: Final = "EOS"
"""Only these bodies keep their serial number in the record; others something else."""
_TRAILER: Final = b"CANON OPTIONAL DATA\0"
_TRAILER_FOOT: Final = 64
_TRAILER_HEAD: Final = 28


class Record(NamedTuple):
    """Where a record's value lies in the file, and how many bytes it has."""

    offset: int
    length: int


class Records:
    """The records of a heap by number; what is not there is empty."""

    def __init__(self, source: Source, places: Mapping[int, Record]) -> None:
        self._source = source
        self._places = places

    def place(self, number: int) -> Record | None:
        """Where this record lies."""
        return self._places.get(number)

    def raw(self, number: int) -> bytes:
        """The record's bytes; none where not all of them are there."""
        place = self._places.get(number)
        if place is None or place.length > MOST_BYTES:
            return b""
        data = self._source.read(place.offset, place.length)
        return data if len(data) == place.length else b""

    def numbers(self, number: int, code: str) -> tuple[int, ...]:
        """The record as little-endian whole numbers of this kind."""
        data = self.raw(number)
        return struct.unpack(f"<{len(data) // struct.calcsize(code)}{code}", _even(data, code))

    def floats(self, number: int) -> tuple[float, ...]:
        """The record as little-endian floating-point numbers; none where one of them is none."""
        data = self.raw(number)
        found = struct.unpack(f"<{len(data) // 4}f", _even(data, "f"))
        return found if all(map(math.isfinite, found)) else ()

    def words(self, number: int) -> tuple[int, ...]:
        """The words of an array that begins with its own length in bytes; none where it is not so.

        Some bodies state two bytes less than there are.
        """
        found = self.numbers(number, "H")
        return found if found and found[0] in {2 * len(found), 2 * len(found) - 2} else ()


def _even(data: bytes, code: str) -> bytes:
    return data[: len(data) - len(data) % struct.calcsize(code)]


def trailer(source: Source) -> int:
    """How many bytes the maker's raw developer has put behind the heap."""
    foot = source.read(source.size - _TRAILER_FOOT, _TRAILER_FOOT)
    if not foot.startswith(_TRAILER):
        return 0
    return _TRAILER_HEAD + int.from_bytes(foot[20:24]) + _TRAILER_FOOT


def read(source: Source, records: Records, builder: FactsBuilder) -> None:
    """Fills the draft with what the records say."""
    facts = builder.facts
    facts["make"], facts["model"] = _camera(records.raw(CAMERA))
    settings, shot = records.words(SETTINGS), records.words(SHOT)
    arrays = {canon.SETTINGS: settings, canon.SHOT: shot, canon.FILE: records.words(FILE)}
    canon.fill(arrays, {}, builder)
    _exposure(records, shot, facts)
    base_iso = records.numbers(BASE_ISO, "H")
    facts["iso"] = facts.get("iso") or (float(base_iso[0]) if base_iso and base_iso[0] else None)
    facts["focal_length_mm"] = _focal_length(records.numbers(FOCAL_LENGTH, "H"), settings)
    _picture(records.numbers(PICTURE, "i"), facts)
    serial = records.numbers(SERIAL, "I")
    if serial and serial[0] and _NUMBERED in facts["model"]:
        facts["serial"] = str(serial[0])
    _time(records.numbers(TIME, "I"), builder)
    _previews(source, records, builder)


def _camera(names: bytes) -> tuple[str, str]:
    """Make and model, each up to its NUL."""
    make, _, rest = names.partition(b"\0")
    return as_text(make), as_text(rest)


def _exposure(records: Records, shot: tuple[int, ...], facts: FoundFacts) -> None:
    """Bias, Tv and Av by words; by the record of floating-point numbers where those say nothing.

    A Tv of zero is a second, and what an array that was not filled in holds.
    """
    bias, tv, av = (_stops(shot, at) for at in (BIAS, EXPOSURE_TIME, F_NUMBER))
    values = records.floats(EXPOSURE)
    if not tv and not av and len(values) >= STOPS:
        bias, tv, av = values[:STOPS]
    elif not tv and not av:
        tv = None
    facts["exposure_bias_ev"] = standard.signed_ev(_ratio(bias))
    facts["exposure_time_s"] = standard.apex_time(_ratio(tv))
    facts["f_number"] = standard.apex_f_number(_ratio(av))


def _stops(shot: tuple[int, ...], at: int) -> float | None:
    return canon.ev(word_at(shot, at))


def _ratio(value: float | None) -> tuple[int, int] | None:
    """An exposure value as a fraction, to the millionth; None where it is absurd."""
    if value is None or abs(value) > standard.LARGEST_EV:
        return None
    return round(value * MILLION), MILLION


def _focal_length(record: tuple[int, ...], settings: tuple[int, ...]) -> float | None:
    """Millimetres: the record's second word, in the units that the settings state."""
    units = word_at(settings, UNITS)
    if len(record) < 2 or not units:
        return None
    return standard.within((record[1], units), standard.LONGEST_LENS_MM)


def _picture(fields: tuple[int, ...], facts: FoundFacts) -> None:
    """Width, height, and behind the pixels' aspect the rotation in degrees."""
    if len(fields) < 4:
        return
    width, height, _, rotation = fields[:4]
    if width > 0 and height > 0:
        facts["width"], facts["height"] = width, height
    if rotation in _ORIENTATIONS:
        facts["orientation"] = _ORIENTATIONS[rotation]


def _time(fields: tuple[int, ...], builder: FactsBuilder) -> None:
    """Seconds by the camera's own clock since 1970; its zone is not known for sure and not taken."""
    if fields and fields[0]:
        builder.facts["moment"] = Moment(local_s=fields[0])
    elif fields:
        builder.notes.append(standard.NOT_SET)


def _previews(source: Source, records: Records, builder: FactsBuilder) -> None:
    size = records.words(FULL_PICTURE_SIZE)[3:5]
    for number, stated in ((FULL_PICTURE, size), (THUMBNAIL, ())):
        place = records.place(number)
        if place is not None:
            width, height = stated if len(stated) == 2 else previews.UNKNOWN
            previews.take(source, builder, place.offset, place.length, (width, height))
