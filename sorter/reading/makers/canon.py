"""Canon: arrays of 16-bit or 32-bit words, of which word 0 is the array's own length in bytes.

Where no other source stands the numbers are those of general-purpose metadata libraries' tag
tables. A roll of raws in one file says how many pictures it holds; that is no plan of a series.
"""

from __future__ import annotations

import math
import re
import struct
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.builder import FactsBuilder, FoundFacts
from sorter.reading.directories import Directory
from sorter.reading.makers.form import Note, in_life, in_series, word_at

Words = tuple[int, ...]

SETTINGS: Final = 0x0001
SHOT: Final = 0x0004
SERIAL: Final = 0x000C
BODY_BLOCK: Final = 0x000D
AF: Final = 0x0026
NEW_AF: Final = 0x003C
FILE: Final = 0x0093
LENS: Final = 0x0095
MULTIPLE_EXPOSURE: Final = 0x4021
HDR: Final = 0x4025
FOCUS_BRACKET: Final = 0x4053

WIDTHS: Final = {
    **dict.fromkeys((SETTINGS, SHOT, AF, NEW_AF, FILE), 2),
    **dict.fromkeys((MULTIPLE_EXPOSURE, HDR, FOCUS_BRACKET), 4),
}
"""The arrays that are read, and the bytes of a word of each."""

TIMER, FLASH_MODE, DRIVE, FOCUS, RECORDED, LENS_NUMBER = 2, 4, 5, 7, 9, 22  # words of SETTINGS
FLASH_BITS, AF_KIND, FOCUS_BRACKETING = 29, 32, 50  # words of SETTINGS
AUTO_ISO, BASE_ISO, BURST_NUMBER, AEB, AEB_OFFSET = 1, 2, 9, 16, 17  # words of SHOT
FAR_OLD, NEAR_OLD, TIMER_OLD = 19, 20, 29  # words of SHOT
BRACKET_KIND, BRACKET_SHOT, WHITE_BALANCE_BRACKET = 3, 5, 9  # words of FILE
FAR, NEAR, MIRRORLESS_LENS_NUMBER = 20, 21, 61  # words of FILE

_SINGLE: Final = frozenset({0, 6, 9})
_CONTINUOUS: Final = frozenset({1, 3, 4, 5, 8, 10})
_MANUAL: Final = frozenset({3, 6})
_AUTO: Final = frozenset({0, 1, 2, 4, 5, 519})
_FOLLOWS: Final = {0: False, 1: True, 4: False, 5: True, 519: True}
_NO_AF_KIND: Final = 8
_FOLLOWS_BY_KIND: Final[dict[int | None, bool]] = {0: False, 1: True}
_LIVE_VIEW: Final = 256
_FIXED_PARTS: Final = {12: 32 / 3, 20: 64 / 3}
_JPEG_ALONE: Final = 1
_FAR_AWAY: Final = 65535
_MOST_ISO_CODE: Final = 32 * 16
_NOT_KNOWN: Final = 0xFFFF
_FLASH_FIRED: Final = 1 << 13 | 1 << 14  # the body's own, or one on its shoe
_NO_LENS_NUMBER: Final = frozenset({0, 0xFFFF})
_ANY_MIRRORLESS_LENS: Final = 61182
_COUNTS: Final = (
    (re.compile(r".*\bEOS R[56]"), 0x0AF1),
    (re.compile(r".*\bEOS (R6m2|R8|R50)"), 0x0D29),
)
"""Where the shutter count stands in the block whose layout is each body's own."""


def read(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from a note without a header, whose arrays have the tags of `fill`."""
    found = note.from_tiff(0, _bases(note))
    if found is None:
        return
    number = found.number(SERIAL)
    texts = {LENS: found.text(LENS), SERIAL: str(number) if number else ""}
    fill({tag: found.numbers(tag) for tag in WIDTHS}, texts, builder)
    _count(found, note.model, builder.facts)


def fill(
    arrays: Mapping[int, Sequence[int]], texts: Mapping[int, str], builder: FactsBuilder
) -> None:
    """Fills the draft from arrays by tag (those of WIDTHS) as stored, and the texts LENS and SERIAL.

    Arrays begin with their own length in bytes and may be longer than that; what is missing is not
    said. So other containers of the same arrays are read by the same rules.
    """
    facts = builder.facts
    words = {tag: bounded(arrays.get(tag, ()), width) for tag, width in WIDTHS.items()}
    settings, shot, file = words[SETTINGS], words[SHOT], words[FILE]
    _drive(settings, shot, facts)
    _focus_mode(settings, words[AF] or words[NEW_AF], facts)
    _bracketing(settings, shot, file, words[FOCUS_BRACKET], facts)
    _distances(shot, file, builder)
    _merged(settings, words[HDR], words[MULTIPLE_EXPOSURE], facts)
    facts["iso"] = facts.get("iso") or iso(word_at(shot, BASE_ISO), word_at(shot, AUTO_ISO))
    builder.flash(_flash(settings))
    builder.lens(texts.get(LENS, ""))
    builder.lens(_lens_number(settings, file))
    builder.serial(texts.get(SERIAL, ""))


def _bases(note: Note) -> Iterator[int]:
    """The base by the note's trailer, which keeps the place where the note was first written."""
    trailer = note.tiff.whole(note.offset + note.length - 8, 8)
    order = {b"II*\0": "<", b"MM\0*": ">"}.get(trailer[:4])
    if order is not None:
        yield note.start - struct.unpack(f"{order}I", trailer[4:])[0]


def bounded(numbers: Sequence[int], width: int) -> Words:
    """The array's words, no more than word 0 says there are."""
    if len(numbers) < 2 or numbers[0] <= 0:
        return ()
    return tuple(numbers[: numbers[0] // width])


def _drive(settings: Words, shot: Words, facts: FoundFacts) -> None:
    """How the shutter was released, and the shot's number within a burst (few bodies write it)."""
    timer, drive = word_at(settings, TIMER), word_at(settings, DRIVE)
    if _timed(word_at(shot, TIMER_OLD) if timer is None else timer):
        facts["drive_mode"] = DriveMode.TIMER
    elif drive in _CONTINUOUS:
        facts["drive_mode"] = DriveMode.CONTINUOUS
        facts["shot_number"] = in_series(word_at(shot, BURST_NUMBER))
    elif drive in _SINGLE:
        facts["drive_mode"] = DriveMode.SINGLE


def _timed(tenths_s: int | None) -> bool:
    """Whether a self-timer of so many tenths of a second ran; the upper bits are a choice of it."""
    return tenths_s is not None and tenths_s != _NOT_KNOWN and tenths_s & 0x0FFF != 0


def _focus_mode(settings: Words, af: Words, facts: FoundFacts) -> None:
    """By the focus mode; where that is none we know, by the kind of autofocus or its area."""
    mode = word_at(settings, FOCUS)
    if mode is not None and _LIVE_VIEW <= mode < _LIVE_VIEW + 8:
        mode -= _LIVE_VIEW
    if mode in _MANUAL:
        facts["focus_mode"] = FocusMode.MANUAL
    elif mode in _AUTO:
        facts["focus_mode"] = FocusMode.AUTO
        kind = _FOLLOWS_BY_KIND.get(word_at(settings, AF_KIND))
        facts["focus_follows"] = _FOLLOWS.get(mode, kind)
    elif word_at(af, 1) == 0 or word_at(settings, AF_KIND) == _NO_AF_KIND:
        facts["focus_mode"] = FocusMode.MANUAL


def _bracketing(settings: Words, shot: Words, file: Words, focus: Words, facts: FoundFacts) -> None:
    """Rule: the focus record decides where the body writes one, else its word in the settings.

    Off is said only where the body speaks about both, focus and exposure.
    """
    by_focus = word_at(focus, 1) if len(focus) > 2 else word_at(settings, FOCUS_BRACKETING)
    aeb, kind = word_at(shot, AEB), word_at(file, BRACKET_KIND)
    if by_focus == 1:
        facts["bracketing"] = Bracketing.FOCUS
        facts["planned"] = in_series(word_at(focus, 2))
    elif kind == 1 or (aeb and not kind):
        facts["bracketing"] = Bracketing.EXPOSURE
        facts["bracket_offset_ev"] = ev(word_at(shot, AEB_OFFSET))
        numbered = aeb if aeb is not None and 1 <= aeb <= 3 else None
        facts["shot_number"] = word_at(file, BRACKET_SHOT) or numbered
    elif kind in {2, 3, 4} or word_at(file, WHITE_BALANCE_BRACKET) in {1, 2}:
        facts["bracketing"] = Bracketing.OTHER
    elif by_focus == 0 and aeb == 0:
        facts["bracketing"] = Bracketing.OFF


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


def _distances(shot: Words, file: Words, builder: FactsBuilder) -> None:
    """Limits of focus in centimetres, from the newer place where it holds any.

    The older place yields to Exif's distance: early compacts write millimetres there (a picture of a
    PowerShot S40 has 7368 beside 7368/1000 m).
    """
    limits = metres(word_at(file, NEAR)), metres(word_at(file, FAR))
    if limits == (None, None) and builder.facts.get("focus_near_m") is None:
        limits = metres(word_at(shot, NEAR_OLD)), metres(word_at(shot, FAR_OLD))
    builder.distance(*limits)


def metres(centimetres: int | None) -> float | None:
    """Metres; zero means not recorded, all ones infinity."""
    if not centimetres:
        return None
    return math.inf if centimetres == _FAR_AWAY else centimetres / 100


def _merged(settings: Words, hdr: Words, multiple: Words, facts: FoundFacts) -> None:
    """Whether the body made the picture out of several; a raw beside it says that it did not.

    What it merged out of a focus bracket carries no mark that is known.
    """
    if word_at(settings, RECORDED) == _JPEG_ALONE and word_at(hdr, 1) in {1, 2}:
        facts["merged"] = "exposure"
    elif word_at(multiple, 1) in {1, 2}:
        facts["merged"] = "other"
        facts["merged_from"] = word_at(multiple, 3) or None


def _flash(settings: Words) -> bool | None:
    """Whether the flash fired: sure where a flash took part, or where all are switched off."""
    if (word_at(settings, FLASH_BITS) or 0) & _FLASH_FIRED:
        return True
    return False if word_at(settings, FLASH_MODE) == 0 else None


def _lens_number(settings: Words, file: Words) -> str:
    """The lens's number, for bodies that write no name; all mirrorless lenses share one there."""
    number = word_at(settings, LENS_NUMBER)
    if number == _ANY_MIRRORLESS_LENS:
        own = word_at(file, MIRRORLESS_LENS_NUMBER)
        return f"RF lens {own}" if own else ""
    return "" if number is None or number in _NO_LENS_NUMBER else f"lens {number}"


def _count(found: Directory, model: str, facts: FoundFacts) -> None:
    """The shutter count, where it is known for this body in which place of its block it stands."""
    at = next((at for models, at in _COUNTS if models.fullmatch(model)), None)
    block = found.raw(BODY_BLOCK) if at is not None else b""
    if at is None or len(block) < at + 4:
        return
    facts["counter"] = in_life(struct.unpack_from(f"{found.tiff.order}I", block, at)[0])
