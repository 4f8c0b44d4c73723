"""An Exif block (a TIFF of its own) inside whatever container."""

from __future__ import annotations

from typing import Final

from sorter.reading import previews, standard
from sorter.reading.builder import FactsBuilder
from sorter.reading.directories import Directory, below, directory, opened
from sorter.reading.makers import note
from sorter.reading.source import Source

UNREADABLE: Final = "Exif is there but cannot be read"
NONE: Final = "no Exif"
NONE_LEFT: Final = "no Exif in what is left of the file's head"
THUMBNAIL_PLACE: Final = 0x0201
THUMBNAIL_SIZE: Final = 0x0202


def read(source: Source, base: int, end: int, builder: FactsBuilder) -> Directory | None:
    """IFD0 of the block, whose facts are in the draft then; None where it is no such block."""
    main = opened(source, base, end)
    if main is not None:
        directories(main, below(main, standard.EXIF_POINTER), builder)
    return main


def directories(main: Directory, exif: Directory | None, builder: FactsBuilder) -> None:
    """Fills the draft from IFD0, the Exif directory and the maker's note."""
    standard.read(main, exif, builder)
    lost = exif is None and standard.EXIF_POINTER in main
    if lost or _is_cut(main) or (exif is not None and _is_cut(exif)):
        builder.notes.append(UNREADABLE)
    found = note.find(main, exif, builder.facts)
    if found is not None:
        note.read(found, builder)


def _is_cut(found: Directory) -> bool:
    """Whether the readable bytes end within the directory's entries."""
    return found.tiff.base + found.values_from > found.tiff.end


def ends_early(source: Source, end: int) -> str:
    """What is said of a file that should have at least so many bytes."""
    return f"the file ends early: {source.size} of at least {end} bytes"


def thumbnail(source: Source, main: Directory, builder: FactsBuilder) -> None:
    """Keeps the JPEG of the directory behind IFD0 (DC-008, IFD1), where that is in the first block."""
    tiff = main.tiff
    at = tiff.base + main.follows
    if not main.follows or at + 2 > len(source.head):
        return
    second = directory(tiff, main.follows)
    if second is None or tiff.base + second.values_from > len(source.head):
        return
    place, length = second.number(THUMBNAIL_PLACE), second.number(THUMBNAIL_SIZE)
    if place and length and tiff.base + place + length <= tiff.end:
        previews.take(source, builder, tiff.base + place, length)
