"""What a decoder gets: the note's place in its TIFF."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import Final

from sorter.reading.directories import BIG, LITTLE, WITHIN, Directory, Tiff, settled


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """A maker's note: offset and length within tiff; make and model of the camera around it."""

    tiff: Tiff
    offset: int
    length: int
    make: str = ""
    model: str = ""

    @property
    def start(self) -> int:
        """Where the note begins in the file."""
        return self.tiff.base + self.offset

    @property
    def end(self) -> int:
        """Where the note ends in the file."""
        return self.start + self.length

    def from_tiff(self, skip: int, bases: Iterable[int] = ()) -> Directory | None:
        """The directory behind a header of skip bytes, offsets counting from the TIFF's start.

        bases: other places that they may count from, asked only where those do not fit.
        """
        return settled(self.tiff, self.offset + skip, self.end, chain(bases, (self.start,)))

    def from_itself(self, skip: int, order: str | None = None) -> Directory | None:
        """The directory behind a header of skip bytes, offsets counting from the note's start.

        The header makes that sure: values within the note are enough. By chance the other base may
        look nearer (a real E-P3 picture, whose sub-directories stand before the first value).
        """
        own = replace(self.tiff, base=self.start, order=order or self.tiff.order)
        return settled(own, skip, self.end, [self.tiff.base], enough=WITHIN)

    def order_at(self, skip: int) -> str:
        """The byte order that the note states at this place, else that of the TIFF around it."""
        mark = self.tiff.upto(self.offset + skip, 2)
        return {b"II": LITTLE, b"MM": BIG}.get(mark, self.tiff.order)


MOST_IN_SERIES: Final = 10_000
MOST_IN_LIFE: Final = 10_000_000


def in_series(number: int | None) -> int | None:
    """A shot's number or a count within a series; None where it is zero or no such number."""
    return number if number is not None and 0 < number <= MOST_IN_SERIES else None


def in_life(number: int | None) -> int | None:
    """A count over a body's life; None where it is zero or no such number."""
    return number if number is not None and 0 < number < MOST_IN_LIFE else None


def word_at(array: Sequence[int], index: int) -> int | None:
    """A word of 16 bits as an unsigned number; None where this body's array does not reach it."""
    return array[index] & 0xFFFF if index < len(array) else None


def signed_word(number: int | None) -> int | None:
    """A 16-bit number with its sign."""
    return number - 0x10000 if number is not None and number & 0x8000 else number


def byte_at(record: bytes, index: int) -> int | None:
    """A byte of a record; None where this body's record does not reach it."""
    return record[index] if index < len(record) else None
