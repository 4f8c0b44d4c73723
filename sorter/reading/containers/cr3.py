"""CR3: boxes, of which one holds four small TIFFs: IFD0, Exif, the maker's note, GPS."""

from __future__ import annotations

import struct
from typing import Final

from sorter.model.kinds import Role
from sorter.reading import previews, standard
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import block
from sorter.reading.containers.boxes import Box, boxes, first
from sorter.reading.directories import MOST_ENTRIES, Directory, opened
from sorter.reading.makers import note
from sorter.reading.makers.form import Note
from sorter.reading.source import Source

OWN_ID: Final = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")
MAIN: Final = b"CMT1"
EXIF: Final = b"CMT2"
NOTE: Final = b"CMT3"
PLACE_TAKEN: Final = b"CMT4"
PLACES: Final = b"CTBO"
THUMBNAIL: Final = b"THMB"
PREVIEW_PLACE: Final = 2
PREVIEW_HEADER: Final = 56
"""Bytes from the preview's outer box to its JPEG: box, id, eight bytes, box, fields."""
_FIELDS: Final = struct.Struct(">HHI")
_THREE: Final = struct.Struct(">3I")


def read(source: Source, builder: FactsBuilder) -> None:
    """The facts and previews of a CR3, and a note where it is cut."""
    builder.role = Role.RAW
    movie = first(source, 0, source.size, b"moov")
    if movie is None:
        builder.notes.append(f"{block.UNREADABLE}: the file has no head")
        return
    parts = _own_parts(source, movie)
    places = _places(source, parts)
    _facts(source, parts, builder, block.NONE if movie.end <= source.size else block.NONE_LEFT)
    _previews(source, parts, places, builder)
    _full_picture(source, movie, builder)
    end = max([movie.end, *(offset + size for offset, size in places.values())])
    if end > source.size:
        builder.notes.append(f"the file ends early: {source.size} of {end} bytes")


def _own_parts(source: Source, movie: Box) -> dict[bytes, Box]:
    """The maker's own boxes by kind."""
    own = next(boxes(source, movie.start, min(movie.end, source.size)), None)
    if own is None or own.kind != b"uuid" or source.read(own.start, 16) != OWN_ID:
        return {}
    inside = boxes(source, own.start + 16, min(own.end, source.size))
    return {box.kind: box for box in inside}


def _facts(source: Source, parts: dict[bytes, Box], builder: FactsBuilder, none: str) -> None:
    """The facts of the maker's own boxes; none: what is said where they are missing."""
    main, exif = _tiff(source, parts.get(MAIN)), _tiff(source, parts.get(EXIF))
    if main is None and exif is None:
        builder.notes.append(block.UNREADABLE if MAIN in parts or EXIF in parts else none)
    standard.read(main, exif, builder)
    builder.gps = _tiff(source, parts.get(PLACE_TAKEN))
    own = parts.get(NOTE)
    found = _tiff(source, own)
    if found is not None and own is not None:
        first_at = found.values_from - 2 - 12 * min(found.stated, MOST_ENTRIES)
        behind_header = Note(
            tiff=found.tiff,
            offset=first_at,
            length=own.end - own.start,
            make=builder.facts.get("make", ""),
        )
        note.read(behind_header, builder)


def _tiff(source: Source, box: Box | None) -> Directory | None:
    return None if box is None else opened(source, box.start, min(box.end, source.size))


def _previews(
    source: Source,
    parts: dict[bytes, Box],
    places: dict[int, tuple[int, int]],
    builder: FactsBuilder,
) -> None:
    """The small one in the head, and the middle one at its stated place."""
    if THUMBNAIL in parts:
        start = parts[THUMBNAIL].start
        _take(source, builder, start + 16, source.read(start + 4, 8))
    if PREVIEW_PLACE in places:
        at = places[PREVIEW_PLACE][0] + PREVIEW_HEADER
        fields = source.read(at - 10, 10)
        _take(source, builder, at, fields[:4] + fields[6:])


def _take(source: Source, builder: FactsBuilder, at: int, fields: bytes) -> None:
    """Keeps a preview whose fields (width, height, bytes) are there."""
    if len(fields) == _FIELDS.size:
        width, height, length = _FIELDS.unpack(fields)
        previews.take_sized(source, builder, at, length, (width, height))


def _places(source: Source, parts: dict[bytes, Box]) -> dict[int, tuple[int, int]]:
    """What the table of places says: number to offset and bytes in the file."""
    box = parts.get(PLACES)
    if box is None:
        return {}
    table = source.read(box.start + 4, min(box.end - box.start - 4, 20 * 16))
    rows = struct.iter_unpack(">IQQ", table[: len(table) // 20 * 20])
    return {number: (offset, size) for number, offset, size in rows}


def _full_picture(source: Source, movie: Box, builder: FactsBuilder) -> None:
    """The first track's one sample is the camera's JPEG in full size."""
    end = min(movie.end, source.size)
    table = first(source, movie.start, end, b"trak", b"mdia", b"minf", b"stbl")
    if table is None:
        return
    parts = {box.kind: box.start for box in boxes(source, table.start, min(table.end, end))}
    if not {b"stsd", b"stsz", b"co64"} <= parts.keys():
        return
    size = source.read(parts[b"stsd"] + 40, 4)
    each, _, listed = _THREE.unpack(source.read(parts[b"stsz"] + 4, 12).ljust(12, b"\0"))
    place = int.from_bytes(source.read(parts[b"co64"] + 8, 8))
    _take(source, builder, place, size + (each or listed).to_bytes(4))
