"""Olympus' and OM SYSTEM's notes to facts.

Numbers are values of real frames as published in general-purpose metadata libraries' tag tables,
or read from a real file of the body that is named, put into synthetic notes.
"""

from __future__ import annotations

import math

import pytest

from cardmaking.tiff import RAT, U32, Entry, directory
from reading.builders import LITTLE, own_note, placed_note
from sorter.model.frame import Facts
from sorter.model.kinds import Bracketing, DriveMode, FocusMode

OLYMPUS = b"OLYMPUS\0II\3\0"
OM = b"OM SYSTEM\0\0\0II\4\0"


def olympus(
    *,
    camera: tuple[Entry, ...] = (),
    focus: tuple[Entry, ...] = (),
    equipment: tuple[Entry, ...] = (),
    processing: tuple[Entry, ...] = (),
    head: bytes = OLYMPUS,
    special: tuple[int, ...] = (0, 0, 0),
) -> Facts:
    filler = LITTLE.words(0x0000, [1])
    return own_note(
        "OLYMPUS",
        head,
        LITTLE.numbers(0x0200, U32, *special),
        LITTLE.below(0x2010, [filler, *equipment], 13),
        LITTLE.below(0x2020, [filler, *camera], 13),
        LITTLE.below(0x2040, [filler, *processing], 13),
        LITTLE.below(0x2050, [filler, *focus], 13),
    )


@pytest.mark.parametrize("head", [OLYMPUS, OM])
def test_olympus_headers(head: bytes) -> None:
    serial = LITTLE.text(0x0101, "BJ7A60417".ljust(31))
    said = olympus(equipment=(serial, LITTLE.text(0x0203, "60mm F2.8 Macro  ")), head=head)
    assert (said.serial, said.lens) == ("BJ7A60417", "60mm F2.8 Macro")


@pytest.mark.parametrize(
    ("ratio", "metres"),
    [
        ((705, 10), 0.705),
        ((705, 1), 0.705),
        ((2310, 10), 2.31),
        ((385800, 10), 385.8),
        ((0xFFFFFFFF, 10), math.inf),
        ((0, 10), None),
    ],
)
def test_olympus_distance_is_millimetres_whatever_stands_below(
    ratio: tuple[int, int], metres: float | None
) -> None:
    said = olympus(focus=(LITTLE.ratios(0x0305, ratio, kind=RAT),))
    assert (said.focus_near_m, said.focus_far_m) == (metres, metres)


def test_olympus_step_grows_toward_near() -> None:
    said = olympus(focus=(LITTLE.words(0x0301, [5474]),))
    assert (said.focus_step, said.step_nearward) == (5474, True)
    said = olympus(focus=(LITTLE.words(0x0301, [0]),))
    assert (said.focus_step, said.step_nearward) == (None, None)


@pytest.mark.parametrize(
    ("infinity", "nearest", "nearward"),
    [(2000, 3808, True), (3808, 2000, False), (0, 0, True), (0, 900, True), (900, 0, True)],
)
def test_olympus_step_grows_from_infinity_to_the_nearest(
    infinity: int, nearest: int, nearward: bool
) -> None:
    """2000 and 3808: read from a real file of an E-M5 Mark III. Zeros: an E-M5 of 2012."""
    ends = LITTLE.words(0x0303, [infinity]), LITTLE.words(0x0304, [nearest])
    said = olympus(focus=(LITTLE.words(0x0301, [2323]), *ends))
    assert (said.focus_step, said.step_nearward) == (2323, nearward)


@pytest.mark.parametrize(
    ("drive", "bracketing", "mode", "shot"),
    [
        ([0, 0, 0, 0, 0], Bracketing.OFF, DriveMode.SINGLE, None),
        ([1, 1, 0, 0, 0], Bracketing.OFF, DriveMode.CONTINUOUS, 1),
        ([1, 2], Bracketing.OFF, DriveMode.CONTINUOUS, 2),
        ([5, 1, 1, 0, 0], Bracketing.EXPOSURE, None, 1),
        ([5, 3, 1 << 5, 0, 0], Bracketing.EXPOSURE, None, 3),
        ([5, 4, 1 << 6, 0, 4, 0x27], Bracketing.FOCUS, DriveMode.CONTINUOUS, 4),
        ([5, 1, 1 << 1, 0, 0], Bracketing.OTHER, None, 1),
        ([5, 1, 1 << 4, 0, 0], Bracketing.OTHER, None, 1),
        ([5, 1, 1 << 3, 0, 0], None, None, 1),
        ([2, 1], Bracketing.EXPOSURE, None, 1),
        ([0, 0, 0, 0, 4, 0x21], Bracketing.OFF, DriveMode.SINGLE, None),
        ([0, 0, 0, 0, 4, 0x24], Bracketing.OFF, DriveMode.TIMER, None),
        ([0, 0, 0, 0, 1, 0x14], Bracketing.OFF, DriveMode.TIMER, None),
        ([1, 7, 0, 0, 4, 0x28], Bracketing.OFF, DriveMode.CONTINUOUS, 7),
        ([1, 7, 0, 0, 4, 0x41], Bracketing.OFF, DriveMode.CONTINUOUS, 7),
        ([0, 0, 0, 0, 4, 0x30], Bracketing.OFF, DriveMode.SINGLE, None),
    ],
)
def test_olympus_drive(
    drive: list[int], bracketing: Bracketing | None, mode: DriveMode | None, shot: int | None
) -> None:
    said = olympus(camera=(LITTLE.words(0x0600, drive),))
    assert (said.bracketing, said.drive_mode, said.shot_number) == (bracketing, mode, shot)


@pytest.mark.parametrize(
    ("mode", "expected"),
    [
        ([10, 81], FocusMode.MANUAL),
        ([2, 68], FocusMode.AUTO),
        ([0, 65], FocusMode.AUTO),
        ([10], FocusMode.MANUAL),
        ([99, 16], FocusMode.MANUAL),
        ([99, 1], None),
    ],
)
def test_olympus_focus_mode(mode: list[int], expected: FocusMode | None) -> None:
    assert olympus(camera=(LITTLE.words(0x0301, mode),)).focus_mode == expected


@pytest.mark.parametrize(
    ("kind", "frames", "expected"),
    [
        (9, 8, ("focus", 8)),
        (6, 2, ("exposure", 2)),
        (11, 12, ("other", 12)),
        (0, 0, ("", None)),
        (77, 3, ("", None)),
    ],
)
def test_olympus_merged(kind: int, frames: int, expected: tuple[str, int | None]) -> None:
    said = olympus(camera=(LITTLE.numbers(0x0804, U32, kind, frames),))
    assert (said.merged, said.merged_from) == expected


@pytest.mark.parametrize(
    ("kind", "kept"), [(1, False), (8, False), (11, False), (9, None), (6, None), (0, None)]
)
def test_olympus_keeps_no_sources_of_what_it_makes_at_once(kind: int, kept: bool | None) -> None:
    """Composites and high resolution; the sources of a focus stack lie beside it."""
    said = olympus(camera=(LITTLE.numbers(0x0804, U32, kind, 8),))
    assert said.sources_kept is kept


def test_olympus_first_bodies_keep_directories_in_the_place_of_values() -> None:
    camera = LITTLE.placed(0x2020, lambda at: directory("<", [LITTLE.words(0x0600, [1, 2])], at))
    said = placed_note("OLYMPUS CORPORATION", b"OLYMP\0\1\0", camera)
    assert (said.drive_mode, said.shot_number) == (DriveMode.CONTINUOUS, 2)


def test_olympus_real_bracket_of_an_e_m5_mark_iii() -> None:
    """Read from a real file of this body: fast sequence, exposure bracket, shot 1."""
    said = olympus(
        camera=(LITTLE.words(0x0600, [5, 1, 1, 0, 0]), LITTLE.words(0x0301, [2, 68])),
        focus=(LITTLE.words(0x0301, [2323]), LITTLE.ratios(0x0305, (705, 10), kind=RAT)),
        special=(2, 1, 0),
    )
    assert (said.bracketing, said.shot_number) == (Bracketing.EXPOSURE, 1)
    assert (said.drive_mode, said.focus_mode) == (DriveMode.CONTINUOUS, FocusMode.AUTO)
    assert (said.focus_step, said.focus_far_m) == (2323, 0.705)


def test_olympus_bodies_without_camera_settings_count_a_fast_sequence() -> None:
    def said(*mode: int) -> tuple[DriveMode | None, int | None]:
        facts = own_note("OLYMPUS", OLYMPUS, LITTLE.numbers(0x0200, U32, *mode))
        return facts.drive_mode, facts.shot_number

    assert said(2, 4, 0) == (DriveMode.CONTINUOUS, 4)
    assert said(0, 0, 0) == (None, None)
    assert said(3, 2, 1) == (None, None)
    assert said(2) == (None, None)


def test_olympus_first_words_say_nothing_where_the_camera_settings_are_there_but_cut() -> None:
    pointer = LITTLE.numbers(0x2020, 13, 60_000)
    said = own_note("OLYMPUS", OLYMPUS, LITTLE.numbers(0x0200, U32, 2, 4, 0), pointer)
    assert (said.drive_mode, said.shot_number) == (None, None)


@pytest.mark.parametrize("drive", [[], [5], [5, 2]])
def test_olympus_short_drive_arrays(drive: list[int]) -> None:
    said = olympus(camera=(LITTLE.words(0x0600, drive),))
    assert (said.bracketing, said.drive_mode) == (None, None)
    assert said.shot_number == (2 if len(drive) > 1 else None)


@pytest.mark.parametrize(
    ("mode", "merged", "count"),
    [((1, 0), "other", None), ((2, 1), "other", 2), ((3, 1), "other", 3), ((0, 0), "", None)],
)
def test_olympus_multiple_exposure(mode: tuple[int, ...], merged: str, count: int | None) -> None:
    said = olympus(processing=(LITTLE.words(0x101C, list(mode)),))
    assert (said.merged, said.merged_from) == (merged, count)


def test_olympus_merged_focus_stack_is_not_taken_for_a_multiple_exposure() -> None:
    stack = LITTLE.numbers(0x0804, U32, 9, 8)
    said = olympus(camera=(stack,), processing=(LITTLE.words(0x101C, [2, 1]),))
    assert (said.merged, said.merged_from) == ("focus", 8)


def test_olympus_step_size_of_a_focus_bracket_is_a_menu() -> None:
    said = olympus(camera=(LITTLE.raw(0x0308, b"\5", kind=1), LITTLE.words(0x0600, [0, 0, 0])))
    assert said.bracketing is Bracketing.OFF


@pytest.mark.parametrize(
    ("on_shoe", "own", "fired"), [(1, 0, True), (0, 1, True), (0, 0, False), (7, 0, None)]
)
def test_olympus_flash_that_exif_leaves_out(on_shoe: int, own: int, fired: bool | None) -> None:
    entries = LITTLE.words(0x1201, [on_shoe]), LITTLE.words(0x1208, [own])
    assert olympus(focus=entries).flash_fired is fired
    assert olympus(focus=entries[:1]).flash_fired is None


@pytest.mark.parametrize(
    ("code", "lens"), [(b"\0\0\5\0\0\0", "lens 0-5-0"), (b"\0" * 6, ""), (b"\0\0", "")]
)
def test_olympus_lens_by_its_code_where_no_name_is_written(code: bytes, lens: str) -> None:
    """0-5-0: read from a real file of an E-1."""
    assert olympus(equipment=(LITTLE.raw(0x0201, code, kind=1),)).lens == lens


def test_olympus_first_bodies_keep_focus_in_the_note_itself() -> None:
    entries = LITTLE.words(0x100B, [1]), LITTLE.words(0x100E, [812])
    said = placed_note("OLYMPUS OPTICAL", b"OLYMP\0\1\0", *entries)
    assert (said.focus_mode, said.focus_step) == (FocusMode.MANUAL, 812)


@pytest.mark.parametrize(
    ("mode", "follows"), [([2, 68], True), ([0, 65], False), ([10, 81], None), ([1], None)]
)
def test_olympus_autofocus_that_goes_on(mode: list[int], follows: bool | None) -> None:
    assert olympus(camera=(LITTLE.words(0x0301, mode),)).focus_follows is follows
