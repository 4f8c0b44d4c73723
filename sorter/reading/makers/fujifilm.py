"""Fujifilm: always little-endian, offsets from the note. No focus distance is known.

Numbers are those of general-purpose metadata libraries' tag tables. Nothing known marks a focus
bracket; one word for "continuous or a bracket" does not tell which.
"""

from __future__ import annotations

from typing import Final

from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.builder import FactsBuilder, FoundFacts
from sorter.reading.directories import LITTLE, Directory
from sorter.reading.makers.form import Note, in_life, in_series

SERIAL: Final = 0x0010
FLASH_MODE: Final = 0x1010
FOCUS_MODE: Final = 0x1021
AF_MODE: Final = 0x102D
PICTURE_MODE: Final = 0x1031
EXPOSURES: Final = 0x1032
MULTIPLE: Final = 0x1037
SERIES: Final = 0x1100
SHOT_NUMBER: Final = 0x1101
WHITE_BALANCE_BRACKET: Final = 0x1102
DRIVE: Final = 0x1103
PIXEL_SHIFTS: Final = 0x1105
COMPOSITE: Final = 0x1150
COUNT: Final = 0x1438

_DRIVES: Final = {0: DriveMode.SINGLE, 1: DriveMode.CONTINUOUS, 2: DriveMode.CONTINUOUS}
_PIXEL_SHIFT: Final = 6
_AF_MODES: Final = {0: FocusMode.MANUAL, 1: FocusMode.AUTO, 2: FocusMode.AUTO}
_FOLLOWS: Final = {1: False, 2: True}
_COMPOSITES: Final = {
    2: "focus",
    128: "exposure",
    **dict.fromkeys((1, 32, 1024), "other"),
}
_HDR: Final = 0x30
_NO_FLASH: Final = frozenset({2, 0x8000})
_COUNT_BITS: Final = 0x7FFF


def read(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from a note; the directory's place stands behind the name."""
    skip = int.from_bytes(note.tiff.upto(note.offset + 8, 4), "little")
    found = note.from_itself(skip, LITTLE) if skip else None
    if found is None:
        return
    facts = builder.facts
    _focus_mode(found.number(FOCUS_MODE), found.number(AF_MODE), facts)
    _series(found, facts)
    builder.serial(found.text(SERIAL))
    facts["counter"] = in_life((found.number(COUNT) or 0) & _COUNT_BITS)
    if found.number(FLASH_MODE) in _NO_FLASH:
        builder.flash(fired=False)
    _merged(found, facts)


def _focus_mode(mode: int | None, af: int | None, facts: FoundFacts) -> None:
    """By the focus mode; where that says neither, by the lowest four bits of the autofocus's."""
    if mode in {0, 1}:
        facts["focus_mode"] = FocusMode.MANUAL if mode else FocusMode.AUTO
    elif af is not None and af & 0xF in _AF_MODES:
        facts["focus_mode"] = _AF_MODES[af & 0xF]
    if af is not None and facts.get("focus_mode") is FocusMode.AUTO:
        facts["focus_follows"] = _FOLLOWS.get(af & 0xF)


def _series(found: Directory, facts: FoundFacts) -> None:
    """Drive, number and bracket. Bodies without a drive tag say only whether they shot a series."""
    drive, series = found.number(DRIVE), found.number(SERIES)
    code = series if drive is None and series in {0, 1} else drive
    if code is not None and code & 0xFF in _DRIVES:
        facts["drive_mode"] = _DRIVES[code & 0xFF]
    facts["shot_number"] = in_series(found.number(SHOT_NUMBER))
    shifts = in_series(found.number(PIXEL_SHIFTS)) or 0
    if series == _PIXEL_SHIFT and shifts > 1:
        facts["bracketing"] = Bracketing.OTHER
        facts["planned"] = shifts
    elif found.number(WHITE_BALANCE_BRACKET):
        facts["bracketing"] = Bracketing.OTHER


def _merged(found: Directory, facts: FoundFacts) -> None:
    """What the body merged, and out of how many exposures; one alone is no merging."""
    composite, exposures = found.number(COMPOSITE), in_series(found.number(EXPOSURES)) or 0
    if composite in _COMPOSITES:
        facts["merged"] = _COMPOSITES[composite]
    elif found.number(MULTIPLE) in {1, 2, 3, 4}:
        facts["merged"] = "other"
    elif exposures > 1:
        facts["merged"] = "exposure" if found.number(PICTURE_MODE) == _HDR else "other"
    if facts.get("merged") and exposures > 1:
        facts["merged_from"] = exposures
