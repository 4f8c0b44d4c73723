"""Sony: drive and number plain, more behind a substitution that needs no key."""

from __future__ import annotations

import re
from typing import Final

from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.directories import Directory
from sorter.reading.draft import Draft, Said
from sorter.reading.makers.form import Note

RELEASE_MODE: Final = 0xB049
SHOT_NUMBER: Final = 0xB04A
FOCUS_MODE: Final = 0x201B
COMPACT_FOCUS_MODE: Final = 0xB04E
SETTINGS: Final = 0x2010
HDR: Final = 0x200A
PIXEL_SHIFT: Final = 0x202F
SEQUENCE: Final = 0x9400
FOCUS: Final = 0x9402

SEQUENCE_LENGTH: Final = 0x16
FOCUS_POSITION: Final = 0x2D
_NEW_SEQUENCES: Final = frozenset({0x23, 0x24, 0x26, 0x28, 0x31, 0x32, 0x33, 0x41})
_NO_FOCUS_RECORDS: Final = frozenset({0x05, 0xFF})
_OTHER_MOUNT: Final = ("DSLR-", "SLT-", "ILCA-", "HV")
_DRIVES: Final = {0: DriveMode.SINGLE, 2: DriveMode.CONTINUOUS}
_BRACKETS: Final = {5: Bracketing.EXPOSURE, 6: Bracketing.OTHER, 8: Bracketing.OTHER}
_FOCUS_MODES: Final = {
    0: FocusMode.MANUAL,
    **dict.fromkeys((2, 3, 4, 6, 7), FocusMode.AUTO),
}
_OLD_COMPACT: Final = re.compile(r"DSC-(?!RX10M4|RX100M5A|RX100M6|RX100M7|RX0M2|HX9[59])")
"""Compacts until 2018 write no focus mode where the other bodies write theirs."""
_TIMER_PLACES: Final = (
    (
        re.compile(
            r"ILCE-(6100|6400|6600|7C|7M3|7RM3A?|7RM4A?|9|9M2)|ZV-1|ZV-E10"
            r"|DSC-(RX0M2|RX10M4|RX100M5A|RX100M6|RX100M7|HX9[59])"
        ),
        0x210,
    ),
    (
        re.compile(
            r"ILCE-(7|7R|7S|7M2|7RM2|7SM2|5000|5100|6000|6300|6500|QX1)|ILCA-(68|77M2|99M2)"
            r"|DSC-(RX0|RX1RM2|RX10|RX10M2|RX10M3|RX100M3|RX100M4|RX100M5|HX[6-9]0V?)"
        ),
        0x218,
    ),
    (re.compile(r"DSC-(RX100M2|QX10|QX100)"), 0x1020),
    (re.compile(r"SLT-A(99|58)V?|ILCE-3[05]00|NEX-(3N|5R|5T|6)|DSC-(RX100|RX1R?)"), 0x1168),
    (re.compile(r"SLT-A(65|77)V?|NEX-(7|VG20E?|5N)"), 0x1134),
    (re.compile(r"SLT-A(37|57)|NEX-F3"), 0x1110),
)
"""Where the self-timer stands in the settings, by model; newer bodies write no such settings."""
_TIMERS: Final = frozenset({1, 2})
_NOT_AVAILABLE: Final = 65535
_LONGEST_PLAN: Final = 99

_STORED: Final = {plain**3 % 249: plain for plain in range(249)}
PLAIN: Final = bytes(_STORED.get(stored, stored) for stored in range(256))
"""What stands behind each stored byte: the cube modulo 249, turned round."""


def read(note: Note, draft: Draft) -> None:
    """Fills the draft from a note with a header of twelve bytes."""
    _fill(note.from_tiff(12), note, draft)


def read_bare(note: Note, draft: Draft) -> None:
    """Fills the draft from the note of a raw, which has no header."""
    _fill(note.from_tiff(0), note, draft)


def _fill(found: Directory | None, note: Note, draft: Draft) -> None:
    if found is None:
        return
    said = draft.said
    mode, number = found.number(RELEASE_MODE), found.number(SHOT_NUMBER)
    if mode in _DRIVES:
        said["drive_mode"] = _DRIVES[mode]
    if mode == 0 and _is_timed(found.raw(SETTINGS), note.model):
        said["drive_mode"] = DriveMode.TIMER
    if mode in _BRACKETS:
        said["bracketing"] = _BRACKETS[mode]
        said["planned"] = _planned(found.raw(SEQUENCE))
    if number and number != _NOT_AVAILABLE:
        said["shot_number"] = number
    old = _OLD_COMPACT.match(note.model)
    focus = found.number(COMPACT_FOCUS_MODE if old else FOCUS_MODE)
    if focus in _FOCUS_MODES:
        said["focus_mode"] = _FOCUS_MODES[focus]
    if not note.model.startswith(_OTHER_MOUNT):
        _position(found.raw(FOCUS), said)
    _merged(found, said)


def _is_timed(settings: bytes, model: str) -> bool:
    """Whether the self-timer ran: the plain release mode says single then."""
    places = (at for models, at in _TIMER_PLACES if models.fullmatch(model))
    at = next(places, len(settings))
    return at < len(settings) and PLAIN[settings[at]] in _TIMERS


def _planned(record: bytes) -> int | None:
    """The set length of the bracket, by the layout that bodies write since 2014."""
    if len(record) <= SEQUENCE_LENGTH or record[0] not in _NEW_SEQUENCES:
        return None
    length = PLAIN[record[SEQUENCE_LENGTH]]
    return length if 1 < length <= _LONGEST_PLAN else None


def _position(record: bytes, said: Said) -> None:
    """A code in 256 coarse steps that grows toward far. Good for order, not for distance."""
    if len(record) <= FOCUS_POSITION or record[0] in _NO_FOCUS_RECORDS:
        return
    said["focus_step"] = PLAIN[record[FOCUS_POSITION]]
    said["step_nearward"] = False


def _merged(found: Directory, said: Said) -> None:
    hdr, shift = found.number(HDR), found.raw(PIXEL_SHIFT)
    if hdr is not None and hdr >> 16 == 1:
        said["merged"] = "exposure"
    elif len(shift) == 6 and shift[4] == 0 and shift[5]:
        said["merged"] = "other"
        said["merged_from"] = shift[5]
