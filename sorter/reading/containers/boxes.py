"""Boxes of ISO base media files (ISO/IEC 14496-12): CR3, HEIF and clips are made of them."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import Final, NamedTuple

from sorter.reading.source import Source

MOST_BOXES: Final = 1000
"""Side by side; pictures of many tiles list several hundred."""
_HEAD: Final = struct.Struct(">I4s")
_make: Final = tuple.__new__
"""Makes a box in half of the time that its own name takes."""


class Box(NamedTuple):
    """A box: its four-character kind, where its content begins, where it says that it ends.

    The end may lie behind the end of the file: then the file is cut.
    """

    kind: bytes
    start: int
    end: int


def boxes(source: Source, start: int, end: int) -> Iterator[Box]:
    """The boxes side by side between two places; a box that makes no sense ends the walk."""
    at, head, allowance = start, source.head, source.allowance
    in_head = min(end, len(head)) - 8
    for _ in range(MOST_BOXES):
        # The walk is a quarter of a CR3's time: the allowance and the first block are asked directly.
        if at <= in_head:
            size, kind = _HEAD.unpack_from(head, at)
        else:
            fields = source.read(at, 8) if at + 8 <= end else b""
            if len(fields) < 8:
                return
            size, kind = _HEAD.unpack(fields)
        allowance.steps -= 1
        if allowance.steps < 0:
            return
        content = at + 8
        if size == 1:
            size, content = int.from_bytes(source.read(at + 8, 8)), at + 16
        elif size == 0:
            size = end - at
        if at + size < content:
            return
        yield _make(Box, (kind, content, at + size))
        at += size


def _first(source: Source, start: int, end: int, wanted: bytes) -> Box | None:
    """The first box of a kind: the walk of `boxes` without making one for each that is passed over."""
    at, head, allowance = start, source.head, source.allowance
    in_head = min(end, len(head)) - 8
    while at <= in_head and allowance.steps > 0:
        size, kind = _HEAD.unpack_from(head, at)
        if size < 8:  # its size is said otherwise
            break
        allowance.steps -= 1
        if kind == wanted:
            return _make(Box, (kind, at + 8, at + size))
        at += size
    return next((box for box in boxes(source, at, end) if box.kind == wanted), None)


def first(source: Source, start: int, end: int, *kinds: bytes) -> Box | None:
    """The box at the end of a path of kinds, the first of its kind on each level."""
    found: Box | None = None
    for kind in kinds:
        found = _first(source, start, end, kind)
        if found is None:
            return None
        start, end = found.start, min(found.end, source.size)
    return found
