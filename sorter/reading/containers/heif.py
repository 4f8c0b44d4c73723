"""HEIF: items in one meta box, of which one is the Exif block (ISO/IEC 23008-12)."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Final, NamedTuple

from sorter.reading import previews
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import block
from sorter.reading.containers.boxes import Box, boxes, first
from sorter.reading.source import Memory, Source

MOST_ITEMS: Final = 4096
MOST_TABLE: Final = 1 << 18
MOST_PARTS: Final = 32
EXIF_ITEM: Final = b"Exif"
JPEG_ITEM: Final = b"jpeg"
SMALLEST_BOX: Final = 8
IN_FILE, IN_DATA = 0, 1  # construction methods; others build items from items
SIZE_BOX: Final = b"ispe"


def read(source: Source, builder: FactsBuilder) -> None:
    """The facts of the Exif item, the JPEGs among the items, and a note where the file is cut."""
    meta = first(source, 0, source.size, b"meta")
    if meta is None or meta.end > source.size:
        end = max((box.end for box in boxes(source, 0, source.size)), default=0)
        builder.notes.append(block.NONE if end <= source.size else block.ends_early(source, end))
    if meta is None:
        return
    inside = {box.kind: box for box in boxes(source, meta.start + 4, min(meta.end, source.size))}
    kinds = dict(_kinds(source, inside.get(b"iinf")))
    places = {one.item: one for one in _places(source, inside)} if b"iloc" in inside else {}
    _exif(source, kinds, places, builder)
    if meta.end > source.size and block.NONE in builder.notes:
        builder.notes[builder.notes.index(block.NONE)] = block.NONE_LEFT
    _previews(source, inside, kinds, places, builder)
    end = max((extent.end for one in places.values() for extent in one.extents), default=0)
    if end > source.size >= meta.end:
        builder.notes.append(block.ends_early(source, end))
    if not builder.facts.get("width"):
        width, height = max(_sizes(source, inside).values(), default=(0, 0))
        builder.facts["width"], builder.facts["height"] = width or None, height or None


class _Extent(NamedTuple):
    """A part of an item: the bytes from start to before end of the file."""

    start: int
    end: int


class _Place(NamedTuple):
    """Where an item lies in the file: one extent mostly."""

    item: int
    extents: list[_Extent]


def _exif(
    source: Source, kinds: dict[int, bytes], places: dict[int, _Place], builder: FactsBuilder
) -> None:
    """The facts of the first item of kind Exif, or why there are none."""
    item = next((item for item, kind in kinds.items() if kind == EXIF_ITEM), None)
    if item is None:
        builder.notes.append(block.NONE)
        return
    place = places.get(item)
    if place is None or not place.extents:
        builder.notes.append(f"{block.UNREADABLE}: where it lies is not told")
        return
    if len(place.extents) == 1:
        whole = _block(source, place.extents[0], builder)
    else:
        whole = _in_parts(source, place, builder)
    if not whole:
        builder.notes.append(block.UNREADABLE)


def _block(source: Source, extent: _Extent, builder: FactsBuilder) -> bool:
    """The item begins with the distance to the TIFF behind these four bytes."""
    skip = source.read(extent.start, 4)
    base = extent.start + 4 + int.from_bytes(skip)
    if len(skip) < 4:
        return False
    end = extent.end if extent.end > extent.start else source.size  # no length means all the rest
    main = block.read(source, base, min(end, source.size), builder)
    if main is not None:
        block.thumbnail(source, main, builder)
    return main is not None


def _in_parts(source: Source, place: _Place, builder: FactsBuilder) -> bool:
    """An item of several extents, put together; places within it are none in the file."""
    parts = [source.read(one.start, one.end - one.start) for one in place.extents[:MOST_PARTS]]
    data = b"".join(parts)
    kept = list(builder.previews)
    whole = _block(Memory(data), _Extent(0, len(data)), builder)
    builder.previews = kept
    return whole


def _kinds(source: Source, info: Box | None) -> Iterator[tuple[int, bytes]]:
    """The kinds of the items by their numbers, out of infe boxes of version 2 and 3.

    Read at once: pictures of many tiles list a hundred items.
    """
    if info is None:
        return
    table = source.read(info.start, min(info.end - info.start, MOST_TABLE))
    at = 6 if table[:1] == b"\0" else 8
    while at + 20 <= len(table):
        version = table[at + 8]
        if version == 2:
            yield int.from_bytes(table[at + 12 : at + 14]), table[at + 16 : at + 20]
        elif version > 2:
            yield int.from_bytes(table[at + 12 : at + 16]), table[at + 18 : at + 22]
        at += max(int.from_bytes(table[at : at + 4]), SMALLEST_BOX)


def _previews(
    source: Source,
    inside: dict[bytes, Box],
    kinds: dict[int, bytes],
    places: dict[int, _Place],
    builder: FactsBuilder,
) -> None:
    """The items that are JPEGs; those of other codings nothing here can decode."""
    jpegs = [item for item, kind in kinds.items() if kind == JPEG_ITEM and item in places]
    if not jpegs:
        return
    sizes, described = _sizes(source, inside), _described(source, inside, jpegs)
    for item in jpegs:
        extents = places[item].extents
        known = (sizes[number] for number in described.get(item, ()) if number in sizes)
        if len(extents) == 1:
            start, end = extents[0]
            previews.take(source, builder, start, end - start, next(known, previews.UNKNOWN))


def _places(source: Source, inside: dict[bytes, Box]) -> Iterator[_Place]:
    """The items' extents by the iloc box, versions 0 to 2, as far as they lie in this file."""
    box = inside[b"iloc"]
    fields = _Fields(source.read(box.start, min(box.end - box.start, MOST_TABLE)))
    version = fields.number(1)
    fields.number(3)
    sizes = fields.number(1), fields.number(1)
    widths = _Widths(sizes[1] & 15 if version else 0, sizes[0] >> 4, sizes[0] & 15)
    base_size, wide = sizes[1] >> 4, 4 if version == 2 else 2
    starts = {IN_FILE: 0}
    if b"idat" in inside:
        starts[IN_DATA] = inside[b"idat"].start
    for _ in range(source.allowance.take(min(fields.number(wide), MOST_ITEMS))):
        item = fields.number(wide)
        start = starts.get(fields.number(2) & 15 if version else IN_FILE)
        elsewhere = fields.number(2)
        extents = _extents(source, fields, widths, (start or 0) + fields.number(base_size))
        if fields.over:
            return
        if start is not None and not elsewhere:
            yield _Place(item, extents)


class _Widths(NamedTuple):
    """How many bytes an extent's number, place and length take."""

    number: int
    place: int
    length: int


def _extents(source: Source, fields: _Fields, widths: _Widths, base: int) -> list[_Extent]:
    """The extents of one item; no more than there can be are kept."""
    count = fields.number(2)
    found = []
    for _ in range(source.allowance.take(min(count, MOST_PARTS))):
        fields.skip(widths.number)
        at = base + fields.number(widths.place)
        found.append(_Extent(at, at + fields.number(widths.length)))
    if count > MOST_PARTS:
        fields.skip((count - MOST_PARTS) * sum(widths))
    return found


class _Fields:
    """Big-endian numbers one after the other; over is true once they ran out."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    @property
    def over(self) -> bool:
        return self._at > len(self._data)

    def number(self, size: int) -> int:
        field = self._data[self._at : self._at + size]
        self._at += size
        return int.from_bytes(field)

    def skip(self, size: int) -> None:
        self._at += size


def _sizes(source: Source, inside: dict[bytes, Box]) -> dict[int, tuple[int, int]]:
    """The stated picture sizes by the numbers of their properties, which count from 1."""
    properties = inside.get(b"iprp")
    table = properties and first(source, properties.start, properties.end, b"ipco")
    if not table:
        return {}
    sizes = {}
    for number, box in enumerate(boxes(source, table.start, min(table.end, source.size)), 1):
        if box.kind == SIZE_BOX:
            fields = source.read(box.start + 4, 8)
            sizes[number] = int.from_bytes(fields[:4]), int.from_bytes(fields[4:])
    return sizes


def _described(
    source: Source, inside: dict[bytes, Box], items: Collection[int]
) -> dict[int, list[int]]:
    """The numbers of the properties that these items have, out of the ipma box."""
    properties = inside.get(b"iprp")
    table = properties and first(source, properties.start, properties.end, b"ipma")
    if not table:
        return {}
    fields = _Fields(source.read(table.start, min(table.end - table.start, MOST_TABLE)))
    version, flags = fields.number(1), fields.number(3)
    wide, mask = (2, 0x7FFF) if flags & 1 else (1, 0x7F)  # above: whether it is essential
    found = {}
    for _ in range(min(fields.number(4), MOST_ITEMS)):
        item, count = fields.number(4 if version else 2), fields.number(1)
        if item in items and not fields.over:
            found[item] = [fields.number(wide) & mask for _ in range(count)]
        else:
            fields.skip(count * wide)
    return found
