"""Fujifilm: always little-endian, offsets from the note. No focus distance is known."""

from __future__ import annotations

from typing import Final

from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.directories import LITTLE
from sorter.reading.draft import Draft, Said
from sorter.reading.makers.form import Note

SERIAL: Final = 0x0010
FOCUS_MODE: Final = 0x1021
SHOT_NUMBER: Final = 0x1101
WHITE_BALANCE_BRACKET: Final = 0x1102
DRIVE: Final = 0x1103
COMPOSITE: Final = 0x1150

_DRIVES: Final = {0: DriveMode.SINGLE, 1: DriveMode.CONTINUOUS, 2: DriveMode.CONTINUOUS}
_COMPOSITES: Final = {
    2: "focus",
    128: "exposure",
    **dict.fromkeys((1, 32, 1024), "other"),
}


def read(note: Note, draft: Draft) -> None:
    """Fills the draft from a note; the directory's place stands behind the name."""
    skip = int.from_bytes(note.tiff.upto(note.offset + 8, 4), "little")
    found = note.from_itself(skip, LITTLE) if skip else None
    if found is None:
        return
    said = draft.said
    mode, drive = found.number(FOCUS_MODE), found.number(DRIVE)
    if mode in {0, 1}:
        said["focus_mode"] = FocusMode.MANUAL if mode else FocusMode.AUTO
    if drive is not None and drive & 0xFF in _DRIVES:
        said["drive_mode"] = _DRIVES[drive & 0xFF]
    said["shot_number"] = found.number(SHOT_NUMBER) or None
    if found.number(WHITE_BALANCE_BRACKET):
        said["bracketing"] = Bracketing.OTHER
    said["serial"] = said.get("serial") or found.text(SERIAL)
    _merged(found.number(COMPOSITE), said)


def _merged(composite: int | None, said: Said) -> None:
    if composite in _COMPOSITES:
        said["merged"] = _COMPOSITES[composite]
