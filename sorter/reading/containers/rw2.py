"""RW2: a TIFF-like shell whose embedded JPEG holds the full Exif."""

from __future__ import annotations

from typing import Final

from sorter.model.kinds import Role
from sorter.reading import previews, standard
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import block, jpeg
from sorter.reading.directories import below, opened
from sorter.reading.makers import note
from sorter.reading.source import Source

EMBEDDED_JPEG: Final = 0x002E
LARGER_JPEG: Final = 0x0127
RAW_PLACE: Final = 0x0118
NOWHERE: Final = 0xFFFFFFFF


def read(source: Source, builder: FactsBuilder) -> None:
    """The facts of the embedded JPEG; those of the shell where there is no JPEG."""
    builder.role = Role.RAW
    outer = opened(source, 0, source.size)
    if outer is None:
        builder.notes.append(block.UNREADABLE)
        return
    place = outer.place(EMBEDDED_JPEG)
    if place is None or source.read(place[0], 3) != jpeg.START:
        # The first bodies put all Exif, with the note, into the shell.
        block.directories(outer, below(outer, standard.EXIF_POINTER), builder)
        block.thumbnail(source, outer, builder)
    else:
        jpeg.embedded(source, place[0], sum(place), builder)
    larger = outer.place(LARGER_JPEG)
    if larger is not None:
        previews.take(source, builder, *larger)
    note.read_shell(outer, builder)
    raw_at = outer.number(RAW_PLACE)
    if raw_at and raw_at != NOWHERE and raw_at >= source.size:
        builder.notes.append(f"the file ends early: {source.size} of more than {raw_at} bytes")
