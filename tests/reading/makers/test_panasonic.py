"""Panasonic's notes, and those of Leica's twins, to facts.

Numbers are values of real frames as published in general-purpose metadata libraries' tag tables,
or read from a real file of the body that is named, put into synthetic notes.
"""

from __future__ import annotations

import pytest

from cardmaking.tiff import U8, U32, Entry, directory, tiff
from reading.builders import EXIF_POINTER, LITTLE, TIME, builder, exif_tiff, jpeg, placed_note
from sorter.model.frame import Facts
from sorter.model.kinds import Bracketing, DriveMode


def panasonic(*entries: Entry) -> Facts:
    return placed_note("Panasonic", b"Panasonic\0\0\0", *entries)


@pytest.mark.parametrize(
    ("burst", "bracketing", "drive"),
    [
        (0, Bracketing.OFF, DriveMode.SINGLE),
        (1, Bracketing.OFF, DriveMode.CONTINUOUS),
        (4, Bracketing.OFF, DriveMode.CONTINUOUS),
        (17, Bracketing.OFF, DriveMode.CONTINUOUS),
        (2, Bracketing.EXPOSURE, None),
        (3, Bracketing.FOCUS, None),
        (8, Bracketing.OTHER, None),
        (18, Bracketing.OTHER, None),
        (77, None, None),
    ],
)
def test_panasonic_burst(
    burst: int, bracketing: Bracketing | None, drive: DriveMode | None
) -> None:
    said = panasonic(LITTLE.words(0x002A, [burst]))
    assert (said.bracketing, said.drive_mode) == (bracketing, drive)


def test_panasonic_says_nothing_of_bracketing_where_the_tag_is_missing() -> None:
    assert panasonic(LITTLE.words(0x0007, [1])).bracketing is None


@pytest.mark.parametrize(("stored", "step"), [(0, 0), (3, 3), (0xFFFD, -3)])
def test_panasonic_focus_bracket_steps_grow_toward_far(stored: int, step: int) -> None:
    said = panasonic(LITTLE.words(0x002A, [3]), LITTLE.words(0x00BD, [stored]))
    assert (said.focus_step, said.step_nearward) == (step, False)


def test_panasonic_focus_bracket_by_timer_recording_or_offset_alone() -> None:
    assert panasonic(LITTLE.numbers(0x0096, U8, 3)).bracketing is Bracketing.FOCUS
    off = LITTLE.words(0x002A, [0])
    assert panasonic(off, LITTLE.words(0x00BD, [2])).bracketing is Bracketing.FOCUS
    said = panasonic(off, LITTLE.words(0x00BD, [0]))
    assert (said.bracketing, said.focus_step) == (Bracketing.OFF, None)


def test_panasonic_hundredths_of_a_second_since_power_on_are_no_counter() -> None:
    """633.08 s: read from a real file of a DMC-LX3."""
    said = panasonic(LITTLE.numbers(0x0029, U32, 63308))
    assert (said.since_power_on_cs, said.counter) == (63308, None)


@pytest.mark.parametrize(("mode", "expected"), [(2, "manual"), (1, "auto"), (6, "auto"), (9, None)])
def test_panasonic_focus_mode(mode: int, expected: str | None) -> None:
    assert panasonic(LITTLE.words(0x0007, [mode])).focus_mode == expected


def test_panasonic_timer_and_number() -> None:
    timer = panasonic(LITTLE.words(0x002A, [0]), LITTLE.words(0x002E, [3]))
    assert timer.drive_mode is DriveMode.TIMER
    number = LITTLE.numbers(0x002B, U32, 5)
    assert panasonic(LITTLE.words(0x002A, [1]), number).shot_number == 5


@pytest.mark.parametrize("head", [b"LEICA\0\0\0", b"LEICA CAMERA AG\0\0\0"])
def test_leica_twins_are_read_like_panasonic(head: bytes) -> None:
    said = placed_note("LEICA", head, LITTLE.words(0x002A, [1]), LITTLE.numbers(0x2B, U32, 2))
    assert (said.drive_mode, said.shot_number) == (DriveMode.CONTINUOUS, 2)


def test_panasonic_raw_shell_tells_the_step() -> None:
    inner = tiff("<", [[LITTLE.words(0x1100, [40]), LITTLE.words(0x1101, [812])]])
    outer = [
        LITTLE.text(0x010F, "Panasonic"),
        LITTLE.raw(0x0120, inner.ljust(64, b"\0")),
        LITTLE.below(EXIF_POINTER, [TIME]),
    ]
    found = builder(tiff("<", [outer], magic=0x55), "P1000001.RW2")
    assert (found.container, found.built().focus_step) == ("rw2", 812)
    assert found.built().step_nearward is None


@pytest.mark.parametrize("ticks", [0, 0xFFFFFFFF])
def test_panasonic_time_that_is_none(ticks: int) -> None:
    assert panasonic(LITTLE.numbers(0x0029, U32, ticks)).since_power_on_cs is None


@pytest.mark.parametrize(("pattern", "planned"), [(1, 3), (4, 5), (6, 7), (0, None), (9, None)])
def test_panasonic_exposure_bracket_is_planned_by_its_pattern(
    pattern: int, planned: int | None
) -> None:
    entry = LITTLE.words(0x0045, [pattern])
    assert panasonic(LITTLE.words(0x002A, [2]), entry).planned == planned
    assert panasonic(LITTLE.words(0x002A, [1]), entry).planned is None


@pytest.mark.parametrize("code", [2, 3, 4, 258, 266, 778])
def test_panasonic_self_timers(code: int) -> None:
    said = panasonic(LITTLE.words(0x002A, [0]), LITTLE.words(0x002E, [code]))
    assert said.drive_mode is DriveMode.TIMER


def test_panasonic_record_of_a_time_lapse_is_no_burst() -> None:
    record = bytes.fromhex("2026051713020300") + b"\0" * 8 + (7).to_bytes(4, "little")
    said = panasonic(LITTLE.words(0x002A, [0]), LITTLE.raw(0x2003, record))
    assert (said.shot_number, said.burst_id) == (None, "")


def test_panasonic_frames_before_the_release() -> None:
    before = LITTLE.words(0x00C1, [1])
    assert panasonic(before).drive_mode is DriveMode.CONTINUOUS
    assert panasonic(LITTLE.words(0x002A, [0]), before).drive_mode is DriveMode.SINGLE


@pytest.mark.parametrize(("code", "fired"), [(1, False), (2, True), (7, None)])
def test_panasonic_flash_that_exif_leaves_out(code: int, fired: bool | None) -> None:
    assert panasonic(LITTLE.words(0x8007, [code])).flash_fired is fired


@pytest.mark.parametrize(
    ("entries", "merged", "count"),
    [
        ((LITTLE.numbers(0x00BF, U32, 3, 9),), "focus", None),
        ((LITTLE.numbers(0x00BF, U32, 0, 0),), "", None),
        ((LITTLE.words(0x009E, [100]), LITTLE.words(0x0076, [3])), "exposure", 3),
        ((LITTLE.words(0x009E, [0]), LITTLE.words(0x0076, [0])), "", None),
        ((LITTLE.words(0x0076, [8]),), "other", 8),
        ((LITTLE.words(0x00B4, [2]),), "other", None),
        ((LITTLE.words(0x00B4, [1]),), "", None),
    ],
)
def test_panasonic_merged(entries: tuple[Entry, ...], merged: str, count: int | None) -> None:
    said = panasonic(*entries)
    assert (said.merged, said.merged_from) == (merged, count)


@pytest.mark.parametrize("name", ["----", "", "N/A"])
def test_panasonic_lens_that_is_none(name: str) -> None:
    assert panasonic(LITTLE.text(0x0051, name)).lens == ""


def test_panasonic_texts() -> None:
    """Read from a real file of a DMC-FT4."""
    said = panasonic(LITTLE.raw(0x0025, b"F651203260376\0\0\0"), LITTLE.text(0x0051, "12-60mm"))
    assert (said.serial, said.lens) == ("F651203260376", "12-60mm")


@pytest.mark.parametrize(("code", "merged"), [(65536, "other"), (0, "")])
def test_panasonic_raw_of_shifted_shots_says_so_outside(code: int, merged: str) -> None:
    outer = [
        LITTLE.text(0x010F, "Panasonic"),
        LITTLE.numbers(0x0121, U32, code),
        LITTLE.below(EXIF_POINTER, [TIME]),
    ]
    found = builder(tiff("<", [outer], magic=0x55), "P1000001.RW2")
    assert found.built().merged == merged


def test_panasonic_offsets_of_one_body_count_from_behind_the_header() -> None:
    """The DC-FT7's offsets are twelve too small."""

    def note(at: int) -> bytes:
        return b"Panasonic\0\0\0" + directory("<", [LITTLE.text(0x0051, "a long name")], at)

    main = [LITTLE.text(0x010F, "Panasonic")]
    block = exif_tiff(main, [TIME, LITTLE.placed(0x927C, note)])
    assert builder(jpeg(block)).built().lens == "a long name"


@pytest.mark.parametrize(
    ("mode", "follows"), [(5, True), (7, True), (8, True), (6, False), (1, None), (2, None)]
)
def test_panasonic_autofocus_that_goes_on(mode: int, follows: bool | None) -> None:
    assert panasonic(LITTLE.words(0x0007, [mode])).focus_follows is follows
