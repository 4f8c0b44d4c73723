"""The standard Exif tags of a shot (CIPA DC-008), as neutral rows for two different writers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from cardmaking.tiff import ASCII, RAT, SRAT, U16, U32, UNDEF, Entry, Writer

if TYPE_CHECKING:
    from fractions import Fraction

    from cardmaking.shots import Shot

Value = str | bytes | int | tuple[int, int]
UNSET = "0000:00:00 00:00:00"


@dataclass(frozen=True, slots=True)
class Row:
    """One standard tag: number, TIFF type and value (a rational is a pair)."""

    tag: int
    kind: int
    value: Value


RESOLUTION = [Row(0x011A, RAT, (72, 1)), Row(0x011B, RAT, (72, 1)), Row(0x0128, U16, 2)]
JPEG_ROWS = [Row(0x0213, U16, 2)]
"""What IFD0 must have besides in a JPEG."""
THUMB_ROWS = [Row(0x0103, U16, 6), *RESOLUTION]
"""What IFD1 says of the thumbnail, without its place and length."""


def written_time(shot: Shot) -> str:
    """The capture time as Exif writes it, or zeros where the clock was never set."""
    return UNSET if shot.captured is None else shot.captured.strftime("%Y:%m:%d %H:%M:%S")


def main_rows(shot: Shot) -> list[Row]:
    """The tags of IFD0, without pointers."""
    return [
        Row(0x010F, ASCII, shot.make),
        Row(0x0110, ASCII, shot.model),
        Row(0x0112, U16, shot.orientation),
        *RESOLUTION,
        Row(0x0131, ASCII, f"Firmware Version {shot.firmware}"),
        Row(0x0132, ASCII, written_time(shot)),
    ]


def exif_rows(shot: Shot, size: tuple[int, int]) -> list[Row]:
    """The tags of the Exif IFD in the order of their numbers, without the maker note.

    size is the picture's width and height in pixels.
    """
    rows = _exposure_rows(shot) + _time_rows(shot) + _picture_rows(size) + _device_rows(shot)
    return sorted(rows, key=lambda row: row.tag)


def _exposure_rows(shot: Shot) -> list[Row]:
    rows = [
        Row(0x829A, RAT, ratio(shot.exposure)),
        Row(0x8822, U16, 1 if shot.manual_exposure else 3),
        Row(0x8827, U16, shot.iso),
        Row(0x9201, SRAT, (round(-math.log2(shot.exposure) * 65536), 65536)),
        Row(0x9204, SRAT, ratio(shot.bias)),
        Row(0x9207, U16, 5),
        Row(0xA402, U16, exposure_mode(shot)),
        Row(0xA403, U16, 0),
        Row(0xA406, U16, 0),
    ]
    if shot.f_number:
        rows.append(Row(0x829D, RAT, tenths(shot.f_number)))
        rows.append(Row(0x9202, RAT, (round(2 * math.log2(shot.f_number) * 65536), 65536)))
    if shot.focal_mm:
        rows.append(Row(0x920A, RAT, (shot.focal_mm, 1)))
    if shot.flash is not None:
        rows.append(Row(0x9209, U16, 0x09 if shot.flash == "fired" else 0x10))
    return rows


def exposure_mode(shot: Shot) -> int:
    """Exif ExposureMode: 0 auto, 1 manual, 2 auto bracket (which Olympus bodies never write)."""
    sets_bracket = not shot.make.upper().startswith(("OM ", "OLYMPUS"))
    if shot.bracket == "exposure" and sets_bracket:
        return 2
    return 1 if shot.manual_exposure else 0


def _time_rows(shot: Shot) -> list[Row]:
    rows = [Row(0x9003, ASCII, written_time(shot)), Row(0x9004, ASCII, written_time(shot))]
    if shot.subsec is not None:
        rows += [Row(tag, ASCII, shot.subsec) for tag in (0x9290, 0x9291, 0x9292)]
    if shot.offset is not None:
        rows += [Row(tag, ASCII, shot.offset) for tag in (0x9010, 0x9011, 0x9012)]
    return rows


def _picture_rows(size: tuple[int, int]) -> list[Row]:
    return [
        Row(0x9000, UNDEF, b"0231"),
        Row(0x9101, UNDEF, b"\1\2\3\0"),
        Row(0xA000, UNDEF, b"0100"),
        Row(0xA001, U16, 1),
        Row(0xA002, U32, size[0]),
        Row(0xA003, U32, size[1]),
    ]


def _device_rows(shot: Shot) -> list[Row]:
    named = {0xA431: shot.serial, 0xA434: shot.lens}
    return [Row(tag, ASCII, text) for tag, text in named.items() if text]


def ratio(value: Fraction) -> tuple[int, int]:
    """Numerator and denominator."""
    return value.numerator, value.denominator


def tenths(value: float) -> tuple[int, int]:
    """The value as a rational over ten, as cameras write f-numbers."""
    return round(value * 10), 10


def entry(writer: Writer, row: Row) -> Entry:
    """The row as a TIFF entry in the writer's byte order."""
    match row.value:
        case str(text):
            return writer.text(row.tag, text)
        case bytes(data):
            return writer.raw(row.tag, data)
        case int(number):
            return writer.numbers(row.tag, row.kind, number)
        case pair:
            return writer.ratios(row.tag, pair, kind=row.kind)


def entries(writer: Writer, rows: list[Row]) -> list[Entry]:
    """The rows as TIFF entries in the writer's byte order."""
    return [entry(writer, row) for row in rows]
