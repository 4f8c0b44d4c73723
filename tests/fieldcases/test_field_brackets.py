"""Focus brackets from the field, each beside its near twin (common practice, no source)."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

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
    numbers,
    told,
)
from sorter.cli import commands
from writing.cards import ingest

makers = pytest.mark.parametrize("body", MAKERS, ids=lambda body: body.name)
all_bodies = pytest.mark.parametrize("body", ALL, ids=lambda body: body.name)


def kind_of(body: Body) -> str:
    """A body without a note hides its brackets: they look like bursts, and may be stacks."""
    return "burst" if body in {PLAIN, COARSE} else "focus-bracket"


# ---- back to back ----------------------------------------------------------------------------


PAUSES = [(body, pause) for body in ALL for pause in (1.6, 3.0)]
PAUSES.remove((COARSE, 1.6))  # whole seconds do not show a pause of less than two


@pytest.mark.parametrize(("body", "pause"), PAUSES, ids=lambda value: getattr(value, "name", None))
def test_brackets_shot_back_to_back_are_two(body: Body, pause: float, tmp_path: Path) -> None:
    card = Card(body).bracket(30).bracket(30, after=pause)
    assert card.found(tmp_path) == [f"{kind_of(body)} 30"] * 2


@makers
def test_three_brackets_of_another_length_each_are_three(body: Body, tmp_path: Path) -> None:
    card = Card(body).bracket(12).bracket(20, after=2.5).bracket(15, after=2)
    assert card.found(tmp_path) == ["focus-bracket 12", "focus-bracket 20", "focus-bracket 15"]


@makers
def test_a_bracket_that_hesitates_and_goes_on_is_one(body: Body, tmp_path: Path) -> None:
    """The same pause as between two brackets; but focus, shot number and plan go on."""
    beat = [0.2] * 14 + [1.6] + [0.2] * 14
    assert Card(body).bracket(30, beat=beat).found(tmp_path) == ["focus-bracket 30"]


@all_bodies
def test_a_bracket_that_a_full_buffer_slows_is_one(body: Body, tmp_path: Path) -> None:
    beat = [0.1] * 24 + [0.5] * 15
    assert Card(body).bracket(40, beat=beat).found(tmp_path) == [f"{kind_of(body)} 40"]


def test_brackets_within_one_centimetre_part_where_the_plan_is_done(tmp_path: Path) -> None:
    """At life size a whole bracket is shallower than the centimetre that the camera writes."""
    card = Card(CANON).bracket(15, step=0.0, beat=0.1).bracket(15, step=0.0, beat=0.1, after=1.6)
    assert card.found(tmp_path) == ["focus-bracket 15"] * 2


def test_a_bracket_within_one_centimetre_of_twice_the_plan_is_one(tmp_path: Path) -> None:
    beat = [0.1] * 14 + [0.9] + [0.1] * 14
    assert Card(CANON).bracket(30, step=0.0, beat=beat).found(tmp_path) == ["focus-bracket 30"]


@makers
def test_brackets_of_long_exposures_are_two_like_others(body: Body, tmp_path: Path) -> None:
    """Two seconds of exposure are no pause, and their even beat is no timer's."""
    card = Card(body, exposure=Fraction(2)).bracket(14, beat=2.6).bracket(14, beat=2.6, after=5)
    assert card.found(tmp_path) == ["focus-bracket 14"] * 2


@makers
def test_a_cloud_over_a_bracket_does_not_part_it(body: Body, tmp_path: Path) -> None:
    card = Card(body, manual_exposure=False).bracket(30, beat=0.4)
    assert card.dimmed([160] * 8 + [200] * 7 + [250] * 6 + [200] * 9).found(tmp_path) == [
        "focus-bracket 30"
    ]


@makers
def test_a_body_that_points_straight_down_may_tell_another_side_up(
    body: Body, tmp_path: Path
) -> None:
    card = Card(body).bracket(11, planned=30).change(orientation=6)
    places = [0.30 + 0.004 * index for index in range(11, 30)]
    card.series(
        places, after=0.2, beat=0.2, first=12, bracket="focus", drive="continuous", planned=30
    )
    assert card.found(tmp_path) == ["focus-bracket 30"]


# ---- flash -----------------------------------------------------------------------------------

RECYCLING = [1.5] * 7 + [9.0] + [1.5] * 7 + [22.0] + [1.5] * 7


@all_bodies
def test_a_flash_that_recycles_does_not_part_a_bracket(body: Body, tmp_path: Path) -> None:
    card = Card(body, flash="fired").single(0).bracket(24, after=30, beat=RECYCLING)
    assert card.found(tmp_path) == ["single 1", f"{kind_of(body)} 24"]


@makers
def test_the_same_pauses_part_brackets_that_begin_again(body: Body, tmp_path: Path) -> None:
    card = Card(body, flash="fired")
    for after in (5.0, 9.0, 22.0):
        card.bracket(8, after=after, beat=1.5)
    assert card.found(tmp_path) == ["focus-bracket 8"] * 3


@makers
def test_a_flash_that_misfires_once_leaves_the_bracket_whole(body: Body, tmp_path: Path) -> None:
    card = Card(body, flash="fired").bracket(16, beat=1.5).misfired(8)
    assert card.found(tmp_path) == ["focus-bracket 16"]


@makers
def test_two_misfires_in_a_row_leave_the_bracket_whole(body: Body, tmp_path: Path) -> None:
    card = Card(body, flash="fired").bracket(20, beat=2.0).misfired(10, 11)
    assert card.found(tmp_path) == ["focus-bracket 20"]


def test_a_misfire_leaves_a_stack_turned_by_hand_whole(tmp_path: Path) -> None:
    card = Card(CANON).by_hand(
        [0.30 + 0.01 * index for index in range(9)], beat=[3.1, 2.4, 5.8, 4.0, 2.9, 6.5, 3.3, 4.1]
    )
    assert card.misfired(5).found(tmp_path) == ["manual-stack 9"]


@makers
def test_a_bracket_with_flash_and_one_without_are_two(body: Body, tmp_path: Path) -> None:
    card = Card(body, flash="fired").bracket(16, beat=1.5)
    card.change(flash="off").bracket(16, beat=1.5, after=3)
    assert card.found(tmp_path) == ["focus-bracket 16"] * 2


# ---- order -----------------------------------------------------------------------------------


def handed_over_near_first(folder: Path) -> tuple[int, ...]:
    """The places in order of capture of the slices of the one stack, nearest focus first."""
    ingest(folder / "card", folder / "shoot")
    asked = ["handoff", folder / "shoot", "--list", folder / "lists", "--order", "near-first"]
    assert CliRunner().invoke(commands, list(map(str, asked))).exit_code == 0
    (made,) = (folder / "lists").iterdir()
    return tuple(int(Path(line).stem[-4:]) - 100 for line in made.read_text().splitlines())


INSIDE_OUT = [0.400, 0.396, 0.392, 0.388, 0.384, 0.404, 0.408, 0.412, 0.416]


@pytest.mark.parametrize("body", [OM, PANASONIC], ids=lambda body: body.name)
def test_slices_from_the_middle_nearer_then_farther_are_one_bracket(
    body: Body, tmp_path: Path
) -> None:
    card = Card(body).series(
        INSIDE_OUT, after=0, beat=0.3, offsets=(0, -1, -2, -3, -4, 1, 2, 3, 4), bracket="focus"
    )
    assert card.found(tmp_path / "card") == ["focus-bracket 9"]
    assert handed_over_near_first(tmp_path) == (5, 4, 3, 2, 1, 6, 7, 8, 9)


def test_slices_in_turn_nearer_and_farther_are_one_bracket(tmp_path: Path) -> None:
    places = [0.400, 0.396, 0.404, 0.392, 0.408, 0.388, 0.412, 0.384, 0.416]
    offsets = (0, -1, 1, -2, 2, -3, 3, -4, 4)
    card = Card(PANASONIC).series(places, after=0, beat=0.3, offsets=offsets, bracket="focus")
    assert card.found(tmp_path / "card") == ["focus-bracket 9"]
    assert handed_over_near_first(tmp_path) == (8, 6, 4, 2, 1, 3, 5, 7, 9)


@pytest.mark.parametrize("body", [OM, PANASONIC], ids=lambda body: body.name)
def test_where_the_shot_number_begins_again_the_same_jump_parts_two(
    body: Body, tmp_path: Path
) -> None:
    card = Card(body).series(INSIDE_OUT[:5], after=0, beat=0.3, bracket="focus")
    card.series(INSIDE_OUT[5:], after=2.0, beat=0.3, bracket="focus")
    assert card.found(tmp_path) == ["focus-bracket 5", "focus-bracket 4"]


# ---- merged in the camera --------------------------------------------------------------------


def merged_behind(card: Card, after: float = 20.0) -> Card:
    facts = {"bracket": "focus", "drive": "continuous", "merged_frames": 8, "shot_number": 0}
    return card.press(after, 0.30, **facts)  # type: ignore[arg-type]


def test_the_cameras_own_merged_picture_belongs_to_its_bracket(tmp_path: Path) -> None:
    card = merged_behind(Card(OM).bracket(8, files=("ORF", "JPG")))
    card.single(40, files=("ORF", "JPG"))
    account = card.account(tmp_path)
    assert told(account) == ["focus-bracket 8", "single 1"]
    assert numbers(account.sequences[0].results) == ["0109"]


def test_a_bracket_right_behind_a_merged_picture_is_another(tmp_path: Path) -> None:
    card = merged_behind(Card(OM).bracket(8, files=("ORF", "JPG")))
    merged_behind(card.bracket(8, after=4, files=("ORF", "JPG")))
    account = card.account(tmp_path)
    assert told(account) == ["focus-bracket 8"] * 2
    assert [numbers(each.results) for each in account.sequences] == [["0109"], ["0118"]]


def test_a_merged_picture_without_a_mark_is_known_by_its_missing_raw(tmp_path: Path) -> None:
    card = Card(CANON).bracket(8, planned=8, files=("CR3", "JPG"))
    card.press(15, 0.30, bracket="focus", drive="continuous", planned=8)
    account = card.account(tmp_path)
    assert told(account) == ["focus-bracket 8"]
    assert numbers(account.sequences[0].results) == ["0109"]


def test_a_picture_taken_behind_a_bracket_is_no_result(tmp_path: Path) -> None:
    """It has its raw, or bracketing is off again."""
    card = Card(CANON).bracket(8, planned=8, files=("CR3", "JPG"))
    card.single(15, 0.30, files=("CR3", "JPG")).bracket(8, files=("CR3",)).single(15, 0.30)
    account = card.account(tmp_path)
    assert told(account) == ["focus-bracket 8", "single 1"] * 2
    assert [each.results for each in account.sequences] == [()] * 4


# ---- stopped, left on, deleted ---------------------------------------------------------------


@makers
def test_a_lone_frame_with_focus_bracketing_left_on_is_a_single(body: Body, tmp_path: Path) -> None:
    card = Card(body).single(0).bracket(1, after=30, planned=40).single(25)
    account = card.account(tmp_path)
    assert told(account) == ["single 1"] * 3
    assert any("left on" in note for note in account.sequences[1].notes)
    assert account.sequences[2].notes == ()


@makers
def test_frames_of_bracketing_left_on_far_apart_are_singles(body: Body, tmp_path: Path) -> None:
    card = Card(body).single(0)
    for after, start in ((30, 0.31), (41, 0.52), (25, 0.40)):
        card.bracket(1, after=after, start=start, planned=40)
    assert card.found(tmp_path) == ["single 1"] * 4


@makers
def test_a_bracket_stopped_after_three_frames_is_a_bracket(body: Body, tmp_path: Path) -> None:
    card = Card(body).single(0).bracket(3, after=30, planned=40).single(25)
    assert card.found(tmp_path) == ["single 1", "focus-bracket 3", "single 1"]


def test_a_bracket_that_was_stopped_counts_itself_against_its_plan(tmp_path: Path) -> None:
    card = Card(CANON).bracket(11, planned=48).single(30)
    account = card.account(tmp_path)
    assert told(account) == ["focus-bracket 11", "single 1"]
    assert noted(account.sequences[0]) == ["11 of 48, stopped"]  # new words


def test_a_bracket_that_took_all_its_frames_has_nothing_to_note(tmp_path: Path) -> None:
    (only,) = Card(CANON).bracket(48).account(tmp_path).sequences
    assert (only.planned, noted(only)) == (48, [])


MISSING = {
    # new words, all of them
    CANON: ("37 of 40, 0106 to 0108 missing", "39 of 40, 0106 missing"),
    OM: ("files 0106 to 0108 missing", "file 0106 missing"),
    PANASONIC: ("files 0106 to 0108 missing", "file 0106 missing"),
}


@makers
def test_frames_deleted_in_the_camera_leave_one_bracket(body: Body, tmp_path: Path) -> None:
    card = Card(body).bracket(40).without(106, 107, 108)
    account = card.account(tmp_path)
    assert told(account) == ["focus-bracket 37"]
    assert noted(account.sequences[0]) == [MISSING[body][0]]


@makers
def test_one_frame_deleted_is_named(body: Body, tmp_path: Path) -> None:
    account = Card(body).bracket(40).without(106).account(tmp_path)
    assert told(account) == ["focus-bracket 39"]
    assert noted(account.sequences[0]) == [MISSING[body][1]]


def test_frames_deleted_between_two_brackets_do_not_join_them(tmp_path: Path) -> None:
    """The tries between two series are what people delete most."""
    card = Card(CANON).bracket(20).single(6).single(5).bracket(20, after=6).without(121, 122)
    account = card.account(tmp_path)
    assert told(account) == ["focus-bracket 20"] * 2
    assert [noted(each) for each in account.sequences] == [[], []]


def test_a_deleted_beginning_leaves_a_bracket_with_its_own_shot_numbers(tmp_path: Path) -> None:
    card = Card(OM).bracket(20).bracket(20, after=3).without(121, 122)
    assert card.found(tmp_path) == ["focus-bracket 20", "focus-bracket 18"]
