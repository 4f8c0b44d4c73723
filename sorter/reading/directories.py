"""Bounded walk over TIFF directories, which hold the tags of Exif, of raws and of maker notes.

Layout (TIFF 6.0, section 2): a count, entries of twelve bytes (tag, type, count, value or offset),
the offset of the next directory. Offsets count from a base, which is where maker notes differ.
Whatever the bytes are: nothing here raises, nothing is read beyond the end, nothing runs on. Each
list is bounded, all lists of a file together by its allowance, and a pointer is followed only to
where its TIFF was not read yet: a directory that points at itself or its parent leads nowhere.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from itertools import islice
from typing import Final, TypeAlias

from sorter.reading.source import Source

LITTLE: Final = "<"
BIG: Final = ">"
MOST_ENTRIES: Final = 400
"""No maker's directory comes near it; a larger count is damage, and its good start is kept."""
MOST_DIRECTORIES: Final = 16
"""The longest chain that is followed."""
MOST_BYTES: Final = 1 << 16
"""The longest value that is read."""
LONG: Final = 1 << 10
"""Longer values are charged to the file's allowance; an entry pays for the bytes of shorter ones."""
NEAR: Final = 64
"""The first value outside a directory follows its end within so many bytes."""
LOOKED_AT: Final = 3
"""So many entries tell whether they were read in their byte order."""

_MARKS: Final = {b"II": LITTLE, b"MM": BIG}
_OTHER: Final = {LITTLE: BIG, BIG: LITTLE}
_ENTRY: Final = {order: struct.Struct(f"{order}HHI4s") for order in (LITTLE, BIG)}
_COUNT: Final = {order: struct.Struct(f"{order}H") for order in (LITTLE, BIG)}
_OFFSET: Final = {order: struct.Struct(f"{order}I") for order in (LITTLE, BIG)}
_UTF8: Final = 129
_WIDTHS: Final = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
_WIDTHS[_UTF8] = 1
_WHOLE: Final = {1: "B", 3: "H", 4: "I", 6: "b", 7: "B", 8: "h", 9: "i", 13: "I"}
_FIRST: Final = {
    order: {kind: struct.Struct(order + code) for kind, code in _WHOLE.items()}
    for order in (LITTLE, BIG)
}
_RATIOS: Final = {5: "I", 10: "i"}
_PAIR: Final = {
    order: {kind: struct.Struct(order + 2 * code) for kind, code in _RATIOS.items()}
    for order in (LITTLE, BIG)
}
_FLOATS: Final = {11: "f", 12: "d"}


@dataclass(slots=True)  # not frozen: that would take four times as long to make
class Tiff:
    """Where offsets count from, in which byte order, and where the readable bytes end.

    seen: the places in the file of the directories read so far, one set for all that belong
    together, whatever base they count from.
    """

    source: Source
    base: int
    order: str
    end: int
    seen: set[int] = field(default_factory=set, compare=False, repr=False)

    def upto(self, offset: int, length: int) -> bytes:
        """The bytes from this offset on, as far as they are there."""
        start = self.base + offset
        stop = start + length
        stop = min(stop, self.end)
        head = self.source.head
        if start >= 0 and stop <= len(head):
            return head[start:stop]
        return self.source.read(start, stop - start)

    def whole(self, offset: int, length: int) -> bytes:
        """The bytes from this offset on; none where not all of them are there."""
        data = self.upto(offset, length)
        return data if len(data) == length else b""


Entry: TypeAlias = tuple[int, int, int, bytes]
"""Type, count, the bytes of the value (0 where the type is unknown), the four of value or offset."""
NO_ENTRY: Final[Entry] = (0, 0, 0, b"")


class Table:
    """The rows of a directory decoded.

    entries: by their tags. known: whether the first ones are of types that there are. outside: the
    first offset at which a value lies outside the entries and the end of the last one, both 0 where
    none does.
    """

    def __init__(self, rows: bytes, order: str) -> None:
        self._order = order
        self.entries: dict[int, Entry] = {
            tag: (kind, count, _WIDTHS.get(kind, 0) * count, inline)
            for tag, kind, count, inline in _ENTRY[order].iter_unpack(rows)
        }
        self.known = all(one[0] in _WIDTHS for one in islice(self.entries.values(), LOOKED_AT))

    @cached_property
    def outside(self) -> tuple[int, int]:
        """Between which offsets the values lie that stand outside the entries."""
        offset_in = _OFFSET[self._order].unpack
        places = [(offset_in(one[3])[0], one[2]) for one in self.entries.values() if one[2] > 4]
        if not places:
            return 0, 0
        return min(places)[0], max(offset + length for offset, length in places)


@dataclass(slots=True)  # see Tiff
class Directory:
    """The entries of one directory by their tags.

    table: its rows, which directories that say the same share; entries: what they say. stated: the count that it states, which may be more than there is. follows: the offset of the
    next directory, 0 where there is none. values_from: the offset right behind the entries.
    """

    tiff: Tiff
    table: Table
    entries: dict[int, Entry]
    stated: int = 0
    follows: int = 0
    values_from: int = 0

    def __contains__(self, tag: int) -> bool:
        return tag in self.entries

    def raw(self, tag: int) -> bytes:
        """The value as bytes; empty where it is missing, of no known type, or not all there."""
        entry = self.entries.get(tag)
        if entry is None:
            return b""
        _, _, length, inline = entry
        if length <= 4:
            return inline[:length]
        if length > LONG and not self._may_have(length):
            return b""
        tiff = self.tiff
        (offset,) = _OFFSET[tiff.order].unpack(inline)
        start = tiff.base + offset
        head = tiff.source.head
        if start >= 0 and start + length <= len(head) and start + length <= tiff.end:
            return head[start : start + length]  # what nearly every value comes to
        return tiff.whole(offset, length)

    def _may_have(self, length: int) -> bool:
        """Whether a long value is handed out: no longer than one may be, and within the allowance."""
        return length <= MOST_BYTES and self.tiff.source.allowance.hand(length)

    def place(self, tag: int) -> tuple[int, int] | None:
        """Where a value lies that stands outside the directory: its offset and its bytes."""
        _, _, length, inline = self.entries.get(tag, NO_ENTRY)
        return (int(_OFFSET[self.tiff.order].unpack(inline)[0]), length) if length > 4 else None

    def numbers(self, tag: int) -> tuple[int, ...]:
        """The whole numbers of the value; none where it is missing or of another type."""
        entry = self.entries.get(tag)
        code = _WHOLE.get(entry[0]) if entry else None
        if code is None or entry is None:
            return ()
        data = self.raw(tag)
        return struct.unpack(f"{self.tiff.order}{entry[1]}{code}", data) if data else ()

    def number(self, tag: int) -> int | None:
        """The first whole number of the value: of a long list no other is unpacked."""
        entry = self.entries.get(tag)
        if entry is None:
            return None
        first = _FIRST[self.tiff.order].get(entry[0])
        if first is None or not entry[2]:
            return None
        data = entry[3] if entry[2] <= 4 else self.raw(tag)
        return first.unpack_from(data)[0] if data else None

    def ratios(self, tag: int) -> tuple[tuple[int, int], ...]:
        """The value's rationals, each as numerator and denominator, as they stand."""
        entry = self.entries.get(tag)
        code = _RATIOS.get(entry[0]) if entry else None
        if code is None or entry is None:
            return tuple((number, 1) for number in self.numbers(tag))
        data = self.raw(tag)
        flat = struct.unpack(f"{self.tiff.order}{2 * entry[1]}{code}", data) if data else ()
        return tuple(zip(flat[::2], flat[1::2], strict=True))

    def ratio(self, tag: int) -> tuple[int, int] | None:
        """The first rational of the value; some writers store a whole or a floating number for one."""
        entry = self.entries.get(tag)
        if entry is None:
            return None
        tiff = self.tiff
        pair = _PAIR[tiff.order].get(entry[0])
        if pair is None:
            number = self.number(tag)
            return self._float(tag) if number is None else (number, 1)
        start = tiff.base + _OFFSET[tiff.order].unpack(entry[3])[0]
        if entry[1] == 1 and start >= 0 and start + 8 <= min(tiff.end, len(tiff.source.head)):
            return pair.unpack_from(tiff.source.head, start)  # what nearly every one comes to
        data = self.raw(tag)
        return pair.unpack_from(data) if data else None

    def _float(self, tag: int) -> tuple[int, int] | None:
        """The first floating-point value as an exact rational; none where it is no number."""
        entry = self.entries.get(tag)
        code = _FLOATS.get(entry[0]) if entry else None
        data = self.raw(tag) if code else b""
        if not data:
            return None
        value = struct.unpack_from(f"{self.tiff.order}{code}", data)[0]
        return value.as_integer_ratio() if math.isfinite(value) else None

    def text(self, tag: int) -> str:
        """The value as text: cut at the first NUL, decoded, stripped."""
        return as_text(self.raw(tag))


MOST_TEXT: Final = 200


@lru_cache(maxsize=256)
def as_text(raw: bytes) -> str:
    """Bytes as text: up to the first NUL, UTF-8 or else Latin-1, without blanks at the ends.

    Some bodies leave random bytes behind the NUL. What cannot be printed becomes a blank.
    """
    raw = raw.split(b"\0", 1)[0][:MOST_TEXT]
    try:
        text = raw.decode()
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return text.strip() if text.isprintable() else printable(text)


def printable(text: str) -> str:
    """The text without blanks at its ends, no longer than texts may be; a blank for what is no print."""
    text = text[:MOST_TEXT]
    if not text.isprintable():
        text = "".join(letter if letter.isprintable() else " " for letter in text)
    return text.strip()


def directory(tiff: Tiff, offset: int) -> Directory | None:
    """The directory at this offset, with as many of its entries as are there; None without its count.

    Each entry takes a step of the file's allowance: where that is used up, those before it are kept.
    """
    order = tiff.order
    stated_as = tiff.whole(offset, 2)
    if not stated_as:
        return None
    (stated,) = _COUNT[order].unpack(stated_as)
    length = 12 * min(stated, MOST_ENTRIES)
    table = tiff.upto(offset + 2, length + 4)
    there = min(length, len(table)) // 12
    rows = table[: 12 * tiff.source.allowance.take(there)]
    if stated and not rows:
        return None
    follows = _OFFSET[order].unpack_from(table, length)[0] if len(table) == length + 4 else 0
    decoded = _table(rows, order)
    return Directory(tiff, decoded, decoded.entries, stated, follows, offset + 2 + length)


@lru_cache(maxsize=64)  # in the frames of a series most tables are the same to the byte
def _table(rows: bytes, order: str) -> Table:
    """What the rows of twelve bytes say."""
    return Table(rows, order)


def _is_plausible(found: Directory) -> bool:
    """Whether the byte order fits: a sane count, and known types in the first entries."""
    return found.table.known and 1 <= found.stated <= MOST_ENTRIES


def ordered(tiff: Tiff, offset: int) -> Directory | None:
    """The directory in the stated byte order, or in the other where only that one makes sense."""
    found = directory(tiff, offset)
    if found is not None and _is_plausible(found):
        return found
    turned = directory(replace(tiff, order=_OTHER[tiff.order]), offset)
    return turned if turned is not None and _is_plausible(turned) else None


def opened(source: Source, base: int, end: int) -> Directory | None:
    """The first directory of the TIFF at base; None where there is none that makes sense.

    The magic number is not asked for: several raws replace it.
    """
    head = (
        source.head[base : base + 8] if 0 <= base <= len(source.head) - 8 else source.read(base, 8)
    )
    order = _MARKS.get(head[:2])
    if order is None or len(head) < 8:
        return None
    for stated in (order, _OTHER[order]):
        first = _OFFSET[stated].unpack(head[4:])[0]
        found = followed(Tiff(source, base, stated, end), first) if first else None
        if found is not None:
            return found
    return None


def followed(tiff: Tiff, offset: int) -> Directory | None:
    """The directory that a pointer leads to; None where it was read before or makes no sense."""
    place = tiff.base + offset
    if place in tiff.seen:
        return None
    tiff.seen.add(place)
    return ordered(tiff, offset)


def below(parent: Directory, tag: int) -> Directory | None:
    """The directory that this entry points to."""
    pointer = parent.number(tag)
    return followed(parent.tiff, pointer) if pointer else None


def below_all(parent: Directory, tag: int) -> Iterator[Directory]:
    """The directories that this entry points to, a sane number of them, none twice."""
    for pointer in dict.fromkeys(parent.numbers(tag)[:MOST_DIRECTORIES]):
        found = followed(parent.tiff, pointer) if pointer else None
        if found is not None:
            yield found


def chain(first: Directory) -> Iterator[Directory]:
    """The directory and those that follow it, none twice."""
    found: Directory | None = first
    for _ in range(MOST_DIRECTORIES + 1):
        if found is None:
            return
        yield found
        pointer = found.follows
        found = _next(first.tiff, pointer) if pointer else None


def _next(tiff: Tiff, pointer: int) -> Directory | None:
    """The directory that follows, which may be one without entries that only leads on."""
    if tiff.base + pointer in tiff.seen:
        return None
    return followed(tiff, pointer) or _empty(tiff, pointer)


def _empty(tiff: Tiff, offset: int) -> Directory | None:
    """A directory without entries, which only leads on to the next one."""
    found = directory(tiff, offset)
    return found if found is not None and not found.stated else None


RIGHT_BEHIND: Final = 2
WITHIN: Final = 1


def settled(
    tiff: Tiff, offset: int, end: int, bases: Iterable[int] = (), enough: int = RIGHT_BEHIND
) -> Directory | None:
    """The note's directory in the byte order and with the base of offsets that stand the test.

    end: where the note ends in the file. bases: other places that offsets may count from. enough:
    how near the stated base has to be to be taken without a look at the others. Where no base
    stands the test only the values inside the entries can be trusted: the others come back empty.
    """
    tiff.seen.add(tiff.base + offset)
    found = ordered(tiff, offset)
    if found is None or _nearness(found, end) >= enough:
        return found
    tried = [found, *(_rebased(found, base) for base in bases)]
    best = max(tried, key=lambda one: _nearness(one, end))
    return best if _nearness(best, end) else replace(found, tiff=replace(found.tiff, end=0))


def _rebased(found: Directory, base: int) -> Directory:
    """The same entries with offsets that count from another place."""
    behind = found.values_from + found.tiff.base - base
    return replace(found, tiff=replace(found.tiff, base=base), values_from=behind)


def _nearness(found: Directory, end: int) -> int:
    """How well the base fits: values right behind the entries, at least within the note, or not.

    Not right behind them where other directories, whose pointers look like numbers, stand first.
    """
    first, end_of_last = found.table.outside
    if not end_of_last:
        return RIGHT_BEHIND
    gap, last = first - found.values_from, found.tiff.base + end_of_last
    if 0 <= gap <= NEAR and last <= found.tiff.end:
        return RIGHT_BEHIND
    return WITHIN if gap >= 0 and last <= min(end, found.tiff.end) else 0
