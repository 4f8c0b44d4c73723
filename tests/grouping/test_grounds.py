"""Grounds and notes in plain words."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from grouping.series import BRACKET, BURST, HAND, TRY, account, candidate, climbing, even, start
from sorter.grouping.account import account_for
from sorter.grouping.reasons import focus_at, metres, seconds
from sorter.model.frame import Facts, Reading
from sorter.model.kinds import DriveMode, Kind
from sorter.model.sequence import BEYOND_DOUBT


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.214, "0.21 s"), (2.13, "2.1 s"), (14.2, "14 s"), (180, "3 min"), (7200, "2 h")],
)
def test_pauses_are_said_as_people_say_them(value: float, text: str) -> None:
    assert seconds(value) == text


@pytest.mark.parametrize(
    ("value", "text"), [(0.412, "0.41 m"), (0.0815, "0.082 m"), (math.inf, "infinity")]
)
def test_distances_are_in_metres(value: float, text: str) -> None:
    assert metres(value) == text


def test_focus_is_a_step_a_distance_or_untold() -> None:
    assert focus_at(Facts(focus_step=3900)) == "step 3900"
    assert focus_at(Facts(focus_near_m=0.4, focus_far_m=0.42)) == "0.41 m"
    assert focus_at(Facts()) == ""


def test_grounds_give_the_figures() -> None:
    made = start()
    candidate(made, even(0, 0.2, 20), climbing(0.3, 0.01, 20), planned=20, **BRACKET)
    candidate(made, even(2.1, 0.2, 20), climbing(0.3, 0.01, 20), planned=20, **BRACKET)
    first, second = account(made).sequences
    assert first.grounds.begins == "first frame of this body"
    assert second.grounds.begins == (
        "the 20 planned frames before were done, focus fell back from 0.36 m to 0.30 m, "
        "2.1 s after the frame before (usual there: 0.20 s)"
    )
    assert second.grounds.kind == (
        "20 frames: the camera says focus bracketing, focus goes one way, farther, 0.30 m to "
        "0.36 m, 0.20 s from frame to frame, same lens and settings"
    )
    assert second.grounds.runner_up is not None
    assert 3 < second.grounds.margin <= BEYOND_DOUBT
    assert 3 < second.grounds.begins_margin <= BEYOND_DOUBT


def test_an_exposure_bracket_names_its_exposures() -> None:
    made = start()
    for ev in (0.0, -1.0, 1.0):
        made.press(0.2, exposure_time_s=2**ev / 60, exposure_bias_ev=ev, auto_bracket=True)
    (only,) = account(made).sequences
    assert "exposures +0.0 -1.0 +1.0 EV" in only.grounds.kind


def test_a_change_of_settings_is_named_at_the_boundary() -> None:
    made = start()
    candidate(made, [0], [0.5], **TRY)
    candidate(made, even(20, 0.1, 8), [0.5] * 8, **(BURST | {"f_number": 8.0}))
    begins = account(made).sequences[1].grounds.begins
    assert "another f-number" in begins
    assert begins.endswith("20 s after the frame before")


def test_a_small_margin_is_said_aloud() -> None:
    made = start()
    # Three frames by hand at one pace, focus untold: three tries, or a short stack.
    candidate(made, [0, 11.0, 12.0], None, **HAND)
    found = account(made).sequences
    said = [note for sequence in found for note in sequence.notes]
    assert "unsure: may be one manual-stack with what is before it" in said


def test_a_clear_case_is_not_called_unsure() -> None:
    made = start()
    candidate(made, [0, 40.0, 70.0], [0.3, 0.9, 0.5], **TRY)
    assert [note for s in account(made).sequences for note in s.notes] == []


def test_missing_files_are_named() -> None:
    made = start()
    candidate(made, even(0, 0.1, 6), [0.5] * 6, **BURST)
    made.number += 2
    candidate(made, even(0.1, 0.1, 6), [0.5] * 6, **BURST)
    (only,) = account(made).sequences
    assert only.notes[0] == "files 0007 to 0008 missing"


def test_missing_files_are_counted_over_9999() -> None:
    made = start()
    made.number = 9990
    candidate(made, even(0, 0.1, 9), [0.5] * 9, **BURST)
    made.number, made.directory = 3, 101
    candidate(made, even(0.1, 0.1, 6), [0.5] * 6, **BURST)
    (only,) = account(made).sequences
    assert only.notes[0] == "files 9999 to 0002 missing"


def test_numbers_of_one_exposure_are_not_missing() -> None:
    made = start()
    drive = {**BURST, "drive_mode": DriveMode.SINGLE}
    candidate(made, even(0, 0.1, 18), [0.5] * 18, **drive)
    # Every third press is stamped like the two behind it: one exposure under three numbers.
    moments = [made.frames[i - i % 3].moment for i in range(18)]
    frames = tuple(
        replace(frame, facts=replace(frame.facts, moment=moment))
        for frame, moment in zip(made.frames, moments, strict=True)
    )
    (only,) = account_for(Reading(frames=frames)).sequences
    assert [len(frame.files) for frame in only.frames] == [3] * 6
    assert not [note for note in only.notes if "missing" in note]


def test_one_missing_file_is_named_alone() -> None:
    made = start()
    candidate(made, even(0, 0.1, 6), [0.5] * 6, **BURST)
    made.number += 1
    candidate(made, even(0.1, 0.1, 6), [0.5] * 6, **BURST)
    assert account(made).sequences[0].notes[0] == "file 0007 missing"


def test_a_plan_tells_frames_that_are_missing_from_frames_never_taken() -> None:
    made = start()
    candidate(made, even(0, 0.25, 10), climbing(0.3, 0.005, 10), planned=30, **BRACKET)
    made.number += 2
    candidate(made, even(0.75, 0.25, 8), climbing(0.3 * 1.005**12, 0.005, 8), planned=30, **BRACKET)
    assert account(made).sequences[0].notes == ("18 of 30, 0011 to 0012 missing, stopped",)


def test_frames_missing_at_the_end_are_known_by_the_next_number() -> None:
    made = start()
    candidate(made, even(0, 0.25, 27), climbing(0.3, 0.005, 27), planned=30, **BRACKET)
    made.number += 3
    candidate(made, [40], [0.7], **TRY)
    assert account(made).sequences[0].notes == ("27 of 30, 0028 to 0030 missing",)


def test_a_number_that_does_not_bring_the_plan_out_is_no_missing_end() -> None:
    made = start()
    candidate(made, even(0, 0.25, 27), climbing(0.3, 0.005, 27), planned=30, **BRACKET)
    made.number += 4
    candidate(made, [40], [0.7], **TRY)
    assert account(made).sequences[0].notes == ("27 of 30, stopped",)


def test_frames_missing_at_the_beginning_are_known_by_the_shot_number() -> None:
    made = start()
    candidate(made, [0], [0.7], **TRY)
    made.number += 3
    for index in range(3, 12):
        made.press(30 if index == 3 else 0.3, shot_number=index + 1, **BRACKET)
    assert account(made).sequences[1].notes == ("files 0002 to 0004 missing",)


def test_a_count_of_shots_that_goes_on_says_that_nothing_is_missing() -> None:
    made = start()
    for index in range(12):
        made.number += 3 if index == 6 else 0
        candidate(made, [0.1], [0.5], counter=500 + index, **BURST)
    assert [n for n in account(made).sequences[0].notes if "missing" in n] == []


@pytest.mark.parametrize(
    ("kind", "note"),
    [
        (Kind.UNREADABLE, ("0007, unreadable, may belong here",)),
        (Kind.UNDATED, ("0007, undated, may belong here",)),
        (Kind.CLIP, ()),
    ],
)
def test_a_number_of_a_file_that_is_no_frame_is_not_missing(
    kind: Kind, note: tuple[str, ...]
) -> None:
    made = start()
    candidate(made, even(0, 0.1, 6), [0.5] * 6, **BURST)
    made.number += 1
    candidate(made, even(0.1, 0.1, 6), [0.5] * 6, **BURST)
    file = replace(made.frames[0].files[0].file, path="DCIM/100ROCKP/POOL0007.JPG")
    loose = ((kind, replace(made.frames[0].files[0], file=file, facts=Facts())),)
    found = account_for(replace(made.reading(), loose=loose)).sequences[0].notes
    assert tuple(n for n in found if "0007" in n) == note


def test_a_bracket_that_ran_to_infinity_was_not_stopped() -> None:
    made = start()
    places = [*climbing(2.0, 0.3, 8), math.inf]
    for index, place in enumerate(places):
        at = {"focus_near_m": place, "focus_far_m": place}
        made.press(0.3 if index else 0.0, planned=999, **BRACKET, **at)
    (only,) = account(made).sequences
    assert only.notes == ("9 of 999, focus reached infinity",)


def test_a_timer_with_a_flash_may_be_a_rail() -> None:
    made = start(flash_fired=True)
    candidate(made, even(0, 6.0 - 1 / 160, 20), [0.4] * 20, **TRY)
    (only,) = account(made).sequences
    assert (only.kind, only.notes) == (
        Kind.INTERVAL,
        ("may be a stack on a rail: a timer rarely fires a flash",),
    )
