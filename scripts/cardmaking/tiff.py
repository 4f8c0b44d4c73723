"""TIFF directories as bytes, in either byte order (TIFF 6.0, section 2).

A value that must know where it lies (a maker note whose offsets count from the file's start, a
directory below a directory) is given as a function from its position to its bytes; the length of
those bytes must not depend on the position.
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

ByteOrder = Literal["<", ">"]
Block = Callable[[int], bytes]

U8, ASCII, U16, U32, RAT, S8, UNDEF, S16, S32, SRAT = range(1, 11)
IFD = 13
SIZES = {U8: 1, ASCII: 1, U16: 2, U32: 4, RAT: 8, S8: 1, UNDEF: 1, S16: 2, S32: 4, SRAT: 8, IFD: 4}
LETTERS = {U8: "B", U16: "H", U32: "I", S8: "b", S16: "h", S32: "i", IFD: "I"}

INLINE = 4
ENTRY = 12


@dataclass(frozen=True, slots=True)
class Entry:
    """One directory entry: bytes already in the file's order, or a block laid out of line."""

    tag: int
    kind: int
    count: int
    value: bytes | Block


@dataclass(frozen=True, slots=True)
class Writer:
    """Makes entries in one byte order."""

    order: ByteOrder = "<"

    def numbers(self, tag: int, kind: int, *values: int) -> Entry:
        """An entry of whole numbers of one kind."""
        form = f"{self.order}{len(values)}{LETTERS[kind]}"
        return Entry(tag, kind, len(values), struct.pack(form, *values))

    def words(self, tag: int, values: Sequence[int]) -> Entry:
        """An entry of 16-bit words; negative ones are stored as two's complement."""
        return self.numbers(tag, U16, *(value & 0xFFFF for value in values))

    def ratios(self, tag: int, *values: tuple[int, int], kind: int = RAT) -> Entry:
        """An entry of rationals (numerator, denominator), unsigned unless kind says else."""
        flat = [number for pair in values for number in pair]
        form = f"{self.order}{len(flat)}{'I' if kind == RAT else 'i'}"
        return Entry(tag, kind, len(values), struct.pack(form, *flat))

    def text(self, tag: int, text: str, size: int = 0) -> Entry:
        """An entry of text with its NUL, padded with NULs to at least size bytes."""
        data = (text.encode() + b"\0").ljust(size, b"\0")
        return Entry(tag, ASCII, len(data), data)

    def raw(self, tag: int, data: bytes, kind: int = UNDEF) -> Entry:
        """An entry of bytes as they are."""
        return Entry(tag, kind, len(data), data)

    def placed(self, tag: int, block: Block) -> Entry:
        """An entry of undefined bytes that are built for the position at which they lie."""
        return Entry(tag, UNDEF, len(block(0)), block)

    def below(self, tag: int, entries: Sequence[Entry], kind: int = U32) -> Entry:
        """An entry that points to a directory of its own."""
        return Entry(tag, kind, 1, lambda at: directory(self.order, entries, at))

    def header(self, first: int, magic: int = 42) -> bytes:
        """The eight bytes that a TIFF begins with."""
        mark = b"II" if self.order == "<" else b"MM"
        return mark + struct.pack(f"{self.order}HI", magic, first)


def directory(
    order: ByteOrder,
    entries: Sequence[Entry],
    at: int,
    *,
    following: int = 0,
    ended: bool = True,
) -> bytes:
    """One directory with its values behind it, for the position at (counted from the base).

    following is the position of the next directory; with ended=False the field for it is left
    out, as some makers do.
    """
    ranked = sorted(entries, key=lambda entry: entry.tag)
    tail = struct.pack(f"{order}I", following) if ended else b""
    behind = at + 2 + ENTRY * len(ranked) + len(tail)
    rows: list[bytes] = []
    values = bytearray()
    for entry in ranked:
        field, data = _field(order, entry, behind + len(values))
        rows.append(struct.pack(f"{order}HHI", entry.tag, entry.kind, entry.count) + field)
        values += _even(data)
    return struct.pack(f"{order}H", len(ranked)) + b"".join(rows) + tail + bytes(values)


def _field(order: ByteOrder, entry: Entry, at: int) -> tuple[bytes, bytes]:
    """The entry's last four bytes, and what lies out of line at the given position."""
    if isinstance(entry.value, bytes) and len(entry.value) <= INLINE:
        return entry.value.ljust(INLINE, b"\0"), b""
    data = entry.value if isinstance(entry.value, bytes) else entry.value(at)
    return struct.pack(f"{order}I", at), data


def _even(data: bytes) -> bytes:
    return data + b"\0" * (len(data) % 2)


def chained(order: ByteOrder, directories: Sequence[Sequence[Entry]], at: int) -> bytes:
    """Directories one behind the other, each naming the next, the first at position at."""
    out = bytearray()
    for index, entries in enumerate(directories):
        here = at + len(out)
        behind = here + len(directory(order, entries, here))
        following = behind if index + 1 < len(directories) else 0
        out += directory(order, entries, here, following=following)
    return bytes(out)


def tiff(order: ByteOrder, directories: Sequence[Sequence[Entry]], magic: int = 42) -> bytes:
    """A whole TIFF: header and chained directories."""
    first = 8
    return Writer(order).header(first, magic) + chained(order, directories, first)


def with_bulk(build: Callable[[Sequence[int]], bytes], bulk: Sequence[bytes]) -> bytes:
    """The head that build makes for the positions of the bulk, and behind it the bulk itself.

    build is called twice, so the head's length must not depend on the positions.
    """
    positions: list[int] = []
    at = len(_even(build([0] * len(bulk))))
    for data in bulk:
        positions.append(at)
        at += len(_even(data))
    return _even(build(positions)) + b"".join(_even(data) for data in bulk)
