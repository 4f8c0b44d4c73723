"""Ricoh's own notes, until the bodies with Pentax's tags (the others write text, and no directory).

Source: general-purpose metadata libraries' tag tables.
"""

from __future__ import annotations

import re
from typing import Final

from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.builder import FactsBuilder, FoundFacts
from sorter.reading.directories import Directory
from sorter.reading.makers.form import Note, in_series

SERIAL: Final = 0x0005
DRIVE: Final = 0x1002
FOCUS_MODE: Final = 0x1006
BRACKET: Final = 0x1007
WHITE_BALANCE_SHOT: Final = 0x101A

_DRIVES: Final = {
    0: DriveMode.SINGLE,
    1: DriveMode.CONTINUOUS,
    8: DriveMode.CONTINUOUS,
}
_FOCUS_MODES: Final = {
    1: FocusMode.MANUAL,
    **dict.fromkeys((2, 3, 7, 8, 9), FocusMode.AUTO),
}
"""Snap (4) and infinity (5) are neither: nobody turns the focus."""
_BRACKETS: Final = {
    9: Bracketing.EXPOSURE,
    **dict.fromkeys((11, 16, 17, 18, 19), Bracketing.OTHER),
}
_WHITE_BALANCE: Final = frozenset({11, 18})
_WORDS: Final = 3
_PRINTED: Final = re.compile(rb"[-\w ]+")
"""A serial number as text; other bodies keep a number of their own there, in bytes."""


def read(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from a note whose offsets count from the TIFF, behind eight bytes."""
    found = note.from_tiff(8)
    if found is None:
        return
    facts = builder.facts
    drive, focus = _word(found, DRIVE), _word(found, FOCUS_MODE)
    if drive in _DRIVES:
        facts["drive_mode"] = _DRIVES[drive]
    if focus in _FOCUS_MODES:
        facts["focus_mode"] = _FOCUS_MODES[focus]
    _bracketing(found, facts)
    if _PRINTED.fullmatch(found.raw(SERIAL)):
        builder.serial(found.text(SERIAL))


def _bracketing(found: Directory, facts: FoundFacts) -> None:
    kind = _word(found, BRACKET)
    if kind in _BRACKETS:
        facts["bracketing"] = _BRACKETS[kind]
    if kind in _WHITE_BALANCE:
        facts["shot_number"] = in_series(_word(found, WHITE_BALANCE_SHOT))


def _word(found: Directory, tag: int) -> int | None:
    """A 16-bit number; the first bodies write other things of other types under these tags."""
    entry = found.entries.get(tag)
    return found.number(tag) if entry is not None and entry[0] == _WORDS else None
