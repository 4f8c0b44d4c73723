"""Damage: single bytes, numbers, pointers, blocks and whole pieces of other files."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from random import Random
from typing import Final

from fuzzing.hostile import PLACES, STANDARD
from fuzzing.seeds import FRONT, MOST, Seed

NUMBERS: Final = (
    *(0, 1, 2, 3, 8, 12, 0x7F, 0x80, 0xFF, 0x100, 400, 401, 0x7FFF, 0x8000, 0xFFFF, 0x10000),
    *(0x7FFFFFFF, 0x80000000, 0xFFFFFFF0, 0xFFFFFFFE, 0xFFFFFFFF),
)
KINDS: Final = (*range(14), 129, 255)
TAGS: Final = (*STANDARD, *PLACES, 0x014A, 0x8769, 0x927C, 0xC634)
_U16: Final = (struct.Struct("<H"), struct.Struct(">H"))
_U32: Final = (struct.Struct("<I"), struct.Struct(">I"))
_MARKS: Final = ((b"II", b"MM"), (b"MM", b"II"))


def changed(data: bytearray, seed: Seed, others: Sequence[Seed], rng: Random) -> None:
    """Damages the bytes in place, in one to six ways."""
    for _ in range(1 + int(rng.random() ** 2 * 6)):
        if len(data) < 8:
            return
        rng.choice(WAYS)(data, seed, others, rng)


def _place(data: bytearray, seed: Seed, rng: Random) -> int:
    """Mostly where the reader looks, else at the front, seldom anywhere."""
    where = rng.random()
    if where < 0.8:
        start, end = rng.choice(seed.ranges)
        place = start + int(rng.random() * (end - start))
    else:
        place = int(rng.random() * (min(FRONT, len(data)) if where < 0.95 else len(data)))
    return min(place, len(data) - 1)


def _flip(data: bytearray, seed: Seed, _: Sequence[Seed], rng: Random) -> None:
    place = _place(data, seed, rng)
    data[place] ^= 1 << int(rng.random() * 8)


def _byte(data: bytearray, seed: Seed, _: Sequence[Seed], rng: Random) -> None:
    data[_place(data, seed, rng)] = int(rng.random() * 256)


def _number(data: bytearray, seed: Seed, _: Sequence[Seed], rng: Random) -> None:
    """A count, a length or an offset becomes another one, from nothing to absurd."""
    place = min(_place(data, seed, rng), len(data) - 4)
    big = rng.random() < 0.5
    number = rng.choice(NUMBERS)
    if rng.random() < 0.4:
        _U16[big].pack_into(data, place, number & 0xFFFF)
    else:
        _U32[big].pack_into(data, place, number)


def _pointer(data: bytearray, seed: Seed, _: Sequence[Seed], rng: Random) -> None:
    """A pointer leads to itself, to what the reader looked at before, to nowhere or to the end."""
    place = min(_place(data, seed, rng), len(data) - 4)
    target = rng.choice((place, 8, 16, rng.choice(seed.ranges)[0], 0xFFFFFFFF, len(data)))
    base = rng.choice((0, 12, 0, 12, place))
    _U32[rng.random() < 0.5].pack_into(data, place, (target - base) & 0xFFFFFFFF)


def _entry(data: bytearray, seed: Seed, _: Sequence[Seed], rng: Random) -> None:
    """A directory's entry gets another tag, type, count or value (TIFF 6.0, section 2)."""
    if not seed.tables:
        return
    start, end = rng.choice(seed.tables)
    entry = start + 12 * int(rng.random() * ((end - start) // 12))
    if entry + 12 > len(data):
        return
    big, field = rng.random() < 0.5, rng.random()
    if field < 0.2:
        _U16[big].pack_into(data, entry, rng.choice(TAGS))
    elif field < 0.6:
        _U16[big].pack_into(data, entry + 2, rng.choice(KINDS))
    elif field < 0.7:
        _U32[big].pack_into(data, entry + 4, rng.choice(NUMBERS))
    elif field < 0.8:
        data[entry + 8 : entry + 12] = rng.randbytes(4)
    else:  # a number of another type and sign
        _U16[big].pack_into(data, entry + 2, rng.choice(KINDS))
        _U32[big].pack_into(data, entry + 4, 1)
        data[entry + 8 : entry + 12] = rng.choice((b"\xff\xff\xff\xff", rng.randbytes(4)))


def _turned(data: bytearray, _: Seed, __: Sequence[Seed], rng: Random) -> None:
    """An endian mark says the other order."""
    mark, other = rng.choice(_MARKS)
    place = data.find(mark)
    if place >= 0:
        data[place : place + 2] = other


def _block(data: bytearray, seed: Seed, rng: Random) -> tuple[int, int]:
    start = _place(data, seed, rng)
    return start, start + 1 + int(rng.random() ** 3 * 600)


def _repeated(data: bytearray, seed: Seed, _: Sequence[Seed], rng: Random) -> None:
    """A block stands several times, in a row."""
    start, end = _block(data, seed, rng)
    times = 1 + int(rng.random() ** 4 * 300)
    if len(data) + times * (end - start) <= MOST:
        data[start:start] = data[start:end] * times


def _removed(data: bytearray, seed: Seed, _: Sequence[Seed], rng: Random) -> None:
    start, end = _block(data, seed, rng)
    del data[start:end]


def _copied(data: bytearray, seed: Seed, _: Sequence[Seed], rng: Random) -> None:
    """A block stands over another one."""
    start, end = _block(data, seed, rng)
    piece = data[start:end]
    to = _place(data, seed, rng)
    data[to : to + len(piece)] = piece


def _pasted(data: bytearray, seed: Seed, others: Sequence[Seed], rng: Random) -> None:
    """A piece of another file, where that was read, stands over a block or between two."""
    other = rng.choice(others)
    start, end = rng.choice(other.ranges)
    piece = other.data[start : end + int(rng.random() * 64)]
    to = _place(data, seed, rng)
    data[to : to + (len(piece) if rng.random() < 0.7 else 0)] = piece


def _cut(data: bytearray, seed: Seed, _: Sequence[Seed], rng: Random) -> None:
    del data[_place(data, seed, rng) :]


WAYS: Final = (
    *(_flip, _flip, _byte, _byte, _number, _number, _entry, _entry, _entry, _pointer, _pointer),
    *(_turned, _repeated, _removed, _copied, _pasted, _pasted, _cut),
)
