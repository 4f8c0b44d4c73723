"""Sigma and Foveon: what others write as numbers stands here as texts.

Source: general-purpose metadata libraries' tag tables, for "2S" and "SINGLE" real files; the other
words of the drive mode are from memory.
"""

from __future__ import annotations

import re
from typing import Final

from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.builder import FactsBuilder, FoundFacts
from sorter.reading.directories import Directory
from sorter.reading.makers.form import Note, byte_at, in_series

HEADER: Final = 10
VERSION_AT: Final = 9
SERIAL: Final = 0x0002
DRIVE: Final = 0x0003
AF_MODE: Final = 0x0005
FOCUS_SETTING: Final = 0x0006
BRACKET: Final = 0x0019
BURST_SHOT: Final = 0x0034

_DRIVES: Final = (
    (re.compile(r"SINGLE|UP"), DriveMode.SINGLE),
    (re.compile(r"\d+ ?S"), DriveMode.TIMER),
    (re.compile(r"CONT|SEQ|BURST"), DriveMode.CONTINUOUS),
)
_PLACE: Final = re.compile(r"(\d{1,2}) ?of ?(\d{1,2})")
_MANUAL: Final = ("MF", "M")
_FIRST_OTHER_VERSION: Final = 3
"""From this version of the note on the burst's shot number is something else."""


def read(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from a note whose header has ten bytes."""
    found = note.from_tiff(HEADER)
    if found is None:
        return
    drive_mode(found.text(DRIVE), builder.facts)
    _focus_mode(found, builder.facts)
    bracket(found.text(BRACKET), builder.facts)
    builder.serial(found.text(SERIAL))
    version = byte_at(note.tiff.upto(note.offset, HEADER), VERSION_AT)
    burst = builder.facts.get("drive_mode") is DriveMode.CONTINUOUS
    if burst and version is not None and version < _FIRST_OTHER_VERSION:
        builder.facts["shot_number"] = in_series(found.number(BURST_SHOT)) or builder.facts.get(
            "shot_number"
        )


def drive_mode(text: str, facts: FoundFacts) -> None:
    """Takes the drive mode by its word."""
    upper = text.upper()
    for words, mode in _DRIVES:
        if words.match(upper):
            facts["drive_mode"] = mode
            return


def _focus_mode(found: Directory, facts: FoundFacts) -> None:
    """By the focus setting where that is by hand, else by the kind of autofocus."""
    setting, kind = found.text(FOCUS_SETTING).upper(), found.text(AF_MODE).upper()
    if setting in _MANUAL or kind in _MANUAL:
        facts["focus_mode"] = FocusMode.MANUAL
    elif kind.startswith("AF") or setting.startswith("AF"):
        facts["focus_mode"] = FocusMode.AUTO


def bracket(text: str, facts: FoundFacts) -> None:
    """Takes an exposure bracket's "n of N"; some bodies leave out the blanks."""
    place = _PLACE.fullmatch(text)
    number, planned = map(int, place.groups()) if place else (0, 0)
    if 1 <= number <= planned and planned > 1:
        facts["bracketing"] = Bracketing.EXPOSURE
        facts["shot_number"], facts["planned"] = number, planned
