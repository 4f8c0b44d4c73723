"""Formats in which Exif is one wrapped-up block among others: PNG, WebP, JPEG XL, JPEG 2000, MRW.

Sources: PNG third edition (eXIf), the WebP container specification, ISO/IEC 18181-2 (Exif box),
general-purpose metadata libraries' id for JPEG 2000 and from memory for MRW.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

from sorter.reading.containers import block, jpeg
from sorter.reading.containers.boxes import boxes
from sorter.reading.draft import Draft
from sorter.reading.source import Source

MOST_PARTS: Final = 1000
EXIF_ID: Final = b"JpgTiffExif->JP2"


class Part(NamedTuple):
    """A block: what it is called, its first byte, the byte behind its last."""

    name: bytes
    start: int
    end: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Form:
    """How the parts of a format follow each other: where they begin, and what is around them."""

    first: int
    order: Literal["big", "little"] = "big"
    name_first: bool = True
    behind: int = 0
    even: bool = False


_PNG: Final = _Form(first=8, name_first=False, behind=4)  # a checksum stands behind
_RIFF: Final = _Form(first=12, order="little", even=True)
_MRW: Final = _Form(first=8)


def read_png(source: Source, draft: Draft) -> None:
    """The facts of a PNG's eXIf chunk."""
    _take(source, _find(source, _PNG, b"eXIf"), draft)


def read_webp(source: Source, draft: Draft) -> None:
    """The facts of a WebP's EXIF chunk, before which some writers put the name that JPEG has."""
    found = _find(source, _RIFF, b"EXIF")
    if found is not None and source.read(found.start, len(jpeg.EXIF)) == jpeg.EXIF:
        found = found._replace(start=found.start + len(jpeg.EXIF))
    _take(source, found, draft)


def read_boxes(source: Source, draft: Draft) -> None:
    """The facts of a JPEG XL's Exif box, or of the box that JPEG 2000 files keep Exif in."""
    for box in boxes(source, 0, source.size):
        if box.kind == b"Exif":
            skip = 4 + int.from_bytes(source.read(box.start, 4))
            _take(source, Part(box.kind, box.start + skip, box.end), draft)
            return
        if box.kind == b"uuid" and source.read(box.start, 16) == EXIF_ID:
            _take(source, Part(box.kind, box.start + 16, box.end), draft)
            return
    _take(source, None, draft)


def read_bare(source: Source, draft: Draft) -> None:
    """Nothing: a bare stream of picture data has no place for Exif."""
    _take(source, None, draft)


def read_mrw(source: Source, draft: Draft) -> None:
    """The facts of an MRW's block that is a TIFF."""
    _take(source, _find(source, _MRW, b"\0TTW"), draft)


def _take(source: Source, part: Part | None, draft: Draft) -> None:
    if part is None:
        draft.notes.append(block.NONE)
    elif block.read(source, part.start, min(part.end, source.size), draft) is None:
        draft.notes.append(block.UNREADABLE)


def _find(source: Source, form: _Form, name: bytes) -> Part | None:
    """The first part of this name."""
    return next((part for part in _parts(source, form) if part.name == name), None)


def _parts(source: Source, form: _Form) -> Iterator[Part]:
    """The parts in their order, as far as their lengths lead on within the file."""
    at = form.first
    for _ in range(MOST_PARTS):
        head = source.read(at, 8)
        if len(head) < 8 or not source.allowance.take(1):
            return
        name, size = (head[:4], head[4:]) if form.name_first else (head[4:], head[:4])
        length = int.from_bytes(size, form.order)
        yield Part(name, at + 8, at + 8 + length)
        at += 8 + length + form.behind + (length % 2 if form.even else 0)
