"""Grounds and notes in plain words."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from grouping.series import BRACKET, BURST, HAND, TRY, account, climbing, even, run, start
from sorter.grouping.account import account_for
from sorter.grouping.words import focus_at, metres, seconds
from sorter.model.frame import Facts, Reading
from sorter.model.kinds import DriveMode
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
    run(made, even(0, 0.2, 20), climbing(0.3, 0.01, 20), planned=20, **BRACKET)
    run(made, even(2.1, 0.2, 20), climbing(0.3, 0.01, 20), planned=20, **BRACKET)
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
    run(made, [0], [0.5], **TRY)
    run(made, even(20, 0.1, 8), [0.5] * 8, **(BURST | {"f_number": 8.0}))
    begins = account(made).sequences[1].grounds.begins
    assert "another f-number" in begins
    assert begins.endswith("20 s after the frame before")


def test_a_small_margin_is_said_aloud() -> None:
    made = start()
    # Three frames by hand at one pace, focus untold: three tries, or a short stack.
    run(made, [0, 11.0, 12.0], None, **HAND)
    found = account(made).sequences
    said = [note for sequence in found for note in sequence.notes]
    assert "unsure: may be one manual-stack with what is before it" in said


def test_a_clear_case_is_not_called_unsure() -> None:
    made = start()
    run(made, [0, 40.0, 70.0], [0.3, 0.9, 0.5], **TRY)
    assert [note for s in account(made).sequences for note in s.notes] == []


def test_missing_files_are_named() -> None:
    made = start()
    run(made, even(0, 0.1, 6), [0.5] * 6, **BURST)
    made.number += 2
    run(made, even(0.1, 0.1, 6), [0.5] * 6, **BURST)
    (only,) = account(made).sequences
    assert only.notes[0] == "files 0007 to 0008 missing"


def test_missing_files_are_counted_over_9999() -> None:
    made = start()
    made.number = 9990
    run(made, even(0, 0.1, 9), [0.5] * 9, **BURST)
    made.number, made.directory = 3, 101
    run(made, even(0.1, 0.1, 6), [0.5] * 6, **BURST)
    (only,) = account(made).sequences
    assert only.notes[0] == "files 9999 to 0002 missing"


def test_numbers_of_one_exposure_are_not_missing() -> None:
    made = start()
    drive = {**BURST, "drive_mode": DriveMode.SINGLE}
    run(made, even(0, 0.1, 18), [0.5] * 18, **drive)
    # Every third press is stamped like the two behind it: one exposure under three numbers.
    moments = [made.frames[i - i % 3].moment for i in range(18)]
    frames = tuple(
        replace(frame, facts=replace(frame.facts, moment=moment))
        for frame, moment in zip(made.frames, moments, strict=True)
    )
    (only,) = account_for(Reading(frames=frames)).sequences
    assert [len(frame.files) for frame in only.frames] == [3] * 6
    assert not [note for note in only.notes if "missing" in note]
