"""Formats in which Exif is one wrapped-up block among others: PNG, WebP, JPEG XL, JPEG 2000, MRW.

Sources: PNG third edition (eXIf), the WebP container specification, ISO/IEC 18181-2 (Exif box),
general-purpose metadata libraries' id for JPEG 2000 and from memory for MRW.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import block, jpeg
from sorter.reading.containers.boxes import boxes
from sorter.reading.source import Source

MOST_PARTS: Final = 1000
PACKED: Final = b"brob"
"""A box of JPEG XL whose content, another box, is compressed (ISO/IEC 18181-2)."""
EXIF_ID: Final = b"JpgTiffExif->JP2"


class Block(NamedTuple):
    """A block: what it is called, its first byte, the byte behind its last."""

    name: bytes
    start: int
    end: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Form:
    """How the parts of a format follow each other: where they begin, and what is around them.

    last: the part that ends every file; where there is none, the head tells how long all are.
    """

    first: int
    order: Literal["big", "little"] = "big"
    name_first: bool = True
    behind: int = 0
    even: bool = False
    last: bytes = b""


_PNG: Final = _Form(first=8, name_first=False, behind=4, last=b"IEND")  # a checksum stands behind
_RIFF: Final = _Form(first=12, order="little", even=True)
_MRW: Final = _Form(first=8)
_STREAMS: Final = frozenset({b"jxlc", b"jxlp", b"jp2c"})
"""The picture data, without which a file of boxes was cut."""


def read_png(source: Source, builder: FactsBuilder) -> None:
    """The facts of a PNG's eXIf chunk."""
    _take_of(source, _PNG, _find(source, _PNG, b"eXIf"), builder)


def read_webp(source: Source, builder: FactsBuilder) -> None:
    """The facts of a WebP's EXIF chunk, before which some writers put the name that JPEG has."""
    found = _find(source, _RIFF, b"EXIF")
    if found is not None and source.read(found.start, len(jpeg.EXIF)) == jpeg.EXIF:
        found = found._replace(start=found.start + len(jpeg.EXIF))
    _take_of(source, _RIFF, found, builder)


def read_boxes(source: Source, builder: FactsBuilder) -> None:
    """The facts of a JPEG XL's Exif box, or of the box that JPEG 2000 files keep Exif in."""
    for box in boxes(source, 0, source.size):
        if box.kind == b"Exif":
            skip = 4 + int.from_bytes(source.read(box.start, 4))
            _take(source, Block(box.kind, box.start + skip, box.end), builder)
            return
        if box.kind == PACKED and source.read(box.start, 4) == b"Exif":
            builder.notes.append(f"{block.UNREADABLE}: it is compressed")
            return
        if box.kind == b"uuid" and source.read(box.start, 16) == EXIF_ID:
            _take(source, Block(box.kind, box.start + 16, box.end), builder)
            return
    every = list(boxes(source, 0, source.size))
    ended = bool(every) and every[-1].end == source.size
    _take(source, None, builder, whole=ended and any(box.kind in _STREAMS for box in every))


def read_bare(source: Source, builder: FactsBuilder) -> None:
    """Nothing: a bare stream of picture data has no place for Exif."""
    _take(source, None, builder)


def read_mrw(source: Source, builder: FactsBuilder) -> None:
    """The facts of an MRW's block that is a TIFF."""
    _take_of(source, _MRW, _find(source, _MRW, b"\0TTW"), builder)


def _take(source: Source, part: Block | None, builder: FactsBuilder, *, whole: bool = True) -> None:
    """The facts of the block; whole: whether all places where it might stand were seen."""
    if part is None:
        builder.notes.append(block.NONE if whole else block.NONE_LEFT)
        return
    if part.end > source.size:
        builder.notes.append(block.ends_early(source, part.end))
    main = block.read(source, part.start, min(part.end, source.size), builder)
    if main is None:
        builder.notes.append(block.UNREADABLE)
    else:
        block.thumbnail(source, main, builder)


def _take_of(source: Source, form: _Form, part: Block | None, builder: FactsBuilder) -> None:
    """The facts of the block; where there is none, it matters whether the file is whole."""
    _take(source, part, builder, whole=part is not None or _is_whole(source, form))


def _is_whole(source: Source, form: _Form) -> bool:
    """Whether all parts that there should be end within the file."""
    if form.last:
        last = _find(source, form, form.last)
        return last is not None and last.end <= source.size
    size = source.read(4, 4)
    return len(size) == 4 and 8 + int.from_bytes(size, form.order) <= source.size


def _find(source: Source, form: _Form, name: bytes) -> Block | None:
    """The first part of this name."""
    return next((part for part in _parts(source, form) if part.name == name), None)


def _parts(source: Source, form: _Form) -> Iterator[Block]:
    """The parts in their order, as far as their lengths lead on within the file."""
    at = form.first
    for _ in range(MOST_PARTS):
        head = source.read(at, 8)
        if len(head) < 8 or not source.allowance.take(1):
            return
        name, size = (head[:4], head[4:]) if form.name_first else (head[4:], head[:4])
        length = int.from_bytes(size, form.order)
        yield Block(name, at + 8, at + 8 + length)
        at += 8 + length + form.behind + (length % 2 if form.even else 0)
