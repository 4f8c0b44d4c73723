"""RAF: a header with places; all Exif stands in the embedded JPEG."""

from __future__ import annotations

from typing import Final

from sorter.model.kinds import Role
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import block, jpeg
from sorter.reading.source import Source

MAGIC: Final = b"FUJIFILMCCD-RAW "
JPEG_PLACE: Final = 0x54
RAW_PLACE: Final = 0x64


def read(source: Source, builder: FactsBuilder) -> None:
    """The facts of the embedded JPEG, and a note where the file is cut."""
    builder.role = Role.RAW
    offset, length = _place(source, JPEG_PLACE)
    if source.read(offset, 3) != jpeg.START:
        builder.notes.append(block.UNREADABLE)
        return
    jpeg.embedded(source, offset, offset + length, builder)
    end = max(offset + length, sum(_place(source, RAW_PLACE)))
    if end > source.size:
        builder.notes.append(f"the file ends early: {source.size} of {end} bytes")


def _place(source: Source, at: int) -> tuple[int, int]:
    """Offset and length that stand at this place of the header, big-endian."""
    fields = source.read(at, 8)
    return int.from_bytes(fields[:4]), int.from_bytes(fields[4:])
