"""Minolta: of its flat notes only where the preview lies.

Source: general-purpose metadata libraries' tag tables; held against a raw of a DiMAGE A2.
"""

from __future__ import annotations

from typing import Final

from sorter.reading import previews
from sorter.reading.builder import FactsBuilder
from sorter.reading.makers.form import Note

PREVIEW_PLACE: Final = 0x0088
PREVIEW_SIZE: Final = 0x0089


def read(note: Note, builder: FactsBuilder) -> None:
    """Keeps the preview, whose place counts from the TIFF's start.

    Some bodies write another byte for its first one; such a preview is none for us.
    """
    found = note.from_tiff(0)
    if found is None:
        return
    place, length = found.number(PREVIEW_PLACE), found.number(PREVIEW_SIZE)
    if place and length:
        previews.take(note.tiff.source, builder, found.tiff.base + place, length)
