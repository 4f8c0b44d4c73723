"""How a sequence stands to its neighbours, each case beside its near twin (common practice, no source).

Half of these only a picture can tell: that the scene is the same one. What is held here is the half
that times, settings and focus tell.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from fieldcases.cards import CANON, MAKERS, OM, PANASONIC, Body, Card, noted, numbers, related, told

makers = pytest.mark.parametrize("body", MAKERS, ids=lambda body: body.name)
telling = pytest.mark.parametrize("body", [CANON, OM], ids=lambda body: body.name)

# new words: all relations but "goes on from" are worded otherwise today, or not there yet


# ---- retakes ---------------------------------------------------------------------------------


@telling
def test_a_bracket_from_the_wrong_end_is_shot_again(body: Body, tmp_path: Path) -> None:
    card = (
        Card(body).bracket(20, start=0.42, step=0.003).bracket(60, start=0.30, step=0.003, after=9)
    )
    account = card.account(tmp_path)
    assert told(account) == ["focus-bracket 20", "focus-bracket 60"]
    assert related(account) == ["2 retake of sequence 1"]


def test_a_bracket_that_was_stopped_is_shot_again(tmp_path: Path) -> None:
    card = Card(CANON).bracket(11, planned=48).bracket(48, after=7)
    account = card.account(tmp_path)
    assert told(account) == ["focus-bracket 11", "focus-bracket 48"]
    assert noted(account.sequences[0]) == ["11 of 48, stopped"]
    assert related(account) == ["2 retake of sequence 1"]


def test_a_bracket_with_too_few_frames_is_shot_again_with_more(tmp_path: Path) -> None:
    """A body that tells no plan: the second begins where the first did and goes farther."""
    account = Card(OM).bracket(10).bracket(40, after=12).account(tmp_path)
    assert told(account) == ["focus-bracket 10", "focus-bracket 40"]
    assert related(account) == ["2 retake of sequence 1"]


@telling
def test_a_second_attempt_from_the_same_start_is_one_though_it_was_stopped(
    body: Body, tmp_path: Path
) -> None:
    """Which of two attempts is worth merging is another question."""
    account = Card(body).bracket(40).bracket(9, planned=40, after=7).account(tmp_path)
    assert told(account) == ["focus-bracket 40", "focus-bracket 9"]
    assert related(account) == ["2 retake of sequence 1"]


TWINS = {
    "elsewhere": {"start": 0.80, "after": 9.0},
    "minutes-later": {"start": 0.30, "after": 240.0},
    "another-f-number": {"start": 0.30, "after": 9.0, "f_number": 11.0},
    "another-lens": {"start": 0.30, "after": 9.0, "lens": "24mm F1.8 Close Focus", "focal_mm": 24},
}


@telling
@pytest.mark.parametrize("twin", TWINS.values(), ids=TWINS)
def test_a_longer_bracket_of_another_subject_is_no_retake(
    body: Body, twin: dict[str, float], tmp_path: Path
) -> None:
    card = Card(body).bracket(20, start=0.42, step=0.003).bracket(60, step=0.003, **twin)  # type: ignore[arg-type]
    account = card.account(tmp_path)
    assert told(account) == ["focus-bracket 20", "focus-bracket 60"]
    assert related(account) == []


# ---- repeats ---------------------------------------------------------------------------------


@telling
def test_the_same_bracket_once_more_is_an_identical_repeat(body: Body, tmp_path: Path) -> None:
    account = Card(body).bracket(30).bracket(30, after=3).bracket(30, after=4).account(tmp_path)
    assert told(account) == ["focus-bracket 30"] * 3
    repeats = [said for said in related(account) if "identical repeat" in said]
    assert repeats[0] == "2 identical repeat of sequence 1"
    assert repeats[1] in {"3 identical repeat of sequence 1", "3 identical repeat of sequence 2"}


@telling
@pytest.mark.parametrize(
    "other",
    [{"exposure": Fraction(1, 40)}, {"f_number": 11.0}, {"start": 0.34}, {"step": 0.009}],
    ids=["exposure", "f-number", "start", "span"],
)
def test_a_bracket_that_differs_is_no_identical_repeat(
    body: Body, other: dict[str, float], tmp_path: Path
) -> None:
    account = Card(body).bracket(30).bracket(30, after=3, **other).account(tmp_path)  # type: ignore[arg-type]
    assert told(account) == ["focus-bracket 30"] * 2
    assert not any("identical" in said for said in related(account))


# ---- going on --------------------------------------------------------------------------------


@telling
def test_a_bracket_goes_on_where_the_lens_had_stopped(body: Body, tmp_path: Path) -> None:
    card = Card(body).bracket(25).bracket(25, start=0.40, after=4)
    account = card.account(tmp_path)
    assert told(account) == ["focus-bracket 25"] * 2
    assert related(account) == ["2 goes on from sequence 1"]


@telling
def test_a_bracket_that_begins_elsewhere_does_not_go_on(body: Body, tmp_path: Path) -> None:
    card = Card(body).bracket(25).bracket(25, start=0.60, after=4)
    account = card.account(tmp_path)
    assert told(account) == ["focus-bracket 25"] * 2
    assert related(account) == []


def test_offsets_from_the_start_do_not_tell_that_a_bracket_goes_on(tmp_path: Path) -> None:
    """They begin at 0 wherever the lens stood."""
    account = Card(PANASONIC).bracket(25).bracket(40, start=0.40, after=4).account(tmp_path)
    assert told(account) == ["focus-bracket 25", "focus-bracket 40"]
    assert not any("goes on" in said for said in related(account))


# ---- one set-up ------------------------------------------------------------------------------


@makers
def test_a_frame_for_a_splash_belongs_to_the_stack_behind_it(body: Body, tmp_path: Path) -> None:
    account = Card(body).single(0, 0.33).bracket(25, after=12).account(tmp_path)
    assert told(account) == ["single 1", "focus-bracket 25"]
    assert set(related(account)) & {"1 same set-up as sequence 2", "2 same set-up as sequence 1"}


@makers
def test_a_frame_for_a_splash_belongs_to_the_stack_before_it(body: Body, tmp_path: Path) -> None:
    account = Card(body).bracket(25).single(15, 0.33).account(tmp_path)
    assert told(account) == ["focus-bracket 25", "single 1"]
    assert "2 same set-up as sequence 1" in related(account)


@makers
def test_a_burst_for_a_splash_belongs_to_the_stack_before_it(body: Body, tmp_path: Path) -> None:
    account = Card(body).bracket(25).burst(12, at=0.33, after=15).account(tmp_path)
    assert told(account) == ["focus-bracket 25", "burst 12"]
    assert "2 same set-up as sequence 1" in related(account)


OTHER_SHOTS = {
    "another-f-number": {"f_number": 2.8},
    "another-exposure": {"exposure": Fraction(1, 1000)},
    "another-focal-length": {"focal_mm": 24, "lens": "24mm F1.8 Close Focus"},
    "flash": {"flash": "fired"},
}


@makers
@pytest.mark.parametrize("other", OTHER_SHOTS.values(), ids=OTHER_SHOTS)
def test_a_frame_of_other_settings_is_of_another_set_up(
    body: Body, other: dict[str, object], tmp_path: Path
) -> None:
    account = Card(body).bracket(25).single(15, 0.33, **other).account(tmp_path)
    assert told(account) == ["focus-bracket 25", "single 1"]
    assert related(account) == []


@makers
def test_a_frame_minutes_later_is_of_another_set_up(body: Body, tmp_path: Path) -> None:
    account = Card(body).bracket(25).single(300, 0.33).account(tmp_path)
    assert told(account) == ["focus-bracket 25", "single 1"]
    assert related(account) == []


@telling
def test_a_frame_focused_far_outside_the_stack_is_of_another_set_up(
    body: Body, tmp_path: Path
) -> None:
    account = Card(body).bracket(25).single(15, 1.60).account(tmp_path)
    assert told(account) == ["focus-bracket 25", "single 1"]
    assert related(account) == []


def test_a_picture_merged_later_is_the_result_of_its_bracket(tmp_path: Path) -> None:
    """Merged at home out of the menu, behind another frame; it says out of how many."""
    card = Card(OM).bracket(8, files=("ORF", "JPG")).single(25, 0.9, f_number=11.0)
    card.press(30, 0.30, bracket="focus", merged_frames=8, drive="continuous")
    account = card.account(tmp_path)
    assert numbers(account.order) == [f"{number:04d}" for number in range(101, 111)]
    assert told(account) == ["focus-bracket 8", "single 1", "single 1"]
    assert related(account) == ["3 result of sequence 1"]
