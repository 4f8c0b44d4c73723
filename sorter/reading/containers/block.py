"""An Exif block (a TIFF of its own) inside whatever container."""

from __future__ import annotations

from typing import Final

from sorter.reading import standard
from sorter.reading.directories import Directory, below, opened
from sorter.reading.draft import Draft
from sorter.reading.makers import note
from sorter.reading.source import Source

UNREADABLE: Final = "Exif is there but cannot be read"
NONE: Final = "no Exif"


def read(source: Source, base: int, end: int, draft: Draft) -> Directory | None:
    """IFD0 of the block, whose facts are in the draft then; None where it is no such block."""
    main = opened(source, base, end)
    if main is not None:
        directories(main, below(main, standard.EXIF_POINTER), draft)
    return main


def directories(main: Directory, exif: Directory | None, draft: Draft) -> None:
    """Fills the draft from IFD0, the Exif directory and the maker's note."""
    standard.read(main, exif, draft)
    if exif is None and standard.EXIF_POINTER in main:
        draft.notes.append(UNREADABLE)
    found = note.find(main, exif, draft.said)
    if found is not None:
        note.read(found, draft)
