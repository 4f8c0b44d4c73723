"""Canon: arrays of 16-bit or 32-bit words, of which word 0 is the array's own length in bytes."""

from __future__ import annotations

import math
import struct
from typing import Final

from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.directories import Directory
from sorter.reading.draft import Draft, Said
from sorter.reading.makers.form import Note

SETTINGS: Final = 0x0001
SHOT: Final = 0x0004
SERIAL: Final = 0x000C
FILE: Final = 0x0093
LENS: Final = 0x0095
AF: Final = 0x0026
MULTIPLE_EXPOSURE: Final = 0x4021
HDR: Final = 0x4025
FOCUS_BRACKET: Final = 0x4053

TIMER, DRIVE, FOCUS, RECORDED, FOCUS_BRACKETING = 2, 5, 7, 9, 50  # words of SETTINGS
AUTO_ISO, BASE_ISO, AEB, AEB_OFFSET, FAR_OLD, NEAR_OLD = 1, 2, 16, 17, 19, 20  # words of SHOT
BRACKET_KIND, BRACKET_SHOT, FAR, NEAR = 3, 5, 20, 21  # words of FILE

_SINGLE: Final = frozenset({0, 6, 9})
_CONTINUOUS: Final = frozenset({1, 3, 4, 5, 8, 10})
_MANUAL: Final = frozenset({3, 6})
_AUTO: Final = frozenset({0, 1, 2, 4, 5, 519})
_LIVE_VIEW: Final = 256
_FIXED_PARTS: Final = {12: 32 / 3, 20: 64 / 3}
_JPEG_ALONE: Final = 1
_FAR_AWAY: Final = 65535
_MOST_ISO_CODE: Final = 32 * 16


def read(note: Note, draft: Draft) -> None:
    """Drive, focus, bracketing, distances, lens and serial number of a note without a header."""
    found = note.from_tiff(0, _bases(note))
    if found is None:
        return
    said = draft.said
    settings, shot = words(found, SETTINGS), words(found, SHOT)
    file, focus = words(found, FILE), words(found, FOCUS_BRACKET, width=4)
    _drive(settings, said)
    _focus_mode(settings, words(found, AF), said)
    _bracketing(settings, shot, file, focus, said)
    _distances(shot, file, draft)
    _merged(settings, found, said)
    said["iso"] = said.get("iso") or iso(word(shot, BASE_ISO), word(shot, AUTO_ISO))
    said["lens"] = said.get("lens") or found.text(LENS)
    said["serial"] = said.get("serial") or _serial(found)


def from_arrays(
    settings: tuple[int, ...], shot: tuple[int, ...], file: tuple[int, ...], draft: Draft
) -> None:
    """Drive, focus, bracketing, distances and sensitivity out of the arrays that older raws hold."""
    _drive(settings, draft.said)
    _focus_mode(settings, (), draft.said)
    _bracketing(settings, shot, file, (), draft.said)
    _distances(shot, file, draft)
    draft.said["iso"] = iso(word(shot, BASE_ISO), word(shot, AUTO_ISO))


def _bases(note: Note) -> list[int]:
    """The base by the note's trailer, which keeps the place where the note was first written."""
    trailer = note.tiff.whole(note.offset + note.length - 8, 8)
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(trailer[:4])
    if order is None:
        return []
    was_at = struct.unpack(f"{order}I", trailer[4:])[0]
    return [note.start - was_at]


def words(found: Directory, tag: int, width: int = 2) -> tuple[int, ...]:
    """The array's words, no more than word 0 says there are."""
    numbers = found.numbers(tag)
    if len(numbers) < 2:
        return ()
    return numbers[: numbers[0] // width] if numbers[0] > 0 else ()


def word(array: tuple[int, ...], index: int) -> int | None:
    """A word of 16 bits as an unsigned number; None where this body's array does not reach it."""
    return array[index] & 0xFFFF if index < len(array) else None


def _drive(settings: tuple[int, ...], said: Said) -> None:
    timer, drive = word(settings, TIMER), word(settings, DRIVE)
    if timer is not None and timer != 0xFFFF and timer & 0x0FFF:
        said["drive_mode"] = DriveMode.TIMER
    elif drive in _CONTINUOUS:
        said["drive_mode"] = DriveMode.CONTINUOUS
    elif drive in _SINGLE:
        said["drive_mode"] = DriveMode.SINGLE


def _focus_mode(settings: tuple[int, ...], af: tuple[int, ...], said: Said) -> None:
    mode = word(settings, FOCUS)
    if mode is not None and _LIVE_VIEW <= mode < _LIVE_VIEW + 8:
        mode -= _LIVE_VIEW
    if mode in _MANUAL or (mode not in _AUTO and word(af, 1) == 0):
        said["focus_mode"] = FocusMode.MANUAL
    elif mode in _AUTO:
        said["focus_mode"] = FocusMode.AUTO


def _bracketing(
    settings: tuple[int, ...],
    shot: tuple[int, ...],
    file: tuple[int, ...],
    focus: tuple[int, ...],
    said: Said,
) -> None:
    """Rule: the focus record decides where the body writes one, else its word in the settings.

    Off is said only where the body speaks about both, focus and exposure.
    """
    by_focus = word(focus, 1) if len(focus) > 2 else word(settings, FOCUS_BRACKETING)
    aeb, kind = word(shot, AEB), word(file, BRACKET_KIND)
    if by_focus == 1:
        said["bracketing"] = Bracketing.FOCUS
        said["planned"] = word(focus, 2) or None
    elif kind == 1 or (aeb and not kind):
        said["bracketing"] = Bracketing.EXPOSURE
        said["bracket_offset_ev"] = ev(word(shot, AEB_OFFSET))
        numbered = aeb if aeb is not None and 1 <= aeb <= 3 else None
        said["shot_number"] = word(file, BRACKET_SHOT) or numbered
    elif kind in {2, 3, 4}:
        said["bracketing"] = Bracketing.OTHER
    elif by_focus == 0 and aeb == 0:
        said["bracketing"] = Bracketing.OFF


def ev(code: int | None) -> float | None:
    """An exposure value from its code: 32 to a stop, thirds written as 12 and 20."""
    if code is None:
        return None
    signed = code - 0x10000 if code & 0x8000 else code
    whole, part = divmod(abs(signed), 32)
    return math.copysign(whole + _FIXED_PARTS.get(part, part) / 32, signed) if signed else 0.0


def iso(base: int | None, auto: int | None) -> float | None:
    """The sensitivity of compacts that leave it out of Exif: a base and a part of it, 32 to a stop.

    Source: from memory; held against pictures of PowerShots A520, S40 and S70.
    """
    if not base or base >= _MOST_ISO_CODE or (auto or 0) >= _MOST_ISO_CODE:
        return None
    return float(round(100 / 32 * 2 ** ((base + (auto or 0)) / 32)))


def _distances(shot: tuple[int, ...], file: tuple[int, ...], draft: Draft) -> None:
    """Limits of focus in centimetres, from the newer place where it holds any."""
    for array, far, near in ((file, FAR, NEAR), (shot, FAR_OLD, NEAR_OLD)):
        limits = metres(word(array, near)), metres(word(array, far))
        if limits != (None, None):
            draft.distance(*limits)
            return


def metres(centimetres: int | None) -> float | None:
    """Metres; zero means not recorded, all ones infinity."""
    if not centimetres:
        return None
    return math.inf if centimetres == _FAR_AWAY else centimetres / 100


def _merged(settings: tuple[int, ...], found: Directory, said: Said) -> None:
    """Whether the body made the picture out of several; a raw beside it says that it did not."""
    hdr, multiple = words(found, HDR, width=4), words(found, MULTIPLE_EXPOSURE, width=4)
    if word(settings, RECORDED) == _JPEG_ALONE and word(hdr, 1) in {1, 2}:
        said["merged"] = "exposure"
    elif word(multiple, 1) in {1, 2}:
        said["merged"] = "other"
        said["merged_from"] = word(multiple, 3) or None


def _serial(found: Directory) -> str:
    """The body's number, which older bodies write only here."""
    number = found.number(SERIAL)
    return str(number) if number else ""
