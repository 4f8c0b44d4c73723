"""A note of every form that is known: the one table of them, for the fuzzer and for the tests.

A form is what a note begins with and what its offsets count from. Its tags are not listed: they are
the numbers that stand in the decoder's module.
"""

from __future__ import annotations

import struct
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum, auto
from types import ModuleType
from typing import Final

from cardmaking.tiff import Block, ByteOrder, Entry, directory, tiff
from sorter.reading import makers
from sorter.reading.makers.note import decoder

_MOST_TAG: Final = 0xFFFF
_LONGEST_INLINE: Final = 4


class Base(Enum):
    """What a note's offsets count from, and what they lead through.

    TIFF: a directory, from the TIFF around the note. NOTE: a directory, from the note's first byte.
    INNER: a whole TIFF stands behind the header. ROWS: rows of sixteen bytes that are no directory,
    from the note's first byte.
    """

    TIFF = auto()
    NOTE = auto()
    INNER = auto()
    ROWS = auto()


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """A note that a camera of this make writes. order: that of the directory in the note."""

    make: str
    header: bytes = b""
    base: Base = Base.TIFF
    order: ByteOrder = "<"

    @property
    def module(self) -> ModuleType:
        """The module that decodes the note. Raises LookupError where no decoder takes it."""
        decode = decoder(self.header[:16], self.make)
        if decode is None:
            raise LookupError(f"no decoder in note.py takes {self}")
        return sys.modules[decode.__module__]

    @property
    def name(self) -> str:
        """The name of the module that decodes the note."""
        return self.module.__name__.rpartition(".")[2]

    @property
    def tags(self) -> tuple[int, ...]:
        """The tags that the decoder knows, and other numbers of its module, which do no harm."""
        return tuple(sorted(_numbers(self.module)))

    def block(self, rows: Sequence[Entry]) -> Block:
        """The note with these rows, for the place that it is put in."""
        head = self.header
        match self.base:
            case Base.TIFF:
                return lambda at: head + directory(self.order, rows, at + len(head))
            case Base.NOTE:
                return lambda _at: head + directory(self.order, rows, len(head))
            case Base.INNER:
                return lambda _at: head + tiff(self.order, [rows])
            case Base.ROWS:
                return lambda _at: head + _table(self.order, rows, len(head) + 4)


def _numbers(module: ModuleType) -> set[int]:
    """The numbers of a module, and of other decoders that it hands notes on to."""
    values = vars(module).values()
    others = [one for one in values if isinstance(one, ModuleType) and _is_of_makers(one)]
    own = {value for value in values if type(value) is int and 0 < value <= _MOST_TAG}
    return own.union(*map(_numbers, others))


def _is_of_makers(module: ModuleType) -> bool:
    return module.__name__.startswith(f"{makers.__name__}.")


def _table(order: ByteOrder, rows: Sequence[Entry], at: int) -> bytes:
    """The table's place, its number of rows, the rows, and long values behind them."""
    table, behind = b"", b""
    values_at = at + 8 + 16 * len(rows)
    for row in rows:
        value = row.value if isinstance(row.value, bytes) else row.value(values_at + len(behind))
        long = len(value) > _LONGEST_INLINE
        place = struct.pack(f"{order}I", values_at + len(behind)) if long else value.ljust(4, b"\0")
        table += struct.pack(f"{order}III", row.tag, row.kind, len(value)) + place
        behind += value if long else b""
    return struct.pack(f"{order}III", at, len(rows), 0) + table + behind


FORMS: Final = (
    Form(make="Canon"),
    Form(make="NIKON"),
    Form(make="NIKON", header=b"Nikon\0\1\0"),
    Form(make="NIKON", header=b"Nikon\0\2\x10\0\0", base=Base.INNER),
    Form(make="SONY"),
    Form(make="SONY", header=b"SONY DSC \0\0\0"),
    Form(make="OLYMPUS", header=b"OLYMPUS\0II\3\0", base=Base.NOTE),
    Form(make="OLYMPUS", header=b"OLYMP\0\1\0"),
    Form(make="OM Digital Solutions", header=b"OM SYSTEM\0\0\0II\4\0", base=Base.NOTE),
    Form(make="Panasonic", header=b"Panasonic\0\0\0"),
    Form(make="FUJIFILM", header=b"FUJIFILM\x0c\0\0\0", base=Base.NOTE),
    Form(make="PENTAX", header=b"AOC\0II"),
    Form(make="PENTAX", header=b"PENTAX \0II", base=Base.NOTE),
    Form(make="RICOH", header=b"RICOH\0II", base=Base.NOTE),
    Form(make="RICOH", header=b"Ricoh\0\0\0"),
    Form(make="LEICA", header=b"LEICA\0\0\0"),
    Form(make="LEICA", header=b"LEICA CAMERA AG\0\0\0"),
    Form(make="Leica Camera AG", header=b"LEICA\0\0\0"),
    Form(make="Leica Camera AG", header=b"LEICA\0\2\0"),
    Form(make="LEICA CAMERA AG", header=b"LEICA\0\1\0", base=Base.NOTE),
    Form(make="LEICA CAMERA AG", header=b"LEICA\0\x08\0"),
    Form(make="Minolta Co., Ltd.", order=">"),
    Form(make="SAMSUNG"),
    Form(make="SIGMA", header=b"SIGMA\0\0\0\0\2"),
    Form(make="Apple", header=b"Apple iOS\0\0\1II", base=Base.NOTE),
    Form(make="Phase One A/S", header=b"IIIITwaR", base=Base.ROWS),
)
