"""Small files for the reader's tests, made with the card maker's TIFF writer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from cardmaking.tiff import S32, ByteOrder, Entry, Writer, directory, tiff
from sorter.model.card import CardFile
from sorter.model.frame import Facts, ReadFile
from sorter.model.kinds import Role
from sorter.model.values import Moment
from sorter.reading import cards
from sorter.reading.builder import FactsBuilder
from sorter.reading.source import Memory

LITTLE = Writer("<")
EXIF_POINTER = 0x8769
NOTE = 0x927C
TIME = LITTLE.text(0x9003, "2026:05:17 13:02:03")
FRAME_HEADER = b"\xff\xc0\x00\x11\x08" + (4000).to_bytes(2) + (6000).to_bytes(2) + b"\x03" * 10
SCAN = b"\xff\xda\x00\x0c" + b"\1" * 10 + b"picture data" * 20


def exif_tiff(
    main: Sequence[Entry] = (), exif: Sequence[Entry] = (), order: ByteOrder = "<"
) -> bytes:
    """A TIFF with IFD0 and an Exif directory."""
    return tiff(order, [[*main, Writer(order).below(EXIF_POINTER, exif)]])


def app1(content: bytes) -> bytes:
    return b"\xff\xe1" + (len(content) + 8).to_bytes(2) + b"Exif\0\0" + content


def jpeg(*exif: bytes, end: bytes = b"\xff\xd9") -> bytes:
    """A JPEG skeleton with these Exif blocks, a frame header and something like a scan."""
    return b"\xff\xd8" + b"".join(map(app1, exif)) + FRAME_HEADER + SCAN + end


def builder(data: bytes, name: str = "IMG_0001.JPG", head_size: int | None = None) -> FactsBuilder:
    """What the reader makes of these bytes."""
    return cards.read_source(Memory(data, head_size), CardFile(path=name, size=len(data)))


def facts(*exif: Entry, main: Sequence[Entry] = (), order: ByteOrder = "<") -> Facts:
    """The facts of a JPEG with these Exif entries."""
    return builder(jpeg(exif_tiff(main, exif, order))).built()


def with_note(make: str, note: bytes, model: str = "") -> Facts:
    """The facts of a JPEG with this note, whose offsets do not count from the TIFF."""
    main = [LITTLE.text(0x010F, make), LITTLE.text(0x0110, model)]
    return facts(TIME, LITTLE.raw(NOTE, note), main=main)


def placed_note(make: str, header: bytes, *entries: Entry, model: str = "") -> Facts:
    """The facts of a JPEG with a note whose offsets count from the TIFF."""
    skip = len(header)
    note = LITTLE.placed(NOTE, lambda at: header + directory("<", entries, at + skip))
    main = [LITTLE.text(0x010F, make), LITTLE.text(0x0110, model)]
    return facts(TIME, note, main=main)


def sized_words(tag: int, count: int, filled: Mapping[int, int]) -> Entry:
    """An array of so many 16-bit words, of which word 0 is its length in bytes."""
    array = [count * 2, *(filled.get(index, 0) for index in range(1, count))]
    return LITTLE.words(tag, array)


def sized_longs(tag: int, count: int, filled: Mapping[int, int]) -> Entry:
    """An array of so many 32-bit words, of which word 0 is its length in bytes."""
    array = [count * 4, *(filled.get(index, 0) for index in range(1, count))]
    return LITTLE.numbers(tag, S32, *array)


def own_note(make: str, header: bytes, *entries: Entry) -> Facts:
    """The facts of a JPEG with a note whose offsets count from the note itself."""
    return with_note(make, header + directory("<", entries, len(header)))


def read(
    path: str,
    role: Role = Role.IMAGE,
    *,
    at: int | None = 1000,
    notes: tuple[str, ...] = (),
    said: Facts | None = None,
) -> ReadFile:
    """A read file with a time of so many seconds, for joining."""
    moment = None if at is None else Moment(local_s=at)
    picture = role in {Role.RAW, Role.IMAGE}
    return ReadFile(
        file=CardFile(path=path, size=1),
        role=role,
        is_picture=picture and not notes,
        facts=said or Facts(moment=moment if picture else None),
        notes=notes,
    )
