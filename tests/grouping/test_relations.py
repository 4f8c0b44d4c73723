"""How sequences stand to each other, each beside its near twin (common practice, no source)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from grouping.series import (
    BRACKET,
    BURST,
    HAND,
    TRY,
    account,
    candidate,
    climbing,
    even,
    start,
    with_paths,
)  # fmt: skip
from grouping.shoots import BODIES, Shoot
from sorter.grouping.account import account_for
from sorter.model.frame import Reading
from sorter.model.kinds import Bracketing, Kind
from sorter.model.relation_kind import RelationKind
from sorter.model.sequence import Account


def bonds(found: Account) -> list[list[tuple[RelationKind, int]]]:
    """For each sequence what it is, and to which."""
    return [[(each.what, each.to) for each in s.relations] for s in found.sequences]


def brackets(*, first: list[float], second: list[float], pause: float = 6.0) -> Shoot:
    """Two focus brackets, each done as planned."""
    made = start()
    for before, distances in ((0.0, first), (pause, second)):
        count = len(distances)
        candidate(made, even(before, 0.3, count), distances, planned=count, **BRACKET)
    return made


GROUND = climbing(0.30, 0.01, 20)


def test_as_many_frames_over_the_same_focus_are_an_identical_repeat() -> None:
    assert bonds(account(brackets(first=GROUND, second=GROUND))) == [[], [(RelationKind.REPEAT, 0)]]


def test_a_repeat_at_another_exposure_is_none_but_a_pass_in_other_light() -> None:
    made = start()
    candidate(made, even(0, 0.3, 20), GROUND, planned=20, **BRACKET)
    candidate(made, even(6, 0.3, 20), GROUND, planned=20, exposure_time_s=1 / 40, **BRACKET)
    assert bonds(account(made)) == [[], [(RelationKind.OTHER_LIGHT, 0)]]


def test_as_many_frames_of_another_subject_are_nothing_to_the_first() -> None:
    made = brackets(first=GROUND, second=climbing(0.55, 0.01, 20))
    assert bonds(account(made)) == [[], []]


def test_a_repeat_minutes_later_is_none() -> None:
    assert bonds(account(brackets(first=GROUND, second=GROUND, pause=150))) == [[], []]


def test_more_frames_over_the_same_ground_are_a_retake() -> None:
    made = brackets(first=climbing(0.40, 0.01, 12), second=climbing(0.30, 0.01, 40))
    assert bonds(account(made)) == [[], [(RelationKind.RETAKE, 0)]]


def test_fewer_frames_from_elsewhere_over_the_same_ground_are_no_retake() -> None:
    made = brackets(first=climbing(0.30, 0.01, 40), second=climbing(0.40, 0.01, 12))
    assert bonds(account(made)) == [[], []]


def test_fewer_frames_from_the_same_start_are_a_retake() -> None:
    made = brackets(first=climbing(0.30, 0.01, 40), second=climbing(0.30, 0.02, 25))
    assert bonds(account(made)) == [[], [(RelationKind.RETAKE, 0)]]


def test_a_stopped_bracket_is_taken_again_though_with_fewer_frames() -> None:
    made = start()
    candidate(made, even(0, 0.3, 15), climbing(0.40, 0.01, 15), planned=60, **BRACKET)
    candidate(made, even(9, 0.3, 10), climbing(0.38, 0.01, 10), planned=10, **BRACKET)
    assert bonds(account(made)) == [[], [(RelationKind.RETAKE, 0)]]


def test_a_test_frame_between_two_attempts_does_not_part_them() -> None:
    made = start()
    candidate(made, even(0, 0.3, 12), climbing(0.40, 0.01, 12), planned=12, **BRACKET)
    candidate(made, [11], [0.7], **TRY)
    candidate(made, even(9, 0.3, 40), climbing(0.30, 0.01, 40), planned=40, **BRACKET)
    assert bonds(account(made))[2] == [(RelationKind.RETAKE, 0)]


def test_another_lens_takes_nothing_again() -> None:
    made = start()
    candidate(made, even(0, 0.3, 12), climbing(0.40, 0.01, 12), planned=12, **BRACKET)
    candidate(made, even(9, 0.3, 40), climbing(0.30, 0.01, 40), lens="60mm F2.8 Macro", **BRACKET)
    assert bonds(account(made)) == [[], []]


def test_a_series_goes_on_where_the_last_one_ended_and_not_where_it_turns_back() -> None:
    onward = climbing(0.30 * 1.01**20, 0.01, 20)
    assert bonds(account(brackets(first=GROUND, second=onward))) == [
        [],
        [(RelationKind.GOES_ON, 0)],
    ]
    back = [0.30 * 1.01**19 / 1.01**index for index in range(20)]
    assert bonds(account(brackets(first=GROUND, second=back)))[1] != [(RelationKind.GOES_ON, 0)]


def test_steps_counted_from_each_start_do_not_say_that_two_begin_alike() -> None:
    made = replace(start(), body=BODIES["counter"])
    for first, count in ((0.0, 30), (40.0, 12)):
        for index in range(count):
            made.press(
                0.3 if index else first, focus_step=index, step_nearward=False,
                shot_number=index + 1, **BRACKET,
            )  # fmt: skip
    assert bonds(account(made)) == [[], []]


def test_the_same_exposures_once_more_are_an_identical_repeat() -> None:
    made = start()
    for order in ((0, -1, 1), (0, -1, 1), (0, -2, 2)):
        for index, ev in enumerate(order):
            told = {"exposure_time_s": 2**ev / 60, "exposure_bias_ev": float(ev)}
            made.press(0.3 if index else 5.0, bracketing=Bracketing.EXPOSURE, **told)
    assert bonds(account(made)) == [[], [(RelationKind.REPEAT, 0)], []]


STACK = climbing(0.33, 0.02, 8)
HAND_PAUSES = [9.0, 3.1, 2.4, 5.8, 4.0, 2.9, 6.5, 3.3]


@pytest.mark.parametrize("before", [True, False], ids=["before", "behind"])
def test_a_splash_beside_a_stack_of_its_set_up_is_to_be_blended(before: bool) -> None:
    made = start()
    splash = HAND | {"focus_mode": None}
    if before:
        candidate(made, [0], [0.36], **splash)
    candidate(made, HAND_PAUSES, STACK, **HAND)
    if not before:
        candidate(made, [25.0], [0.36], **splash)
    found = account(made)
    single, stack = (0, 1) if before else (1, 0)
    assert [s.kind for s in found.sequences][stack] is Kind.MANUAL_STACK
    assert bonds(found)[single] == [(RelationKind.SAME_SETUP, stack)]
    assert bonds(found)[stack] == [(RelationKind.SAME_SETUP, single)]


@pytest.mark.parametrize(
    "other",
    [
        {"exposure_time_s": 1 / 50},
        {"f_number": 8.0},
        {"flash_fired": False},
        {"lens": "60mm F2.8 Macro"},
        {"focal_length_mm": 60.0},
        {"iso": 800.0},
        {"focus_near_m": 0.70, "focus_far_m": 0.72},
    ],
    ids=lambda other: next(iter(other)),
)
def test_a_single_with_anything_else_is_another_picture(other: dict[str, object]) -> None:
    made = start()
    candidate(made, HAND_PAUSES, STACK, **HAND)
    at = {"focus_near_m": 0.36, "focus_far_m": 0.37}
    made.press(25.0, **(HAND | {"focus_mode": None} | at | other))
    assert bonds(account(made)) == [[], []]


def test_a_single_minutes_later_is_not_beside_the_stack() -> None:
    made = start()
    candidate(made, HAND_PAUSES, STACK, **HAND)
    candidate(made, [130.0], [0.36], **(HAND | {"focus_mode": None}))
    assert bonds(account(made)) == [[], []]


def test_a_spray_beside_a_stack_of_its_set_up_is_to_be_blended() -> None:
    made = start(flash_fired=True)
    candidate(made, even(0, 1.4, 14), climbing(0.3, 0.012, 14), planned=14, **BRACKET)
    candidate(made, [12.0, 0.3, 0.5, 0.2, 1.6, 0.35, 0.25, 0.6], [0.31] * 8, **BURST)
    assert bonds(account(made)) == [[(RelationKind.SAME_SETUP, 1)], [(RelationKind.SAME_SETUP, 0)]]


def test_two_bodies_are_nothing_to_each_other() -> None:
    one, two = start(), start(model="Stepper", serial="0077")
    candidate(one, even(0, 0.3, 20), GROUND, planned=20, **BRACKET)
    two.clock_us += 12_000_000
    candidate(two, even(0, 0.3, 20), GROUND, planned=20, **BRACKET)
    others = with_paths(two.frames, [f.path.replace("100", "200") for f in two.frames])
    assert bonds(account_for(Reading(frames=(*one.frames, *others)))) == [[], []]


def test_a_merged_picture_whose_sources_lie_farther_back_names_them() -> None:
    made = start()
    candidate(made, even(0, 0.3, 8), climbing(0.3, 0.02, 8), planned=8, **BRACKET)
    candidate(made, even(40, 0.3, 12), climbing(0.5, 0.02, 12), planned=12, **BRACKET)
    candidate(made, [300], [0.3], merged="focus", merged_from=12, **BRACKET)
    candidate(made, [20], [0.3], merged="exposure", **BRACKET)
    assert bonds(account(made)) == [[], [], [(RelationKind.RESULT, 1)], []]


@pytest.mark.parametrize("unlike", [{"focal_length_mm": 140.0}, {"orientation": 6}])
def test_another_framing_is_no_identical_repeat(unlike: dict[str, object]) -> None:
    made = start()
    candidate(made, even(0, 0.3, 20), GROUND, planned=20, **BRACKET)
    candidate(made, even(6, 0.3, 20), GROUND, planned=20, **(BRACKET | unlike))
    assert [relation_kind for relation_kind, _ in bonds(account(made))[1]] != [RelationKind.REPEAT]


def test_nothing_is_related_over_a_clock_that_was_set_back() -> None:
    made = start()
    candidate(made, even(0, 0.3, 20), GROUND, planned=20, **BRACKET)
    made.clock_us -= 3600 * 1_000_000
    candidate(made, even(6, 0.3, 20), GROUND, planned=20, **BRACKET)
    assert bonds(account(made)) == [[], []]
