"""Pentax, and Ricoh's bodies with the same tags."""

from __future__ import annotations

from typing import Final

from sorter.model.kinds import DriveMode, FocusMode
from sorter.reading.directories import Directory
from sorter.reading.draft import Draft, Said
from sorter.reading.makers.form import Note

DATE: Final = 0x0006
TIME: Final = 0x0007
FOCUS_MODE: Final = 0x000D
DRIVE: Final = 0x0034
SHUTTER_COUNT: Final = 0x005D
SERIAL: Final = 0x0229

_CONTINUOUS: Final = frozenset({1, 2, 3, 4, 5})
_TIMERS: Final = frozenset({1, 2})
_AUTO: Final = frozenset({*range(0x06, 0x0D), 0x10, 0x11, 0x12, 0x20, 0x21})
_MANUAL: Final = 3


def read(note: Note, draft: Draft) -> None:
    """Fills the draft from a note whose offsets count from the TIFF."""
    _fill(note.from_tiff(6), draft)


def read_new(note: Note, draft: Draft) -> None:
    """Fills the draft from a note whose offsets count from its own start."""
    _fill(note.from_itself(10, note.order_at(8)), draft)


def read_ricoh(note: Note, draft: Draft) -> None:
    """Fills the draft from a Ricoh note with Pentax's tags."""
    _fill(note.from_itself(8, note.order_at(6)), draft)


def _fill(found: Directory | None, draft: Draft) -> None:
    if found is None:
        return
    said = draft.said
    mode = found.number(FOCUS_MODE)
    if mode is not None and mode & 0xFF == _MANUAL:
        said["focus_mode"] = FocusMode.MANUAL
    elif mode is not None and mode & 0xFF in _AUTO:
        said["focus_mode"] = FocusMode.AUTO
    _drive(found.numbers(DRIVE), said)
    said["serial"] = said.get("serial") or found.text(SERIAL)
    count = shutter_count(found.raw(SHUTTER_COUNT), found.raw(DATE), found.raw(TIME))
    if count:
        said["counter"] = count


def _drive(drive: tuple[int, ...], said: Said) -> None:
    if len(drive) < 4:
        return
    if drive[1] in _TIMERS:
        said["drive_mode"] = DriveMode.TIMER
    elif drive[0] in _CONTINUOUS:
        said["drive_mode"] = DriveMode.CONTINUOUS
    elif drive[:2] == (0, 0):
        said["drive_mode"] = DriveMode.SINGLE


def shutter_count(stored: bytes, date: bytes, time: bytes) -> int | None:
    """The count behind a mask made of the date and of the turned time."""
    if len(stored) != 4 or len(date) != 4 or len(time) < 3:
        return None
    mask = int.from_bytes(date) ^ 0xFFFFFFFF ^ int.from_bytes(time[:3] + b"\0")
    count = int.from_bytes(stored) ^ mask
    return count if count < 10_000_000 else None
