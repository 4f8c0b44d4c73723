"""Olympus and OM SYSTEM: a directory of directories; little of it is hidden.

Numbers are those of general-purpose metadata libraries' tag tables. The step size of focus
brackets is a choice in a menu and says nothing of a frame. Of the bits that say what a bracket
varies the one for focus is unverified on real files; one more, whose meaning is unclear, is not
read.
"""

from __future__ import annotations

import math
from typing import Final

from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading import previews
from sorter.reading.builder import FactsBuilder, FoundFacts
from sorter.reading.directories import Directory, below, followed
from sorter.reading.makers.form import Note, in_series

SPECIAL_MODE: Final = 0x0200
EQUIPMENT: Final = 0x2010
CAMERA: Final = 0x2020
PROCESSING: Final = 0x2040
FOCUS: Final = 0x2050

SERIAL, LENS_CODE, LENS = 0x0101, 0x0201, 0x0203  # in EQUIPMENT
PREVIEW_PLACE, PREVIEW_SIZE = 0x0101, 0x0102  # in CAMERA
FOCUS_MODE, DRIVE, MERGED = 0x0301, 0x0600, 0x0804  # in CAMERA
MULTIPLE: Final = 0x101C  # in PROCESSING
STEP, STEP_INFINITY, STEP_NEAREST, DISTANCE = 0x0301, 0x0303, 0x0304, 0x0305  # in FOCUS
FLASH_ON_SHOE, OWN_FLASH = 0x1201, 0x1208  # in FOCUS
OLD_FOCUS_MODE, OLD_STEP = 0x100B, 0x100E  # in the note itself, old bodies
OLD_INFINITY, OLD_NEAREST = 0x103B, 0x103C  # beside them

_BRACKETS: Final = {
    0: Bracketing.OFF,
    1: Bracketing.OFF,
    2: Bracketing.EXPOSURE,
    3: Bracketing.OTHER,
    4: Bracketing.EXPOSURE,
}
_BY_BITS: Final = (
    (1 << 6, Bracketing.FOCUS),
    (1 << 0 | 1 << 5, Bracketing.EXPOSURE),
    (1 << 1 | 1 << 2 | 1 << 4, Bracketing.OTHER),
)
_TIMERS: Final = frozenset({0x04, 0x05, 0x06, 0x14, 0x15, 0x16, 0x24, 0x25, 0x26})
_CONTINUOUS_NIBBLES: Final = frozenset({2, 3, 7, 8, 9})
_PRE_CAPTURE: Final = 4
_HIGH_RESOLUTION: Final = 0x30
_MERGES: Final = {
    **dict.fromkeys((1, 3, 4, 8, 11, 13), "other"),
    **dict.fromkeys((5, 6), "exposure"),
    9: "focus",
}
"""Other than for focus and exposure: composites, longer exposures, high resolution, all at once."""
_FAST: Final = 2
_MANUAL: Final = 10
_AUTO_MODES: Final = frozenset({0, 1, 2, 3, 4})
_FOLLOWS: Final = {0: False, 2: True}
_MANUAL_BIT: Final = 1 << 4
_FAR_AWAY: Final = 0xFFFFFFFF


def read(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from an Olympus note, whose header has twelve bytes."""
    _directories(note.from_itself(12, note.order_at(8)), note, builder)


def read_om(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from an OM SYSTEM note, whose header has sixteen bytes."""
    _directories(note.from_itself(16, note.order_at(12)), note, builder)


def read_old(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from a note of the first bodies, whose offsets count from the TIFF."""
    _directories(note.from_tiff(8), note, builder)


def _directories(main: Directory | None, note: Note, builder: FactsBuilder) -> None:
    if main is None:
        return
    equipment, camera, processing, focus = (
        _inner(main, tag) for tag in (EQUIPMENT, CAMERA, PROCESSING, FOCUS)
    )
    if equipment is not None:
        builder.serial(equipment.text(SERIAL))
        builder.lens(equipment.text(LENS))
        builder.lens(_lens_code(equipment.numbers(LENS_CODE)))
    if camera is not None:
        _camera(camera, main, builder.facts)
        _preview(camera, note, builder)
    if CAMERA not in main:
        _special_mode(main.numbers(SPECIAL_MODE), builder.facts)
    if processing is not None and not builder.facts.get("merged"):
        _multiple(processing.numbers(MULTIPLE), builder.facts)
    if focus is not None:
        _focus(focus, builder)
    elif OLD_STEP in main:
        _step(main, (OLD_STEP, OLD_INFINITY, OLD_NEAREST), builder.facts)
    if OLD_FOCUS_MODE in main and "focus_mode" not in builder.facts:
        _old_focus_mode(main.number(OLD_FOCUS_MODE), builder.facts)


def _lens_code(code: tuple[int, ...]) -> str:
    """The lens's code of maker, model and variant, for bodies that write no name."""
    parts = [code[index] for index in (0, 2, 3) if index < len(code)]
    return f"lens {'-'.join(map(str, parts))}" if len(parts) == 3 and any(parts) else ""


def _special_mode(mode: tuple[int, ...], facts: FoundFacts) -> None:
    """Drive and number of bodies without camera settings: the second word counts the shots.

    Later bodies write the same for a bracket as for a burst, and say more in their settings.
    """
    if len(mode) > 1 and mode[0] == _FAST:
        facts["drive_mode"] = DriveMode.CONTINUOUS
        facts["shot_number"] = in_series(mode[1])


def _multiple(mode: tuple[int, ...], facts: FoundFacts) -> None:
    """Live composite (1), or a multiple exposure of two or three frames."""
    if mode and 1 <= mode[0] <= 3:
        facts["merged"] = "other"
        facts["merged_from"] = mode[0] if mode[0] > 1 else None
        facts["sources_kept"] = False if mode[0] == 1 else None


def _inner(main: Directory, tag: int) -> Directory | None:
    """The directory behind a pointer, or the one that stands in place of the value (old bodies)."""
    place = main.place(tag)
    return followed(main.tiff, place[0]) if place is not None else below(main, tag)


def _camera(camera: Directory, main: Directory, facts: FoundFacts) -> None:
    drive = camera.numbers(DRIVE)
    if drive:
        facts["bracketing"] = _bracketing(drive)
        facts["shot_number"] = in_series(drive[1]) if len(drive) > 1 else None
        facts["drive_mode"] = _drive_mode(drive, main.number(SPECIAL_MODE))
    mode = camera.numbers(FOCUS_MODE)
    if mode:
        facts["focus_mode"] = _focus_mode(mode)
        facts["focus_follows"] = _FOLLOWS.get(mode[0])
    merged = camera.numbers(MERGED)
    if len(merged) == 2 and merged[0] in _MERGES:
        facts["merged"] = _MERGES[merged[0]]
        facts["merged_from"] = in_series(merged[1])
        facts["sources_kept"] = False if _MERGES[merged[0]] == "other" else None


def _bracketing(drive: tuple[int, ...]) -> Bracketing | None:
    """By the first word, and where that says 5 by the bits of the third."""
    if drive[0] != 5:
        return _BRACKETS.get(drive[0])
    bits = drive[2] if len(drive) > 2 else 0
    return next((kind for mask, kind in _BY_BITS if bits & mask), None)


def _drive_mode(drive: tuple[int, ...], special: int | None) -> DriveMode | None:
    """By the mode code of newer bodies, else by the first word."""
    if len(drive) > 5 and drive[5]:
        return _drive_by_code(drive[5])
    if drive[0] == 1 or (drive[0] >= 2 and special == _FAST):
        return DriveMode.CONTINUOUS
    return DriveMode.SINGLE if drive[0] == 0 else None


def _drive_by_code(code: int) -> DriveMode | None:
    if code in _TIMERS:
        return DriveMode.TIMER
    if code >> 4 == _PRE_CAPTURE or code & 15 in _CONTINUOUS_NIBBLES:
        return DriveMode.CONTINUOUS
    return DriveMode.SINGLE if code & 15 == 1 or code == _HIGH_RESOLUTION else None


def _focus_mode(mode: tuple[int, ...]) -> FocusMode | None:
    """The first word decides; the bits of the second tell what else was allowed."""
    if mode[0] == _MANUAL:
        return FocusMode.MANUAL
    if mode[0] in _AUTO_MODES:
        return FocusMode.AUTO
    by_bits = len(mode) > 1 and mode[1] & _MANUAL_BIT
    return FocusMode.MANUAL if by_bits else None


def _old_focus_mode(mode: int | None, facts: FoundFacts) -> None:
    if mode in {0, 1}:
        facts["focus_mode"] = FocusMode.MANUAL if mode else FocusMode.AUTO


def _focus(focus: Directory, builder: FactsBuilder) -> None:
    fired = [focus.number(tag) for tag in (FLASH_ON_SHOE, OWN_FLASH)]
    if set(fired) <= {0, 1}:
        builder.flash(1 in fired)
    _step(focus, (STEP, STEP_INFINITY, STEP_NEAREST), builder.facts)
    distance = focus.ratio(DISTANCE)
    if distance is not None:
        metres = _metres(distance[0])
        builder.distance(metres, metres)


def _step(found: Directory, tags: tuple[int, int, int], facts: FoundFacts) -> None:
    """The motor's position, and its direction by those for infinity and for the nearest focus.

    Where these are not told it grows toward near, as on all bodies seen. Zero comes from lenses
    without a motor.
    """
    step, infinity, nearest = (found.number(tag) for tag in tags)
    if step:
        facts["focus_step"] = step
        facts["step_nearward"] = not (infinity and nearest and infinity > nearest)


def _metres(numerator: int) -> float | None:
    """The numerator is millimetres, whatever the denominator says."""
    if not numerator:
        return None
    return math.inf if numerator == _FAR_AWAY else numerator / 1000


def _preview(camera: Directory, note: Note, builder: FactsBuilder) -> None:
    """The preview's place, which counts from the note's first byte."""
    place, size = camera.number(PREVIEW_PLACE), camera.number(PREVIEW_SIZE)
    if place and size:
        previews.take(note.tiff.source, builder, note.start + place, size)
