"""Pentax, and Ricoh's bodies with the same tags.

Numbers are those of general-purpose metadata libraries' tag tables. No mark of a focus bracket is
known. The position of focus and the newest bodies' shot number are unverified and not read; the
step size among the camera settings stands there whether a bracket was shot or not. An interval's
count is none of a burst or bracket.
"""

from __future__ import annotations

from typing import Final

from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.builder import FactsBuilder, FoundFacts
from sorter.reading.directories import Directory
from sorter.reading.makers.form import Note, in_life

DATE: Final = 0x0006
TIME: Final = 0x0007
FOCUS_MODE: Final = 0x000D
BRACKET_STEP: Final = 0x0018
FRAME_NUMBER: Final = 0x0029
DRIVE: Final = 0x0034
LENS: Final = 0x003F
SHUTTER_COUNT: Final = 0x005D
HDR: Final = 0x0085
SETTINGS: Final = 0x0205
SERIAL: Final = 0x0229
PIXEL_SHIFT: Final = 0x0243

_CONTINUOUS: Final = frozenset({1, 2, 3, 4, 5})
_TIMERS: Final = frozenset({1, 2})
_ONE_AT_A_TIME: Final = frozenset({0, 16})  # at once, or behind a raised mirror
_AUTO: Final = frozenset({0, 1, 4, *range(0x06, 0x0D), 0x10, 0x11, 0x12, 0x20, 0x21})
_MANUAL: Final = 3
_FOLLOWS: Final = {0x10: False, 0x11: True}
_MERGES: Final = {
    **dict.fromkeys((1, 2, 3, 4, 0x0A, 0x0B, 0x0C), "other"),
    **dict.fromkeys((0x10, 0x20, 0x30, 0x40, 0x50, 0xE0), "exposure"),
}
"""By the fourth byte of the drive: multiple exposures, composites of intervals, kinds of HDR."""
_HDR_KINDS: Final = frozenset({1, 2, 3, 4, 5})
_OTHER_KINDS: Final = frozenset({1, 2, 3, 4, 5, 6, 7})
_DRIVE_BITS_AT, _BRACKET_SHOT_AT = 7, 9  # in SETTINGS
_EXPOSURE_BIT: Final = 1 << 6
_LONGEST_SETTINGS: Final = 24
"""Later bodies write other things there, and more of them."""
_NO_LENS: Final = frozenset({0, 1, 2})
"""Series of lenses that tell the body nothing: those without contacts, or with the first ones."""


def read(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from a note whose offsets count from the TIFF."""
    _fill(note.from_tiff(6), builder)


def read_new(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from a note whose offsets count from its own start."""
    _fill(note.from_itself(10, note.order_at(8)), builder)


def read_ricoh(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from a Ricoh note with Pentax's tags."""
    _fill(note.from_itself(8, note.order_at(6)), builder)


def _fill(found: Directory | None, builder: FactsBuilder) -> None:
    if found is None:
        return
    facts = builder.facts
    mode = found.number(FOCUS_MODE)
    if mode is not None and mode & 0xFF == _MANUAL:
        facts["focus_mode"] = FocusMode.MANUAL
    elif mode is not None and mode & 0xFF in _AUTO:
        facts["focus_mode"] = FocusMode.AUTO
        facts["focus_follows"] = _FOLLOWS.get(mode & 0xFF)
    drive = found.numbers(DRIVE)
    _drive(drive, facts)
    _bracketing(found.numbers(BRACKET_STEP), found.raw(SETTINGS), facts)
    _merged(found, drive, facts)
    builder.serial(found.text(SERIAL))
    builder.lens(_lens(found.numbers(LENS)))
    count = shutter_count(found.raw(SHUTTER_COUNT), found.raw(DATE), found.raw(TIME))
    facts["counter"] = count or in_life(found.number(FRAME_NUMBER))


def _drive(drive: tuple[int, ...], facts: FoundFacts) -> None:
    if len(drive) < 4:
        return
    if drive[1] in _TIMERS:
        facts["drive_mode"] = DriveMode.TIMER
    elif drive[0] in _CONTINUOUS:
        facts["drive_mode"] = DriveMode.CONTINUOUS
    elif drive[0] == 0 and drive[1] in _ONE_AT_A_TIME:
        facts["drive_mode"] = DriveMode.SINGLE


def _bracketing(step: tuple[int, ...], settings: bytes, facts: FoundFacts) -> None:
    """Exposure where a step of it stands, else what the second word's upper byte says.

    Older bodies tell the shot's place in the bracket in one byte: how many, and which from zero.
    """
    kind = step[1] >> 8 if len(step) > 1 else 0
    if step and step[0]:
        facts["bracketing"] = Bracketing.EXPOSURE
    elif kind in _OTHER_KINDS:
        facts["bracketing"] = Bracketing.OTHER
    if not _BRACKET_SHOT_AT < len(settings) <= _LONGEST_SETTINGS:
        return
    place = settings[_BRACKET_SHOT_AT]
    planned, number = place & 0xF, (place >> 4) + 1
    if settings[_DRIVE_BITS_AT] & _EXPOSURE_BIT and planned > 1 and number <= planned:
        facts["bracketing"] = Bracketing.EXPOSURE
        facts["shot_number"], facts["planned"] = number, planned


def _merged(found: Directory, drive: tuple[int, ...], facts: FoundFacts) -> None:
    """What the body made out of several shots: HDR, multiple exposures, shots of a shifted sensor."""
    hdr, shift = found.numbers(HDR), found.raw(PIXEL_SHIFT)
    kind = _MERGES.get(drive[3]) if len(drive) > 3 else None
    if hdr and hdr[0] in _HDR_KINDS:
        kind = "exposure"
    elif kind is None and shift[:1] == b"\1":
        kind = "other"
    if kind is not None:
        facts["merged"] = kind


def _lens(number: tuple[int, ...]) -> str:
    """The lens's number by series and model, for bodies that write no name."""
    if len(number) < 2 or number[0] in _NO_LENS:
        return ""
    return f"lens {number[0]}-{number[1]}"


def shutter_count(stored: bytes, date: bytes, time: bytes) -> int | None:
    """The count behind a mask made of the date and of the turned time."""
    if len(stored) != 4 or len(date) != 4 or len(time) < 3:
        return None
    mask = int.from_bytes(date) ^ 0xFFFFFFFF ^ int.from_bytes(time[:3] + b"\0")
    return in_life(int.from_bytes(stored) ^ mask)
