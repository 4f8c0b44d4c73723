"""Embedded JPEGs as values: where they lie, and how large their pictures are.

Nothing is read for this: what is not in the first block already is taken as its directory states
it, and the size stays unknown.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from functools import lru_cache
from typing import Final, NamedTuple

from sorter.model.values import Preview
from sorter.reading.builder import FactsBuilder
from sorter.reading.source import Memory, Source

START: Final = b"\xff\xd8\xff"
SCAN: Final = 0xDA
END_MARKER: Final = 0xD9
FRAMES: Final = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
"""Markers of frame headers, which tell the picture's size (ISO/IEC 10918-1, table B.1)."""
LOSSLESS: Final = frozenset({0xC3, 0xC7, 0xCB, 0xCF})
"""Frames of sensor data, which nothing shows as a picture."""
WITHOUT_LENGTH: Final = frozenset({0x01, *range(0xD0, 0xD9)})
ENDS: Final = frozenset({SCAN, END_MARKER})
MOST_SEGMENTS: Final = 200
BEGINS: Final = 192
"""Bytes of a JPEG that mostly reach behind its quantization tables, where its frame header stands."""
UNKNOWN: Final = (0, 0)
_SEGMENT: Final = struct.Struct(">BBH")


def take(
    source: Source, builder: FactsBuilder, offset: int, length: int, size: tuple[int, int] = UNKNOWN
) -> None:
    """Keeps the JPEG at this place, where it lies within the file and can be one.

    size: width and height in pixels as stated; its own frame header, where that is in the first
    block, is believed before it. A place that is known already is not taken twice.
    """
    seen = 0 <= offset <= len(source.head) - len(START)
    end = offset + length
    take_framed(
        source, builder, (offset, end), size, frame_in(source, offset, end) if seen else None
    )


def take_framed(
    source: Source,
    builder: FactsBuilder,
    place: tuple[int, int],
    size: tuple[int, int],
    frame: FrameHeader | None,
) -> None:
    """Keeps the JPEG between these places as take does; frame: its frame header, where that was seen."""
    offset, end = place
    if frame is not None:
        headless = not frame.marker and end <= len(source.head)
        if frame.marker in LOSSLESS or headless:
            return
        size = frame.size or size
    take_sized(source, builder, offset, end - offset, size)


def take_sized(
    source: Source, builder: FactsBuilder, offset: int, length: int, size: tuple[int, int]
) -> None:
    """Keeps the JPEG at this place, where it can be one, without a look at its frame header."""
    head = source.head
    if offset < 0 or not 0 < length <= source.size - offset:
        return
    if offset + len(START) <= len(head) and not head.startswith(START, offset):
        return
    if builder.previews and any(one.offset == offset for one in builder.previews):
        return
    width, height = size if min(size) >= 0 else UNKNOWN  # of a signed type, in damaged files
    builder.previews.append(Preview(offset=offset, length=length, width=width, height=height))


class FrameHeader(NamedTuple):
    """A frame header: its marker, 0 where none was met; the picture's size, where it tells one."""

    marker: int
    size: tuple[int, int] | None


def frame_in(source: Source, start: int, end: int) -> FrameHeader:
    """The frame header of the JPEG between these places, as far as it is in the first block."""
    begins = _frame_of(source.head[start : min(start + BEGINS, end)])
    return begins or _frame_by(source, start + 2, end)


@lru_cache(maxsize=16)  # the thumbnails of a body begin alike
def _frame_of(data: bytes) -> FrameHeader | None:
    """The frame header in the first bytes of a JPEG; None where it is not among them."""
    found = _frame_by(Memory(data), 2, len(data))
    return found if found.marker and found.size else None


def _frame_by(source: Source, at: int, end: int) -> FrameHeader:
    for marker, first, _ in segments(source, at, end):
        if marker in FRAMES:
            return frame_at(source, marker, first)
    return FrameHeader(0, None)


def frame_at(source: Source, marker: int, at: int) -> FrameHeader:
    """The frame header of this marker whose content begins here, within the first block."""
    return FrameHeader(marker, size_of(source.head[at + 1 : at + 5]))


def size_of(fields: bytes) -> tuple[int, int] | None:
    """Width and height of a frame header, where they stand behind the sample precision."""
    height, width = int.from_bytes(fields[:2]), int.from_bytes(fields[2:])
    return (width, height) if len(fields) == 4 and width and height else None


def segments(source: Source, at: int, end: int) -> Iterator[tuple[int, int, int]]:
    """Marker, first byte and end of each segment's content, up to the scan, within the first block."""
    data, allowance, end = source.head, source.allowance, min(end, len(source.head))
    for _ in range(MOST_SEGMENTS):
        if at + 4 > end:
            return
        start, marker, length = _SEGMENT.unpack_from(data, at)
        allowance.steps -= 1
        if start != 0xFF or allowance.steps < 0 or marker in ENDS:
            return
        if marker == 0xFF:  # a fill byte
            at += 1
        elif marker in WITHOUT_LENGTH:
            at += 2
        else:
            stop = at + 2 + length
            yield marker, at + 4, stop
            at = max(stop, at + 4)
