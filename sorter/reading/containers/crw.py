"""CRW: a CIFF heap, whose directory stands at its end; records may be heaps themselves.

Layout: ``II``, where the heap begins, ``HEAPCCDR``; the heap's last four bytes tell where in it its
directory begins: a count, entries of ten bytes (number, then bytes and offset, or a short value in
their place). Source: general-purpose metadata libraries; held against two raws.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import Final

from sorter.model.kinds import Role
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import block
from sorter.reading.makers import heap
from sorter.reading.makers.heap import Record, Records
from sorter.reading.source import Source

MAGIC: Final = b"II\x1a\0\0\0HEAPCCDR"
START: Final = 26
"""Where the heap begins, as the magic bytes say."""
MOST_ENTRIES: Final = 200
MOST_DEPTH: Final = 6
MOST_HEAPS: Final = 32
ENTRY: Final = struct.Struct("<HII")
FOOT: Final = 4
_NUMBER_BITS: Final = 0x3FFF
_KIND_BITS: Final = 0xF800
_HEAPS: Final = frozenset({0x2800, 0x3000})
_IN_PLACE: Final = 0x4000
_IMPOSSIBLE: Final = 0x8000
TAIL: Final = 16 * 1024
"""Asked for at once: the directories of all heaps but the largest values' stand near the end."""


def read(source: Source, builder: FactsBuilder) -> None:
    """The facts and previews of a CRW; nothing where the directory at its end is missing."""
    builder.role = Role.RAW
    end = source.size - heap.trailer(source)
    source.read(max(START, end - TAIL), TAIL)
    places = _Walk(source).records(end)
    if not places:
        builder.notes.append(f"{block.UNREADABLE}: the directory at its end is missing")
    else:
        heap.read(source, Records(source, places), builder)


class _Walk:
    """Collects the records of a heap and of the heaps in it; no heap twice, none too deep."""

    def __init__(self, source: Source) -> None:
        self._source = source
        self._places: dict[int, Record] = {}
        self._seen: set[int] = set()

    def records(self, end: int) -> dict[int, Record]:
        """The records of the file's heap, the first one of each number."""
        self._into(START, end, 0)
        return self._places

    def _into(self, start: int, end: int, depth: int) -> None:
        if depth > MOST_DEPTH or len(self._seen) >= MOST_HEAPS or end in self._seen:
            return
        self._seen.add(end)
        for number, kind, record in _entries(self._source, start, end):
            if kind in _HEAPS:
                self._into(record.offset, record.offset + record.length, depth + 1)
            else:
                self._places.setdefault(number, record)


def _entries(source: Source, start: int, end: int) -> Iterator[tuple[int, int, Record]]:
    """Number, kind and place of each record.

    The directory fills what is between its stated start and the foot, which tells a whole heap
    from one that was cut.
    """
    foot = source.read(end - FOOT, FOOT) if end - start > FOOT else b""
    at = start + int.from_bytes(foot, "little")
    count = int.from_bytes(source.read(at, 2), "little")
    if len(foot) < FOOT or count > MOST_ENTRIES or at + 2 + count * ENTRY.size != end - FOOT:
        return
    table = source.read(at + 2, source.allowance.take(count) * ENTRY.size)
    for row in range(0, len(table) - ENTRY.size + 1, ENTRY.size):
        tag, length, offset = ENTRY.unpack_from(table, row)
        if tag & _IN_PLACE:
            record = Record(at + 2 + row + 2, ENTRY.size - 2)
        else:
            record = Record(start + offset, length)
        if not tag & _IMPOSSIBLE and record.offset + record.length <= end:
            yield tag & _NUMBER_BITS, tag & _KIND_BITS, record
