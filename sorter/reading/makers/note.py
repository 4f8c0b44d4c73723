"""Finds the maker's note and gives it to the decoder that its own first bytes name."""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import replace
from typing import Final

from sorter.reading.directories import Directory
from sorter.reading.draft import Draft, Said
from sorter.reading.makers import canon, fujifilm, minolta, nikon, olympus, panasonic, pentax, sony
from sorter.reading.makers.form import Note

Decoder = Callable[[Note, Draft], None]

NOTE: Final = 0x927C
PRIVATE: Final = 0xC634
"""In IFD0 of DNGs: the maker's own data."""

_SIGNATURES: Final[tuple[tuple[bytes, Decoder], ...]] = (
    (b"OLYMPUS\0", olympus.read),
    (b"OM SYSTEM\0", olympus.read_om),
    (b"OLYMP\0", olympus.read_old),
    (b"EPSON\0", olympus.read_old),
    (b"Panasonic\0\0\0", panasonic.read),
    (b"LEICA CAMERA AG\0", panasonic.read_twin_long),
    (b"LEICA\0\0\0", panasonic.read_twin),
    (b"Nikon\0\2", nikon.read),
    (b"Nikon\0\1", nikon.read_old),
    (b"SONY DSC ", sony.read),
    (b"SONY CAM ", sony.read),
    (b"SONY MOBILE", sony.read),
    (b"\0\0SONY PIC\0", sony.read),
    (b"VHAB     ", sony.read),
    (b"FUJIFILM", fujifilm.read),
    (b"AOC\0", pentax.read),
    (b"PENTAX \0", pentax.read_new),
    (b"RICOH\0II", pentax.read_ricoh),
    (b"RICOH\0MM", pentax.read_ricoh),
)
_BARE: Final[tuple[tuple[str, Decoder], ...]] = (
    ("canon", canon.read),
    ("sony", sony.read_bare),
    ("nikon", nikon.read_bare),
    ("minolta", minolta.read),
    ("konica minolta", minolta.read),
)
"""Notes without a header of their own, by the start of Make in lower case."""
_CONVERTED: Final = b"Adobe\0MakN"


def find(main: Directory, exif: Directory | None, said: Said) -> Note | None:
    """The note in the Exif directory, or the one that a DNG keeps in IFD0."""
    for where, tag in ((exif, NOTE), (main, PRIVATE)):
        place = where.place(tag) if where is not None else None
        if where is not None and place is not None:
            make, model = said.get("make", ""), said.get("model", "")
            found = Note(tiff=where.tiff, offset=place[0], length=place[1], make=make, model=model)
            return _converted(found) if tag == PRIVATE else found
    return None


def _converted(private: Note) -> Note | None:
    """The note that a DNG converter wrapped up, with the base that its offsets count from."""
    head = private.tiff.whole(private.offset, 20)
    if not head.startswith(_CONVERTED):
        return private
    length, mark, was_at = struct.unpack(">I2sI", head[10:20])
    order = {b"II": "<", b"MM": ">"}.get(mark)
    if order is None:
        return None
    start = private.tiff.base + private.offset + 20
    tiff = replace(private.tiff, base=start - was_at, order=order)
    return replace(private, tiff=tiff, offset=was_at, length=length - 6)


def read(note: Note, draft: Draft) -> None:
    """Fills the draft with what the note says, where we know its maker's tags."""
    head = note.tiff.upto(note.offset, 16)
    for signature, decode in _SIGNATURES:
        if head.startswith(signature):
            decode(note, draft)
            return
    make = note.make.lower()
    for start, decode in _BARE:
        if make.startswith(start):
            decode(note, draft)
            return


def read_shell(outer: Directory, draft: Draft) -> None:
    """Fills the draft with what a raw's outer directory says beside its note."""
    panasonic.read_shell(outer, draft)
