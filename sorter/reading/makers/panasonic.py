"""Panasonic, and Leica's bodies that are Panasonic's: flat notes, offsets from the TIFF.

Numbers are those of general-purpose metadata libraries' tag tables. The record of time lapses is
left alone: once one was set up, bodies fill it for other frames too.
"""

from __future__ import annotations

from typing import Final

from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.builder import FactsBuilder, FoundFacts
from sorter.reading.directories import Directory, opened
from sorter.reading.makers.form import Note, in_series, signed_word

FOCUS_MODE: Final = 0x0007
BODY_NUMBER: Final = 0x0025
SINCE_POWER_ON: Final = 0x0029  # 1/100 s
BURST: Final = 0x002A
SHOT_NUMBER: Final = 0x002B
TIMER: Final = 0x002E
PATTERN: Final = 0x0045
LENS: Final = 0x0051
MERGED_COUNT: Final = 0x0076
TIMER_RECORDING: Final = 0x0096
HDR: Final = 0x009E
MULTIPLE_EXPOSURE: Final = 0x00B4
FOCUS_OFFSET: Final = 0x00BD
MERGED_RANGE: Final = 0x00BF
BEFORE_RELEASE: Final = 0x00C1
FLASH: Final = 0x8007
SHELL_CAMERA: Final = 0x0120
SHELL_MULTISHOT: Final = 0x0121
SHELL_STEP: Final = 0x1101

_BRACKETS: Final = {
    **dict.fromkeys((0, 1, 4, 17), Bracketing.OFF),
    2: Bracketing.EXPOSURE,
    3: Bracketing.FOCUS,
    8: Bracketing.OTHER,
    18: Bracketing.OTHER,
}
_CONTINUOUS: Final = frozenset({1, 4, 17})
_FOCUS_RECORDING: Final = 3
_FOCUS_MODES: Final = {
    2: FocusMode.MANUAL,
    **dict.fromkeys((1, 4, 5, 6, 7, 8), FocusMode.AUTO),
}
_FOLLOWS: Final = {6: False, **dict.fromkeys((5, 7, 8), True)}
_PATTERNS: Final = {1: 3, 2: 3, 3: 5, 4: 5, 5: 7, 6: 7}
"""The frames of an exposure bracket by its pattern; a choice that counts in a bracket alone."""
_FLASHES: Final = {1: False, 2: True}
_HEADER: Final = 12
_MULTIPLE: Final = 2
_PIXEL_SHIFT: Final = 1 << 16
_NO_TIME: Final = 0xFFFFFFFF


def read(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from a Panasonic note; one body's offsets count from behind the header."""
    _fill(note.from_tiff(_HEADER, [note.tiff.base + _HEADER]), builder)


def read_second_form(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from the note of a Leica twin with a short header."""
    _fill(note.from_tiff(8), builder)


def read_second_form_long(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from the note of a Leica twin with a long header."""
    _fill(note.from_tiff(18), builder)


def _fill(found: Directory | None, builder: FactsBuilder) -> None:
    if found is None:
        return
    facts = builder.facts
    _drive(found, facts)
    _bracketing(found, facts)
    _merged(found, facts)
    mode = found.number(FOCUS_MODE)
    if mode in _FOCUS_MODES:
        facts["focus_mode"] = _FOCUS_MODES[mode]
        facts["focus_follows"] = _FOLLOWS.get(mode)
    ticks = found.number(SINCE_POWER_ON)
    if ticks is not None and 0 < ticks < _NO_TIME:
        facts["since_power_on_cs"] = ticks
    builder.lens(found.text(LENS))
    builder.serial(found.text(BODY_NUMBER))
    builder.flash(_FLASHES.get(found.number(FLASH) or 0))


def _drive(found: Directory, facts: FoundFacts) -> None:
    burst, timer = found.number(BURST), found.number(TIMER)
    if timer is not None and timer > 1:
        facts["drive_mode"] = DriveMode.TIMER
    elif burst in _CONTINUOUS or (burst is None and found.number(BEFORE_RELEASE) == 1):
        facts["drive_mode"] = DriveMode.CONTINUOUS
    elif burst == 0:
        facts["drive_mode"] = DriveMode.SINGLE
    number = in_series(found.number(SHOT_NUMBER))
    if number is not None and burst != 0:
        facts["shot_number"] = number


def _bracketing(found: Directory, facts: FoundFacts) -> None:
    """Focus where any of its three places says so; its offset counts steps from the start.

    The offset is unverified on real files: that it is none, and its order, is all that counts.
    """
    offset = signed_word(found.number(FOCUS_OFFSET))
    kind = _BRACKETS.get(found.number(BURST) or 0) if BURST in found else None
    if found.number(TIMER_RECORDING) == _FOCUS_RECORDING or offset:
        kind = Bracketing.FOCUS
    facts["bracketing"] = kind
    if kind is Bracketing.FOCUS and offset is not None:
        facts["focus_step"] = offset
        facts["step_nearward"] = False
    if kind is Bracketing.EXPOSURE:
        facts["planned"] = _PATTERNS.get(found.number(PATTERN) or 0)


def _merged(found: Directory, facts: FoundFacts) -> None:
    count = in_series(found.number(MERGED_COUNT)) or 0
    if any(found.numbers(MERGED_RANGE)):
        facts["merged"] = "focus"
    elif found.number(HDR):
        facts["merged"] = "exposure"
    elif count > 1 or found.number(MULTIPLE_EXPOSURE) == _MULTIPLE:
        facts["merged"] = "other"
    if count > 1:
        facts["merged_from"] = count


def read_shell(outer: Directory, builder: FactsBuilder) -> None:
    """The focus motor's step out of a raw's own camera block; which way it grows is not known.

    A bracket's own step number, which the note holds, is taken before it. A raw of shifted shots
    says so in its outer directory.
    """
    if outer.number(SHELL_MULTISHOT) == _PIXEL_SHIFT:
        builder.facts["merged"] = builder.facts.get("merged") or "other"
        builder.facts["sources_kept"] = False
    place = outer.place(SHELL_CAMERA)
    if place is None or builder.facts.get("focus_step") is not None:
        return
    source, start = outer.tiff.source, outer.tiff.base + place[0]
    block = opened(source, start, min(start + place[1], source.size))
    step = block.number(SHELL_STEP) if block is not None else None
    if step:
        builder.facts["focus_step"] = step & 0xFFFF
