"""Boxes of ISO base media files (ISO/IEC 14496-12): CR3, HEIF and clips are made of them."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import Final, NamedTuple

from sorter.reading.source import Source

MOST_BOXES: Final = 1000
"""Side by side; pictures of many tiles list several hundred."""
_HEAD: Final = struct.Struct(">I4s")


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
    in_head = len(head)
    for _ in range(MOST_BOXES):
        if at + 8 > end:
            return
        # The walk is a quarter of a CR3's time: the allowance and the first block are asked directly.
        allowance.steps -= 1
        if allowance.steps < 0:
            return
        if at + 8 <= in_head:
            size, kind = _HEAD.unpack_from(head, at)
        else:
            fields = source.read(at, 8)
            if len(fields) < 8:
                return
            size, kind = _HEAD.unpack(fields)
        content = at + 8
        if size == 1:
            size, content = int.from_bytes(source.read(at + 8, 8)), at + 16
        elif size == 0:
            size = end - at
        if at + size < content:
            return
        yield Box(kind, content, at + size)
        at += size


def first(source: Source, start: int, end: int, *kinds: bytes) -> Box | None:
    """The box at the end of a path of kinds, the first of its kind on each level."""
    found = Box(b"", start, end)
    for kind in kinds:
        for box in boxes(source, start, end):
            if box.kind == kind:
                found = box
                break
        else:
            return None
        start, end = found.start, min(found.end, source.size)
    return found
