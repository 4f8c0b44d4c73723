"""RW2: a TIFF-like shell whose embedded JPEG holds the full Exif."""

from __future__ import annotations

from typing import Final

from sorter.model.kinds import Role
from sorter.model.values import Preview
from sorter.reading import standard
from sorter.reading.containers import block, jpeg
from sorter.reading.directories import below, opened
from sorter.reading.draft import Draft
from sorter.reading.makers import note
from sorter.reading.source import Source

EMBEDDED_JPEG: Final = 0x002E
RAW_PLACE: Final = 0x0118
NOWHERE: Final = 0xFFFFFFFF


def read(source: Source, draft: Draft) -> None:
    """The facts of the embedded JPEG; those of the shell where there is no JPEG."""
    draft.role = Role.RAW
    outer = opened(source, 0, source.size)
    if outer is None:
        draft.notes.append(block.UNREADABLE)
        return
    place = outer.place(EMBEDDED_JPEG)
    if place is None or source.read(place[0], 3) != jpeg.START:
        standard.read(outer, below(outer, standard.EXIF_POINTER), draft)
    else:
        offset, length = place
        jpeg.facts(source, offset, min(offset + length, source.size), draft)
        draft.previews.append(Preview(offset=offset, length=min(length, source.size - offset)))
    note.read_shell(outer, draft)
    raw_at = outer.number(RAW_PLACE)
    if raw_at and raw_at != NOWHERE and raw_at >= source.size:
        draft.notes.append(f"the file ends early: {source.size} of more than {raw_at} bytes")
