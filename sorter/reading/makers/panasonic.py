"""Panasonic, and Leica's bodies that are Panasonic's: flat notes, offsets from the TIFF."""

from __future__ import annotations

from typing import Final

from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.directories import Directory, opened
from sorter.reading.draft import Draft, Said
from sorter.reading.makers.form import Note

FOCUS_MODE: Final = 0x0007
BODY_NUMBER: Final = 0x0025
SINCE_POWER_ON: Final = 0x0029  # 1/100 s
BURST: Final = 0x002A
SHOT_NUMBER: Final = 0x002B
TIMER: Final = 0x002E
LENS: Final = 0x0051
MERGED_COUNT: Final = 0x0076
TIMER_RECORDING: Final = 0x0096
HDR: Final = 0x009E
MULTIPLE_EXPOSURE: Final = 0x00B4
FOCUS_OFFSET: Final = 0x00BD
MERGED_RANGE: Final = 0x00BF
SHELL_CAMERA: Final = 0x0120
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
_MULTIPLE: Final = 2
_NO_TIME: Final = frozenset({0, 0xFFFFFFFF})


def read(note: Note, draft: Draft) -> None:
    """Fills the draft from a Panasonic note."""
    _fill(note.from_tiff(12), draft)


def read_twin(note: Note, draft: Draft) -> None:
    """Fills the draft from the note of a Leica twin with a short header."""
    _fill(note.from_tiff(8), draft)


def read_twin_long(note: Note, draft: Draft) -> None:
    """Fills the draft from the note of a Leica twin with a long header."""
    _fill(note.from_tiff(18), draft)


def _fill(found: Directory | None, draft: Draft) -> None:
    if found is None:
        return
    said = draft.said
    _drive(found, said)
    _bracketing(found, said)
    _merged(found, said)
    mode = found.number(FOCUS_MODE)
    if mode in _FOCUS_MODES:
        said["focus_mode"] = _FOCUS_MODES[mode]
    ticks = found.number(SINCE_POWER_ON)
    if ticks is not None and ticks not in _NO_TIME:
        said["counter"] = ticks
    lens = found.text(LENS)
    said["lens"] = said.get("lens") or ("" if lens.strip("-") == "" else lens)
    said["serial"] = said.get("serial") or found.text(BODY_NUMBER)


def _drive(found: Directory, said: Said) -> None:
    burst, timer = found.number(BURST), found.number(TIMER)
    if timer is not None and timer > 1:
        said["drive_mode"] = DriveMode.TIMER
    elif burst in _CONTINUOUS:
        said["drive_mode"] = DriveMode.CONTINUOUS
    elif burst == 0:
        said["drive_mode"] = DriveMode.SINGLE
    number = found.number(SHOT_NUMBER)
    if number and burst != 0:
        said["shot_number"] = number


def _bracketing(found: Directory, said: Said) -> None:
    """Focus where any of its three places says so; its offset counts steps from the start."""
    offset = signed(found.number(FOCUS_OFFSET))
    kind = _BRACKETS.get(found.number(BURST) or 0) if BURST in found else None
    if found.number(TIMER_RECORDING) == _FOCUS_RECORDING or offset:
        kind = Bracketing.FOCUS
    said["bracketing"] = kind
    if kind is Bracketing.FOCUS and offset is not None:
        said["focus_step"] = offset
        said["step_nearward"] = False


def signed(number: int | None) -> int | None:
    """A 16-bit number with its sign."""
    return number - 0x10000 if number is not None and number & 0x8000 else number


def _merged(found: Directory, said: Said) -> None:
    count = found.number(MERGED_COUNT) or 0
    if any(found.numbers(MERGED_RANGE)):
        said["merged"] = "focus"
    elif found.number(HDR):
        said["merged"] = "exposure"
    elif count > 1 or found.number(MULTIPLE_EXPOSURE) == _MULTIPLE:
        said["merged"] = "other"
    if count > 1:
        said["merged_from"] = count


def read_shell(outer: Directory, draft: Draft) -> None:
    """The focus motor's step out of a raw's own camera block; which way it grows is not known.

    A bracket's own step number, which the note holds, is taken before it.
    """
    place = outer.place(SHELL_CAMERA)
    if place is None or draft.said.get("focus_step") is not None:
        return
    source, start = outer.tiff.source, outer.tiff.base + place[0]
    block = opened(source, start, min(start + place[1], source.size))
    step = block.number(SHELL_STEP) if block is not None else None
    if step:
        draft.said["focus_step"] = step & 0xFFFF
