"""Apple's notes to facts.

Numbers are values of real frames as published in general-purpose metadata libraries' tag tables,
or read from a real file of the body that is named, put into synthetic notes.
"""

from __future__ import annotations

import math
import plistlib

import pytest

from cardmaking.tiff import S32, SRAT, Entry, Writer, directory
from reading.builders import with_note
from sorter.model.frame import Facts
from sorter.model.kinds import DriveMode, FocusMode

BIG = Writer(">")
HEAD = b"Apple iOS\0\0\1MM"


def apple(*entries: Entry) -> Facts:
    return with_note("Apple", HEAD + directory(">", entries, len(HEAD)))


def test_apple_burst_by_its_name() -> None:
    name = "6D2D2AB0-6A6B-4C0E-9AC0-0C8E2D8B8F7B"
    said = apple(BIG.text(0x000B, name))
    assert (said.burst_id, said.drive_mode) == (name, DriveMode.CONTINUOUS)
    assert apple(BIG.numbers(0x0014, S32, 10)).burst_id == ""


@pytest.mark.parametrize(("kind", "expected"), [(11, FocusMode.MANUAL), (10, None), (12, None)])
def test_apple_focus_by_hand(kind: int, expected: FocusMode | None) -> None:
    assert apple(BIG.numbers(0x0014, S32, kind)).focus_mode == expected


@pytest.mark.parametrize("swapped", [False, True])
def test_apple_limits_of_focus_in_any_order(swapped: bool) -> None:
    """Read from a real file of an iPhone 12 Pro, with its motor's position."""
    limits = [(67, 256), (97, 256)]
    ratios = BIG.ratios(0x000C, *(limits[::-1] if swapped else limits), kind=SRAT)
    said = apple(ratios, BIG.numbers(0x002F, S32, 55))
    assert (said.focus_near_m, said.focus_far_m) == (67 / 256, 97 / 256)
    assert said.focus_step is None


@pytest.mark.parametrize("swapped", [False, True])
def test_apple_range_without_an_end_reaches_infinity(swapped: bool) -> None:
    """Read from a real file of an iPhone XR, whose farther limit is 1765 km."""
    limits = [(1765297588, 1000), (25288, 10000)]
    ratios = BIG.ratios(0x000C, *(limits[::-1] if swapped else limits), kind=SRAT)
    said = apple(ratios, BIG.numbers(0x002F, S32, 55))
    assert (said.focus_near_m, said.focus_far_m) == (2.5288, math.inf)
    near = apple(BIG.ratios(0x000C, (999_999, 1), (3, 2), kind=SRAT))
    assert (near.focus_near_m, near.focus_far_m) == (1.5, 999_999)


def test_apple_motor_position_stands_in_for_the_limits() -> None:
    position = BIG.numbers(0x002F, S32, 177)
    said = apple(position)
    assert (said.focus_step, said.step_nearward) == (177, None)
    bad = BIG.ratios(0x000C, (1, 0), (1, 2), kind=SRAT)
    assert apple(bad, position).focus_step == 177
    assert apple(BIG.ratios(0x000C, (1, 2), kind=SRAT)).focus_near_m is None


def run_time(**fields: object) -> Entry:
    listed = plistlib.dumps(fields, fmt=plistlib.FMT_BINARY)
    return BIG.raw(0x0003, listed)


def test_apple_time_since_the_last_start() -> None:
    """Read from a real file of an iPhone 7."""
    entry = run_time(value=39772089846958, timescale=1000000000, epoch=0, flags=1)
    assert apple(entry).since_power_on_cs == 3977208


@pytest.mark.parametrize(
    "entry",
    [
        run_time(value=39772089846958),
        run_time(value=39772089846958, timescale=0),
        run_time(value="1", timescale="2"),
        BIG.raw(0x0003, plistlib.dumps([1, 2], fmt=plistlib.FMT_BINARY)),
        BIG.raw(0x0003, b"bplist00" + b"\xff" * 40),
        BIG.raw(0x0003, b"bplist00"),
        BIG.raw(0x0003, b"something else"),
    ],
)
def test_apple_lists_that_tell_no_time(entry: Entry) -> None:
    assert apple(entry).since_power_on_cs is None


def test_apple_dynamic_range_sets_no_picture_apart() -> None:
    assert apple(BIG.numbers(0x000A, S32, 3)).merged == ""
