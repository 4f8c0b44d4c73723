"""HEIF: items in one meta box, of which one is the Exif block (ISO/IEC 23008-12)."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from sorter.reading.containers import block
from sorter.reading.containers.boxes import Box, boxes, first
from sorter.reading.draft import Draft
from sorter.reading.source import Source

MOST_ITEMS: Final = 4096
MOST_TABLE: Final = 1 << 18
EXIF_ITEM: Final = b"Exif"
SIZE_BOX: Final = b"ispe"


def read(source: Source, draft: Draft) -> None:
    """The facts of the Exif item, and a note where the file is cut."""
    meta = first(source, 0, source.size, b"meta")
    if meta is None:
        draft.notes.append(block.NONE)
        return
    inside = {box.kind: box for box in boxes(source, meta.start + 4, min(meta.end, source.size))}
    number = _exif_item(source, inside.get(b"iinf"))
    places = list(_places(source, inside)) if b"iloc" in inside else []
    place = next((one for one in places if one.item == number), None)
    if number is None or place is None:
        draft.notes.append(block.NONE)
    elif not _exif(source, place, draft):
        draft.notes.append(block.UNREADABLE)
    end = max((one.offset + one.length for one in places), default=0)
    if end > source.size:
        draft.notes.append(f"the file ends early: {source.size} of at least {end} bytes")
    if not draft.said.get("width"):
        _picture_size(source, inside, draft)


@dataclass(frozen=True, slots=True)
class _Place:
    """Where an item's first extent lies in the file."""

    item: int
    offset: int
    length: int


def _exif(source: Source, place: _Place, draft: Draft) -> bool:
    """The item begins with the distance to the TIFF behind these four bytes."""
    skip = source.read(place.offset, 4)
    base = place.offset + 4 + int.from_bytes(skip)
    end = min(place.offset + place.length, source.size)
    return len(skip) == 4 and block.read(source, base, end, draft) is not None


def _exif_item(source: Source, info: Box | None) -> int | None:
    """The number of the item of kind Exif."""
    if info is None:
        return None
    version = source.read(info.start, 1)
    skip = 6 if version == b"\0" else 8
    for entry in boxes(source, info.start + skip, min(info.end, source.size)):
        content = source.read(entry.start, 16)
        wide = content[:1] == b"\3"
        kind = content[10:14] if wide else content[8:12]
        if kind == EXIF_ITEM:
            return int.from_bytes(content[4:8] if wide else content[4:6])
    return None


def _places(source: Source, inside: dict[bytes, Box]) -> Iterator[_Place]:
    """The items' first extents by the iloc box, versions 0 to 2."""
    box = inside[b"iloc"]
    fields = _Fields(source.read(box.start, min(box.end - box.start, MOST_TABLE)))
    version = fields.number(1)
    fields.number(3)
    sizes = fields.number(1), fields.number(1)
    offset_size, length_size, base_size = sizes[0] >> 4, sizes[0] & 15, sizes[1] >> 4
    index_size = sizes[1] & 15 if version else 0
    wide = 4 if version == 2 else 2
    data_start = inside[b"idat"].start if b"idat" in inside else None
    for _ in range(source.allowance.take(min(fields.number(wide), MOST_ITEMS))):
        item = fields.number(wide)
        method = fields.number(2) & 15 if version else 0
        fields.number(2)
        base = fields.number(base_size)
        extents = fields.number(2)
        fields.number(index_size)
        at, length = fields.number(offset_size), fields.number(length_size)
        fields.skip((extents - 1) * (index_size + offset_size + length_size))
        if fields.over:
            return
        start = {0: 0, 1: data_start}.get(method)
        if extents and start is not None:
            yield _Place(item, start + base + at, length)


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
        self._at += max(size, 0)


def _picture_size(source: Source, inside: dict[bytes, Box], draft: Draft) -> None:
    """The largest of the stated picture sizes."""
    properties = inside.get(b"iprp")
    table = properties and first(source, properties.start, properties.end, b"ipco")
    if not table:
        return
    sizes = [
        (
            int.from_bytes(source.read(box.start + 4, 4)),
            int.from_bytes(source.read(box.start + 8, 4)),
        )
        for box in boxes(source, table.start, min(table.end, source.size))
        if box.kind == SIZE_BOX
    ]
    width, height = max(sizes, default=(0, 0))
    draft.said["width"], draft.said["height"] = width or None, height or None
