"""Finds the maker's note and gives it to the decoder that its own first bytes name."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from typing import Final

from sorter.reading.builder import FactsBuilder, FoundFacts
from sorter.reading.directories import Directory
from sorter.reading.makers import (
    apple,
    canon,
    fujifilm,
    leica,
    minolta,
    nikon,
    olympus,
    panasonic,
    pentax,
    phaseone,
    ricoh,
    samsung,
    sigma,
    sony,
)
from sorter.reading.makers.form import Note

Decoder = Callable[[Note, FactsBuilder], None]

NOTE: Final = 0x927C
PRIVATE: Final = 0xC634
"""In IFD0 of DNGs: the maker's own data."""


def _kinds(*kinds: bytes) -> tuple[bytes, ...]:
    """The first bytes of Leica's notes of these kinds."""
    return tuple(b"LEICA\0" + kind for kind in kinds)


SIGNATURES: Final[tuple[tuple[bytes | tuple[bytes, ...], Decoder], ...]] = (
    (b"OLYMPUS\0", olympus.read),
    (b"OM SYSTEM\0", olympus.read_om),
    ((b"OLYMP\0", b"EPSON\0"), olympus.read_old),
    (b"Panasonic\0\0\0", panasonic.read),
    (b"Nikon\0\2", nikon.read),
    (b"Nikon\0\1", nikon.read_old),
    ((b"SONY DSC ", b"SONY CAM ", b"SONY MOBILE", b"\0\0SONY PIC\0", b"VHAB     "), sony.read),
    (b"FUJIFILM", fujifilm.read),
    (b"AOC\0", pentax.read),
    (b"PENTAX \0", pentax.read_new),
    ((b"RICOH\0II", b"RICOH\0MM"), pentax.read_ricoh),
    ((b"Ricoh", b"RICOH"), ricoh.read),
    (b"LEICA CAMERA AG\0", panasonic.read_second_form_long),
    (b"LEICA\0\0\0", leica.read_short),
    (_kinds(b"\1\0", b"\4\0", b"\5\0", b"\6\0", b"\7\0", b"\x10\0", b"\x1a\0"), leica.read_own),
    (_kinds(b"\x08\0", b"\x09\0", b"\x0a\0"), leica.read_from_tiff),
    (_kinds(b"\2\0", b"\2\xff"), leica.read_rangefinder),
    ((b"SIGMA\0\0\0", b"FOVEON\0\0"), sigma.read),
    (b"Apple iOS\0\0\1", apple.read),
    ((b"IIII", b"MMMM"), phaseone.read),
)
"""Notes that say by their first bytes whose they are; these may stand in other makers' files too."""
BARE: Final[tuple[tuple[str, Decoder], ...]] = (
    ("canon", canon.read),
    ("sony", sony.read_bare),
    ("nikon", nikon.read_bare),
    ("minolta", minolta.read),
    ("konica minolta", minolta.read),
    ("samsung", samsung.read),
)
"""Notes without a header of their own, by the start of Make in lower case."""
_CONVERTED: Final = b"Adobe\0"
_WRAPPED: Final = b"MakN"
_MOST_BLOCKS: Final = 16


def find(main: Directory, exif: Directory | None, facts: FoundFacts) -> Note | None:
    """The note in the Exif directory, or the one that a DNG keeps in IFD0."""
    for where, tag in ((exif, NOTE), (main, PRIVATE)):
        place = where.place(tag) if where is not None else None
        if where is not None and place is not None:
            make, model = facts.get("make", ""), facts.get("model", "")
            found = Note(tiff=where.tiff, offset=place[0], length=place[1], make=make, model=model)
            return _converted(found) if tag == PRIVATE else found
    return None


def _converted(private: Note) -> Note | None:
    """The note that a DNG converter wrapped up, with the base that its offsets count from.

    It is one of several blocks: a key, a length, the block, a byte to make it even.
    """
    if private.tiff.upto(private.offset, len(_CONVERTED)) != _CONVERTED:
        return private
    at = private.offset + len(_CONVERTED)
    for _ in range(_MOST_BLOCKS):
        key, length = struct.unpack(">4sI", private.tiff.whole(at, 8) or b"\0" * 8)
        if key == _WRAPPED:
            return _unwrapped(private, at + 8, length)
        if not length:
            return None
        at += 8 + length + length % 2
    return None


def _unwrapped(private: Note, at: int, length: int) -> Note | None:
    """The note behind its byte order and the place that it had in the file it was made for."""
    mark, was_at = struct.unpack(">2sI", private.tiff.whole(at, 6) or b"\0" * 6)
    order = {b"II": "<", b"MM": ">"}.get(mark)
    if order is None:
        return None
    tiff = replace(private.tiff, base=private.tiff.base + at + 6 - was_at, order=order)
    return replace(private, tiff=tiff, offset=was_at, length=length - 6)


def read(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft with what the note says, where we know its maker's tags."""
    decode = decoder(note.tiff.upto(note.offset, 16), note.make)
    if decode is not None:
        decode(note, builder)


@lru_cache(maxsize=32)  # one card knows few makers
def decoder(head: bytes, make: str) -> Decoder | None:
    """The decoder of a note by its first bytes, else by the make; None where neither is known."""
    for signature, decode in SIGNATURES:
        if head.startswith(signature):
            return decode
    bare = make.lower()
    return next((decode for start, decode in BARE if bare.startswith(start)), None)


def read_shell(outer: Directory, builder: FactsBuilder) -> None:
    """Fills the draft with what a raw's outer directory says beside its note."""
    panasonic.read_shell(outer, builder)
