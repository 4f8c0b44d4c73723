"""JPEG: segments up to the scan; Exif stands in an APP1 segment (ISO/IEC 10918-1, DC-008)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from sorter.model.damage import NO_END, ZEROS
from sorter.model.values import Preview
from sorter.reading.containers import block
from sorter.reading.draft import Draft
from sorter.reading.source import Source

START: Final = b"\xff\xd8\xff"
END: Final = b"\xff\xd9"
EXIF: Final = b"Exif\0\0"
APP1: Final = 0xE1
SCAN: Final = 0xDA
END_MARKER: Final = 0xD9
_WITHOUT_LENGTH: Final = frozenset({0x01, *range(0xD0, 0xD9)})
_FRAMES: Final = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
MOST_SEGMENTS: Final = 200
TAIL: Final = 4 * 1024
LONG_TAIL: Final = 64 * 1024
"""Where an end marker is looked for when the last bytes hold none: bodies pad, phones append."""


def read(source: Source, draft: Draft) -> None:
    """The facts of a JPEG file; its whole self is its preview."""
    header_end = facts(source, 0, source.size, draft)
    said = draft.said
    size = (said.get("width") or 0, said.get("height") or 0)
    draft.previews.append(Preview(offset=0, length=source.size, width=size[0], height=size[1]))
    damage = ending(source, header_end)
    if damage:
        draft.notes.append(damage)


def facts(source: Source, start: int, end: int, draft: Draft) -> int:
    """Takes the first valid Exif of the JPEG at start; returns where the walk came to.

    The frame header is looked for only where Exif does not tell the picture's size.
    """
    came_to, seen, valid = start + 2, False, False
    for marker, at, stop in segments(source, start, end):
        came_to = at
        if marker == APP1 and not valid and source.read(at, 6) == EXIF:
            seen = True
            valid = block.read(source, at + 6, stop, draft) is not None
            came_to = stop
        elif marker in _FRAMES and not draft.said.get("width"):
            _frame_size(source.read(at + 1, 4), draft)
        if valid and draft.said.get("width"):
            break
    if not valid:
        draft.notes.append(block.UNREADABLE if seen else block.NONE)
    return came_to


def segments(source: Source, start: int, end: int) -> Iterator[tuple[int, int, int]]:
    """Marker, first byte and end of each segment's content, up to the scan."""
    at = start + 2
    for _ in range(MOST_SEGMENTS):
        head = source.read(at, 4)
        if len(head) < 4 or head[0] != 0xFF or at >= end or not source.allowance.take(1):
            return
        marker = head[1]
        if marker == 0xFF:  # a fill byte
            at += 1
        elif marker in _WITHOUT_LENGTH:
            at += 2
        elif marker in {SCAN, END_MARKER}:
            return
        else:
            stop = at + 2 + int.from_bytes(head[2:])
            yield marker, at + 4, min(stop, end)
            at = max(stop, at + 4)


def _frame_size(content: bytes, draft: Draft) -> None:
    """Height and width stand behind the sample precision."""
    if len(content) == 4:
        draft.said["height"] = int.from_bytes(content[:2]) or None
        draft.said["width"] = int.from_bytes(content[2:]) or None


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
    return ZEROS if len(tail) > 64 and not tail[-64:].strip(b"\0") else NO_END
