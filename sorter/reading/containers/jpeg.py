"""JPEG: segments up to the scan; Exif stands in an APP1 segment (ISO/IEC 10918-1, DC-008)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, Literal

from sorter.model.damage import Damage
from sorter.reading import previews
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import block
from sorter.reading.directories import opened
from sorter.reading.source import Source

START: Final = previews.START
END: Final = b"\xff\xd9"
EXIF: Final = b"Exif\0\0"
_AFTER_HEAD: Final = frozenset({b"\xff\xda", b"\xff\xff", END})
"""What stands behind a head that is whole: the scan, fill bytes before it, the file's end."""
PICTURES: Final = b"MPF\0"
APP1: Final = 0xE1
APP2: Final = 0xE2
PICTURE_LIST: Final = 0xB002
"""In the index of a multi-picture file (CIPA DC-007): sixteen bytes a picture."""
MOST_PICTURES: Final = 64
_FORMAT_BITS: Final = 7 << 24
_ORDERS: Final[dict[str, Literal["little", "big"]]] = {"<": "little", ">": "big"}
TAIL: Final = 4 * 1024
LONG_TAIL: Final = 64 * 1024
"""Where an end marker is looked for when the last bytes hold none: bodies pad, phones append."""


def read(source: Source, builder: FactsBuilder) -> None:
    """The facts of a JPEG file; its whole self is its preview."""
    header_end = embedded(source, 0, source.size, builder)
    damage = ending(source, header_end)
    if damage:
        builder.notes.append(damage)


def embedded(source: Source, start: int, end: int, builder: FactsBuilder) -> int:
    """The facts of the JPEG between these places, and its previews: itself and those within.

    Returns where the walk for the facts came to.
    """
    came_to = facts(source, start, min(end, source.size), builder)
    # The Exif of a raw's JPEG may tell the raw's size.
    stated = (builder.facts.get("width") or 0, builder.facts.get("height") or 0)
    size = previews.UNKNOWN if start else stated
    frame, lists = _shown(source, start + 2, min(end, source.size))
    previews.take_framed(source, builder, (start, end), size, frame)
    for first, stop in lists:
        _listed(source, first, stop, min(end, source.size), builder)
    return came_to


def facts(source: Source, start: int, end: int, builder: FactsBuilder) -> int:
    """Takes the first Exif of the JPEG at start that is whole; returns where the walk came to.

    What a broken one tells stays only where no whole one follows. The frame header is looked for
    only where Exif does not tell the picture's size.
    """
    came_to, seen, whole, stop = start + 2, False, False, start + 2
    for marker, at, stop in segments(source, start, end):
        came_to = at
        if marker == APP1 and not whole and _is_exif(source, at):
            whole = _exif(source, at + len(EXIF), stop, builder, seen=seen)
            seen = True
            came_to = stop
        elif marker in previews.FRAMES and not builder.facts.get("width"):
            _frame_size(source.read(at + 1, 4), builder)
        if whole and builder.facts.get("width"):
            break
    if not seen:
        builder.notes.append(block.NONE if source.read(stop, 2) in _AFTER_HEAD else block.NONE_LEFT)
    elif not whole and block.UNREADABLE not in builder.notes:
        builder.notes.append(block.UNREADABLE)
    return came_to


def _is_exif(source: Source, at: int) -> bool:
    """Whether the segment's content here is Exif, which mostly stands in the first block."""
    return source.head.startswith(EXIF, at) or source.read(at, len(EXIF)) == EXIF


def _exif(source: Source, base: int, end: int, builder: FactsBuilder, *, seen: bool) -> bool:
    """Whether the segment's Exif is whole; the draft then holds it, or what a first one tells."""
    trial = FactsBuilder(container=builder.container, role=builder.role) if seen else builder
    main = block.read(source, base, end, trial)
    whole = main is not None and block.UNREADABLE not in trial.notes
    if whole and seen:
        builder.facts, builder.previews, builder.notes = trial.facts, trial.previews, trial.notes
        builder.main, builder.exif = trial.main, trial.exif
    if main is not None and (whole or not seen):
        block.thumbnail(source, main, builder)
    return whole


def segments(source: Source, start: int, end: int) -> Iterator[tuple[int, int, int]]:
    """Marker, first byte and end of each segment's content, up to the scan."""
    at, first_block = start + 2, source.head
    for _ in range(previews.MOST_SEGMENTS):
        head = first_block[at : at + 4] if at + 4 <= len(first_block) else source.read(at, 4)
        if len(head) < 4 or head[0] != 0xFF or at >= end or not source.allowance.take(1):
            return
        marker = head[1]
        if marker == 0xFF:  # a fill byte
            at += 1
        elif marker in previews.WITHOUT_LENGTH:
            at += 2
        elif marker in previews.ENDS:
            return
        else:
            stop = at + 2 + int.from_bytes(head[2:])
            yield marker, at + 4, min(stop, end)
            at = max(stop, at + 4)


def _frame_size(content: bytes, builder: FactsBuilder) -> None:
    """The picture's size as its frame header has it."""
    size = previews.size_of(content)
    if size is not None:
        builder.facts["width"], builder.facts["height"] = size


def _shown(
    source: Source, at: int, end: int
) -> tuple[previews.FrameHeader | None, list[tuple[int, int]]]:
    """The frame header, and where lists of further pictures stand, by one walk over the first block.

    None in place of the frame header where not even its first bytes are in that block.
    """
    if at >= len(source.head):
        return None, []
    frame, lists = previews.FrameHeader(0, None), []
    for marker, first, stop in previews.segments(source, at, end):
        if marker == APP2 and source.head.startswith(PICTURES, first):
            lists.append((first + len(PICTURES), min(stop, end)))
        elif marker in previews.FRAMES:  # what belongs to the application stands before it
            frame = previews.frame_at(source, marker, first)
            break
    return frame, lists


def _listed(source: Source, base: int, stop: int, end: int, builder: FactsBuilder) -> None:
    """The JPEGs of the list; their places count from the list's own header (CIPA DC-007).

    The first one's place is zero: it is the file itself.
    """
    index = opened(source, base, stop)
    if index is None:
        return
    order = _ORDERS[index.tiff.order]
    rows = index.raw(PICTURE_LIST)
    for row in range(0, min(len(rows), 16 * MOST_PICTURES) - 15, 16):
        kind, length, place = (
            int.from_bytes(rows[at : at + 4], order) for at in (row, row + 4, row + 8)
        )
        if place and not kind & _FORMAT_BITS and base + place + length <= end:
            previews.take(source, builder, base + place, length)


def ending(source: Source, header_end: int) -> str:
    """What is wrong with the file's end; empty where an end marker stands there.

    Coded picture data hold FF only before 00 or a restart marker, so FF D9 is an end. The header
    may hold a thumbnail with an end of its own and is left out.
    """
    first = max(header_end, source.size - TAIL)
    tail = source.read(first, source.size - first)
    if END in tail:
        return ""
    first = max(header_end, source.size - LONG_TAIL)
    if END in source.read(first, source.size - first):
        return ""
    is_blank = len(tail) > 64 and not tail[-64:].strip(b"\0")
    return Damage.ZEROS if is_blank else Damage.NO_END
