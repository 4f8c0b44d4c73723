"""Bursts, stacks turned by hand, intervals and tries, each beside its near twin (common practice, no
source).

What only a picture can tell is left out: marker frames between series, and which burst is a stack
that was rocked through by hand.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldcases.cards import (
    ALL,
    CANON,
    COARSE,
    MAKERS,
    OM,
    PANASONIC,
    PLAIN,
    Body,
    Card,
    noted,
)

makers = pytest.mark.parametrize("body", MAKERS, ids=lambda body: body.name)
telling = pytest.mark.parametrize("body", [CANON, OM], ids=lambda body: body.name)
all_bodies = pytest.mark.parametrize("body", ALL, ids=lambda body: body.name)

# ---- sprays ----------------------------------------------------------------------------------

SPRAY = [0.3, 0.5, 0.2, 1.6, 0.35, 0.25, 0.6, 1.9, 0.3, 0.4, 0.2, 0.45, 0.3, 1.2, 0.3]


@all_bodies
def test_a_flash_lit_spray_of_uneven_rhythm_is_one_burst(body: Body, tmp_path: Path) -> None:
    card = Card(body, flash="fired").single(0, 0.6).burst(16, beat=SPRAY, after=20)
    assert card.found(tmp_path) == ["single 1", "burst 16"]


@makers
def test_a_bracket_of_the_rhythm_of_a_spray_is_a_bracket(body: Body, tmp_path: Path) -> None:
    card = Card(body, flash="fired").burst(16, beat=SPRAY)
    card.bracket(16, beat=SPRAY, after=9, start=0.45, focus_mode="auto").burst(
        16, beat=SPRAY, after=9
    )
    assert card.found(tmp_path) == ["burst 16", "focus-bracket 16", "burst 16"]


@makers
def test_two_sprays_some_seconds_apart_are_two(body: Body, tmp_path: Path) -> None:
    card = Card(body, flash="fired").burst(16, beat=SPRAY).burst(16, beat=SPRAY, after=10)
    assert card.found(tmp_path) == ["burst 16"] * 2


@makers
def test_a_spray_in_manual_focus_is_no_stack_by_hand(body: Body, tmp_path: Path) -> None:
    card = Card(body, flash="fired", focus_mode="manual").burst(16, beat=SPRAY)
    assert card.found(tmp_path) == ["burst 16"]


# ---- tracking --------------------------------------------------------------------------------

WANDERING = [0.50, 0.52, 0.55, 0.53, 0.50, 0.48, 0.47, 0.49, 0.52, 0.56, 0.54, 0.51]
COMING = [0.90, 0.85, 0.81, 0.76, 0.72, 0.69, 0.65, 0.61, 0.58, 0.55, 0.52, 0.50]


@telling
@pytest.mark.parametrize("places", [WANDERING, COMING], ids=["wandering", "coming-nearer"])
def test_a_burst_that_tracks_its_subject_is_a_burst(
    body: Body, places: list[float], tmp_path: Path
) -> None:
    """Also where the subject comes straight on: the body says that it brackets nothing."""
    assert Card(body).burst(12, at=places, beat=0.1).found(tmp_path) == ["burst 12"]


@telling
def test_the_same_way_with_the_bodys_own_word_is_a_bracket(body: Body, tmp_path: Path) -> None:
    card = Card(body).burst(12, at=COMING[::-1], beat=0.1, bracket="focus")
    assert card.found(tmp_path) == ["focus-bracket 12"]


# ---- rocked by hand --------------------------------------------------------------------------

MAY_BE = "may be a hand-held stack: the pictures must tell"


@makers
def test_a_steady_burst_in_manual_focus_may_be_a_stack(body: Body, tmp_path: Path) -> None:
    (only,) = Card(body, focus_mode="manual").burst(14).account(tmp_path).sequences
    assert (str(only.kind), noted(only)) == ("burst", [MAY_BE])


@makers
def test_a_burst_in_autofocus_is_no_stack(body: Body, tmp_path: Path) -> None:
    (only,) = Card(body).burst(14).account(tmp_path).sequences
    assert (str(only.kind), noted(only)) == ("burst", [])


@telling
def test_a_burst_whose_focus_moves_is_no_stack(body: Body, tmp_path: Path) -> None:
    (only,) = Card(body).burst(12, at=WANDERING, beat=0.1).account(tmp_path).sequences
    assert MAY_BE not in only.notes


@makers
def test_three_frames_in_manual_focus_are_no_stack(body: Body, tmp_path: Path) -> None:
    (only,) = Card(body, focus_mode="manual").burst(3).account(tmp_path).sequences
    assert (str(only.kind), noted(only)) == ("burst", [])


@makers
@pytest.mark.parametrize("pause", [1.3, 2.2])
def test_bursts_that_were_rocked_one_after_the_other_are_as_many(
    body: Body, pause: float, tmp_path: Path
) -> None:
    """The shutter let go and pressed anew: ten beats of silence without a flash to wait for."""
    card = Card(body, focus_mode="manual")
    for _ in range(4):
        card.burst(20, after=pause)
    assert card.found(tmp_path) == ["burst 20"] * 4


# ---- turned by hand --------------------------------------------------------------------------

HANDS = [3.1, 2.4, 5.8, 4.0, 2.9, 6.5, 3.3]
SLICES = [0.33 + 0.008 * index for index in range(8)]
SLOW_HANDS = [4.0, 11.0, 6.0, 21.0, 9.0, 14.0, 7.0, 28.0, 12.0, 8.0, 17.0]


@makers
def test_focus_turned_by_hand_is_a_manual_stack(body: Body, tmp_path: Path) -> None:
    """One of the makers does not tell its focus here: the rhythm of a hand stands for it."""
    card = Card(body).single(0, 0.7).by_hand(SLICES, after=40, beat=HANDS).single(60, 0.9)
    assert card.found(tmp_path) == ["single 1", "manual-stack 8", "single 1"]


@telling
def test_focus_turned_by_hand_from_far_to_near_is_a_manual_stack(
    body: Body, tmp_path: Path
) -> None:
    assert Card(body).by_hand(SLICES[::-1], beat=HANDS).found(tmp_path) == ["manual-stack 8"]


@telling
def test_slow_hands_make_a_manual_stack_too(body: Body, tmp_path: Path) -> None:
    places = [0.33 + 0.007 * index for index in range(12)]
    assert Card(body).by_hand(places, beat=SLOW_HANDS).found(tmp_path) == ["manual-stack 12"]


@telling
def test_three_slices_are_a_manual_stack(body: Body, tmp_path: Path) -> None:
    card = Card(body).single(0, 0.9).by_hand([0.30, 0.31, 0.32], after=40, beat=[4.1, 3.6])
    assert card.found(tmp_path) == ["single 1", "manual-stack 3"]


@telling
def test_a_hand_that_turns_back_a_little_once_does_not_part_a_stack(
    body: Body, tmp_path: Path
) -> None:
    places = [0.330, 0.338, 0.346, 0.354, 0.351, 0.360, 0.368, 0.376]
    assert Card(body).by_hand(places, beat=HANDS).found(tmp_path) == ["manual-stack 8"]


@telling
def test_two_stacks_by_hand_part_where_focus_falls_back(body: Body, tmp_path: Path) -> None:
    card = Card(body).by_hand(SLICES, beat=HANDS).by_hand(SLICES, after=14, beat=HANDS)
    assert card.found(tmp_path) == ["manual-stack 8"] * 2


@telling
def test_tries_at_wandering_distances_are_singles(body: Body, tmp_path: Path) -> None:
    card = Card(body).by_hand([0.33, 0.58, 0.29, 0.47], after=0, beat=[12.0, 11.0, 13.5])
    assert card.found(tmp_path) == ["single 1"] * 4


@telling
def test_tries_at_one_distance_are_singles(body: Body, tmp_path: Path) -> None:
    card = Card(body).by_hand([0.45] * 4, after=0, beat=[14.0, 9.0, 22.0])
    assert card.found(tmp_path) == ["single 1"] * 4


@telling
def test_tries_and_a_stack_by_hand_at_one_pace_part_where_focus_steps_on(
    body: Body, tmp_path: Path
) -> None:
    card = Card(body).by_hand([0.58, 0.41, 0.70], after=0, beat=[12.0, 11.0])
    card.by_hand(SLICES, after=16, beat=HANDS)
    assert card.found(tmp_path) == ["single 1"] * 3 + ["manual-stack 8"]


def test_tries_in_autofocus_at_the_pace_of_a_hand_are_singles(tmp_path: Path) -> None:
    card = Card(PANASONIC).single(0, flash="fired")
    for after in (9.0, 14.0, 7.0, 31.0, 12.0):
        card.single(after, flash="fired")
    assert card.found(tmp_path) == ["single 1"] * 6


@telling
def test_tries_in_autofocus_at_nearly_one_distance_are_singles(body: Body, tmp_path: Path) -> None:
    """The autofocus finds the same limpet anew each time: a centimetre to and fro is no stack."""
    card = Card(body).single(0, 0.80)
    for after, place in ((30, 0.30), (4.3, 0.31), (3.6, 0.30), (5.2, 0.31), (7.7, 0.31)):
        card.single(after, place)
    assert card.found(tmp_path) == ["single 1"] * 6


# ---- intervals -------------------------------------------------------------------------------

STEADY_LIGHT = [125] * 14
DRIFTING = [125, 125, 125, 160, 160, 160, 200, 200, 250, 250, 250, 320, 320, 400]


@all_bodies
@pytest.mark.parametrize("period", [5.0, 10.0, 30.0])
@pytest.mark.parametrize("speeds", [STEADY_LIGHT, DRIFTING], ids=["steady", "drifting"])
def test_a_timers_frames_are_one_interval_series(
    body: Body, period: float, speeds: list[int], tmp_path: Path
) -> None:
    card = Card(body).single(0, 0.8, f_number=8.0).interval(speeds, period=period, after=47)
    assert card.found(tmp_path) == ["single 1", "interval 14"]


@pytest.mark.parametrize("body", [CANON, PANASONIC, PLAIN], ids=lambda body: body.name)
def test_a_timer_of_two_seconds_is_one_interval_series(body: Body, tmp_path: Path) -> None:
    assert Card(body).interval([125] * 40, period=2.0).found(tmp_path) == ["interval 40"]


@makers
@pytest.mark.parametrize("beat", [4.0, 10.0])
def test_a_slow_flash_bracket_is_no_interval_series(
    body: Body, beat: float, tmp_path: Path
) -> None:
    card = Card(body, flash="fired").bracket(14, beat=beat)
    assert card.found(tmp_path) == ["focus-bracket 14"]


@telling
def test_an_interval_series_and_a_slow_bracket_beside_it_are_two(
    body: Body, tmp_path: Path
) -> None:
    card = Card(body).interval(STEADY_LIGHT, period=5).change(flash="fired")
    assert card.bracket(14, beat=5.0, after=25).found(tmp_path) == [
        "interval 14",
        "focus-bracket 14",
    ]


@pytest.mark.parametrize("body", [CANON, OM, PLAIN, COARSE], ids=lambda body: body.name)
def test_frames_at_a_persons_pace_are_singles(body: Body, tmp_path: Path) -> None:
    card = Card(body).single(0, 0.5)
    for after, place in ((9, 0.8), (14, 0.4), (21, 0.66), (11, 1.2), (38, 0.3), (16, 0.75)):
        card.single(after, place)
    assert card.found(tmp_path) == ["single 1"] * 7


def test_a_timer_that_misses_one_beat_makes_one_series(tmp_path: Path) -> None:
    """The body was still writing; the next frame comes on the beat after."""
    card = Card(CANON).interval([125] * 8, period=10)
    assert card.interval([125] * 8, period=10, after=20).found(tmp_path) == ["interval 16"]
