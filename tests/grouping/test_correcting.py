"""Accounts as a user corrects them (invented figures)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from grouping.series import BRACKET, BURST, HAND, TRY, candidate, climbing, even, start
from grouping.shoots import Shoot
from sorter.grouping.account import account_for
from sorter.model.card import CardFile
from sorter.model.correction import Correction
from sorter.model.frame import Frame, ReadFile, Reading
from sorter.model.kinds import Kind, Role
from sorter.model.knobs import GroupingKnobs
from sorter.model.relation_kind import RelationKind
from sorter.model.sequence import BEYOND_DOUBT, Account, Relation, Sequence
from sorter.model.stretches import Misfit

FB, MS, B, S, M = Kind.FOCUS_BRACKET, Kind.MANUAL_STACK, Kind.BURST, Kind.SINGLE, Kind.MARKER


def path(number: int) -> str:
    return f"DCIM/100ROCKP/POOL{number:04d}.JPG"


def says(first: int, last: int | None = None, kind: str = "", name: str = "") -> Correction:
    return Correction(
        first=path(first), last=path(first if last is None else last), kind=kind, name=name, line=7
    )


def corrected(made: Shoot, *asked: Correction) -> tuple[Sequence, ...]:
    return account_for(made.reading(), corrections=asked).sequences


def shape(sequences: tuple[Sequence, ...]) -> list[tuple[Kind, int]]:
    return [(each.kind, len(each.frames)) for each in sequences]


@pytest.fixture
def limpets() -> Shoot:
    """A try, a bracket of 20, a burst of 10, a try: 32 frames."""
    made = start()
    candidate(made, [0], [0.5], **TRY)
    candidate(made, even(20, 0.2, 20), climbing(0.3, 0.01, 20), planned=20, **BRACKET)
    candidate(made, even(30, 0.1, 10), [0.5] * 10, **BURST)
    candidate(made, [40], [0.9], **TRY)
    assert shape(corrected(made)) == [(S, 1), (FB, 20), (B, 10), (S, 1)]
    return made


# ---- what becomes of the account ------------------------------------------------------------


def test_a_correction_gives_a_sequence_its_kind_and_name(limpets: Shoot) -> None:
    before = corrected(limpets)
    after = corrected(limpets, says(22, 31, "manual-stack", "limpets"))
    assert shape(after) == [(S, 1), (FB, 20), (MS, 10), (S, 1)]
    assert after[2].name == "limpets"
    assert (*after[:2], after[3]) == (*before[:2], before[3])


def test_the_grounds_say_that_the_corrections_file_made_it_so(limpets: Shoot) -> None:
    grounds = corrected(limpets, says(22, 31, "manual-stack"))[2].grounds
    assert grounds.kind == (
        "the corrections file says that these 10 frames are one sequence: manual-stack"
    )
    assert grounds.begins == "the corrections file says so"
    assert grounds.runner_up is None
    assert (grounds.margin, grounds.begins_margin) == (BEYOND_DOUBT, BEYOND_DOUBT)


def test_a_piece_that_is_cut_keeps_its_kind_on_both_sides(limpets: Shoot) -> None:
    after = corrected(limpets, says(10, 12, "burst"))
    assert shape(after) == [(S, 1), (FB, 8), (B, 3), (FB, 9), (B, 10), (S, 1)]
    left, right = after[1].grounds, after[3].grounds
    assert left.kind == (
        "8 of the 20 frames of one focus-bracket, the rest was cut off by the corrections file"
    )
    before = corrected(limpets)[1].grounds
    assert (left.begins, left.begins_margin) == (before.begins, before.begins_margin)
    assert (right.begins, right.begins_margin) == (
        "the corrections file cut off the frames before",
        BEYOND_DOUBT,
    )
    assert (left.margin, right.runner_up) == (before.margin, before.runner_up)


def test_what_is_left_of_one_frame_is_a_single(limpets: Shoot) -> None:
    after = corrected(limpets, says(3, 20))
    assert shape(after) == [(S, 1), (S, 1), (FB, 18), (S, 1), (B, 10), (S, 1)]
    assert (after[1].grounds.runner_up, after[1].grounds.margin) == (None, BEYOND_DOUBT)


def test_two_rows_split_one_sequence_exactly(limpets: Shoot) -> None:
    after = corrected(limpets, says(12, 21, "", "mouth"), says(2, 11, "manual-stack", "shell"))
    assert shape(after) == [(S, 1), (MS, 10), (FB, 10), (B, 10), (S, 1)]
    assert [each.name for each in after] == ["", "shell", "mouth", "", ""]


def test_a_stretch_over_several_sequences_makes_them_one(limpets: Shoot) -> None:
    after = corrected(limpets, says(20, 32, "burst"))
    assert shape(after) == [(S, 1), (FB, 18), (B, 13)]


def test_a_frame_of_a_series_can_be_the_marker_that_parts_it(limpets: Shoot) -> None:
    after = corrected(limpets, says(11, kind="marker"))
    assert shape(after) == [(S, 1), (FB, 9), (M, 1), (FB, 10), (B, 10), (S, 1)]
    assert after[2].grounds.kind == (
        "the corrections file says that this frame is a sequence: marker"
    )


def test_doubts_go_where_a_correction_speaks_and_stay_elsewhere() -> None:
    made = start()
    candidate(made, [0, 11.0, 12.0], None, **HAND)  # three tries, or a short stack
    doubtful = {note for each in corrected(made) for note in each.notes}
    assert any(note.startswith("unsure") for note in doubtful)
    (whole,) = corrected(made, says(1, 3, "manual-stack"))
    assert not [note for note in whole.notes if note.startswith("unsure")]
    part = corrected(made, says(3, kind="single"))
    assert part[0] == corrected(made)[0]


def test_what_is_left_keeps_the_doubts_about_its_whole() -> None:
    made = start()
    candidate(made, even(0, 0.2, 14), climbing(0.3, 0.01, 14), **BRACKET)
    doubtful = GroupingKnobs(unsure_below=BEYOND_DOUBT)
    asked = (says(10, 14, "interval"),)
    (whole,) = account_for(made.reading(), doubtful).sequences
    left, _ = account_for(made.reading(), doubtful, asked).sequences
    assert left.grounds.runner_up is whole.grounds.runner_up is not None
    assert left.grounds.margin == whole.grounds.margin
    assert f"unsure: focus-bracket or {whole.grounds.runner_up}" in left.notes


# ---- where the kind is left open ------------------------------------------------------------


def test_an_open_kind_is_that_of_the_sequence_in_which_all_frames_lay(limpets: Shoot) -> None:
    after = corrected(limpets, says(24, 28))
    assert shape(after)[2:5] == [(B, 2), (B, 5), (B, 3)]
    assert after[3].grounds.kind.endswith("and does not name its kind: burst as before")


def test_an_open_kind_of_one_frame_is_a_single(limpets: Shoot) -> None:
    assert shape(corrected(limpets, says(24)))[2:5] == [(B, 2), (S, 1), (B, 7)]


def test_an_open_kind_over_several_sequences_is_the_best_series_for_them() -> None:
    made = start()
    candidate(made, even(0, 0.2, 12), climbing(0.3, 0.01, 12), planned=12, **BRACKET)
    candidate(made, even(3, 0.2, 12), climbing(0.3 * 1.01**12, 0.01, 12), planned=12, **BRACKET)
    assert shape(corrected(made)) == [(FB, 12), (FB, 12)]
    (whole,) = corrected(made, says(1, 24))
    assert whole.kind is FB
    assert whole.grounds.kind.endswith(": focus-bracket fits best")


def test_tries_that_are_joined_are_no_single() -> None:
    made = start()
    candidate(made, [0, 11.0, 12.0], None, **TRY)
    assert shape(corrected(made)) == [(S, 1)] * 3
    (whole,) = corrected(made, says(1, 3))
    assert whole.kind is not S
    assert whole.grounds.kind.endswith(f": {whole.kind} fits best")


def test_halves_that_no_kind_joins_stay_what_most_of_them_were() -> None:
    made = start()
    candidate(made, even(0, 0.2, 12), climbing(0.3, 0.01, 12), **BRACKET)
    candidate(made, even(3600, 0.1, 6), [0.5] * 6, **BURST)
    (whole,) = corrected(made, says(1, 18))
    assert whole.kind is FB
    assert whole.grounds.kind.endswith(": none accounts for it, focus-bracket as most of it was")


def test_tries_that_no_kind_joins_are_a_burst() -> None:
    made = start()
    candidate(made, [0, 3600.0], [0.3, 0.9], **TRY)
    (whole,) = corrected(made, says(1, 2))
    assert (whole.kind, len(whole.frames)) == (B, 2)
    assert whole.grounds.kind.endswith(": none accounts for it, and burst claims least")


# ---- results, relations, plans --------------------------------------------------------------


def _merged_behind(made: Shoot, **facts: object) -> Shoot:
    """A bracket of raws with a picture right behind it that has none."""
    candidate(made, even(0, 0.2, 9), climbing(0.3, 0.01, 9), **BRACKET)
    made.frames = [
        replace(frame, files=(*frame.files, replace(frame.files[0], role=Role.RAW)))
        for frame in made.frames
    ]
    made.press(9.0, **BRACKET, **facts)
    return made


def _results(sequences: tuple[Sequence, ...]) -> list[int]:
    return [len(each.results) for each in sequences]


def test_an_unmarked_result_stays_with_a_bracket_that_only_gets_a_name() -> None:
    made = _merged_behind(start())
    assert (shape(corrected(made)), _results(corrected(made))) == ([(FB, 9)], [1])
    (only,) = corrected(made, says(1, 9, "", "limpet"))
    assert (only.name, len(only.results)) == ("limpet", 1)


def test_a_single_that_a_correction_names_is_nobodys_result() -> None:
    made = _merged_behind(start())
    after = corrected(made, says(10, kind="single"))
    assert (shape(after), _results(after)) == ([(FB, 9), (S, 1)], [0, 0])


def test_what_is_left_of_a_series_is_nobodys_result() -> None:
    made = start()
    candidate(made, even(0, 0.2, 10), climbing(0.3, 0.01, 10), **BRACKET)
    made.frames[:9] = [
        replace(frame, files=(*frame.files, replace(frame.files[0], role=Role.RAW)))
        for frame in made.frames[:9]
    ]
    assert shape(corrected(made)) == [(FB, 10)]
    after = corrected(made, says(1, 9))
    assert (shape(after), _results(after)) == ([(FB, 9), (S, 1)], [0, 0])


def test_a_marked_result_goes_to_the_corrected_series_before_it() -> None:
    made = _merged_behind(start(), merged="focus")
    after = corrected(made, says(1, 9, "manual-stack"))
    assert (shape(after), _results(after)) == ([(MS, 9)], [1])


def test_a_result_within_a_stretch_belongs_to_it() -> None:
    made = _merged_behind(start(), merged="focus")
    candidate(made, even(2, 0.2, 9), climbing(0.3, 0.01, 9), **BRACKET)
    after = corrected(made, says(1, 19, "focus-bracket"))
    assert (shape(after), _results(after)) == ([(FB, 18)], [1])


def test_relations_see_the_corrected_kinds_and_places() -> None:
    made = start()
    candidate(made, even(0, 0.3, 20), climbing(0.42, 0.008, 20), planned=20, **BRACKET)
    candidate(made, even(7, 0.3, 72), climbing(0.30, 0.007, 72), planned=72, **BRACKET)
    retake = (Relation(what=RelationKind.RETAKE, to=0),)
    assert [each.relations for each in corrected(made)] == [(), retake]
    named = corrected(made, says(1, 20, "", "limpet"), says(21, 92))
    assert [each.relations for each in named] == [(), retake]
    beside = [each.relations for each in corrected(made, says(1, 20, "burst"))]
    assert beside == [(Relation(what=RelationKind.SAME_SETUP, to=to),) for to in (1, 0)]
    moved = corrected(made, says(1, kind="marker"))
    assert moved[2].relations == (Relation(what=RelationKind.RETAKE, to=1),)


def test_a_part_is_held_against_the_plan() -> None:
    made = start()
    candidate(made, even(0, 0.25, 40), climbing(0.3, 0.005, 40), planned=40, **BRACKET)
    first, second = corrected(made, says(31, 40))
    assert (first.planned, first.notes[0]) == (40, "30 of 40")
    assert (second.planned, second.notes[0]) == (40, "10 of 40")


# ---- paths ----------------------------------------------------------------------------------


def _twin_files(made: Shoot) -> Reading:
    """The frames with a raw and a sidecar beside each picture."""
    return Reading(frames=tuple(_with_beside(frame) for frame in made.reading().frames))


def _with_beside(frame: Frame) -> Frame:
    beside = [
        ReadFile(file=CardFile(path=frame.path.replace("JPG", ending), size=9), role=role)
        for ending, role in (("CR3", Role.RAW), ("xmp", Role.SIDECAR))
    ]
    return replace(frame, files=(*frame.files, *beside))


def test_any_file_of_a_frame_names_it(limpets: Shoot) -> None:
    asked = Correction(
        first=path(2).replace("JPG", "xmp"), last=path(21).replace("JPG", "CR3"), kind="burst"
    )
    after = account_for(_twin_files(limpets), corrections=(asked,)).sequences
    assert shape(after) == [(S, 1), (B, 20), (B, 10), (S, 1)]


def test_an_empty_last_is_the_first(limpets: Shoot) -> None:
    asked = replace(says(1, kind="marker"), last="")
    assert shape(corrected(limpets, asked))[0] == (M, 1)


def test_a_path_that_is_no_utf8_may_be_spelled_as_the_manifest_does() -> None:
    made = start()
    candidate(made, [0], [0.5], **TRY)
    (frame,) = made.frames
    file = replace(frame.files[0], file=replace(frame.files[0].file, path="crab\udcff.JPG"))
    reading = Reading(frames=(replace(frame, files=(file,)),))
    for written in ("crab\udcff.JPG", "crab\\xff.JPG"):
        asked = Correction(first=written, last=written, kind="marker")
        assert account_for(reading, corrections=(asked,)).sequences[0].kind is M


# ---- what does not fit ----------------------------------------------------------------------


def _refused(reading: Reading, *asked: Correction) -> str:
    with pytest.raises(Misfit) as caught:
        account_for(reading, corrections=asked)
    assert caught.value.line == asked[-1].line
    return str(caught.value)


def _two_bodies(made: Shoot) -> Reading:
    *rest, last = made.reading().frames
    other = replace(last, facts=replace(last.facts, serial="0043"))
    return Reading(frames=(*rest, other))


def test_a_path_that_is_not_on_the_card_is_refused(limpets: Shoot) -> None:
    said = _refused(limpets.reading(), says(1, 99))
    assert said.startswith(f"no file of this card is {path(99)!r}.")


@pytest.mark.parametrize("kind", [Kind.CLIP, Kind.UNDATED, Kind.UNREADABLE, Kind.OTHER])
def test_what_is_no_frame_is_refused(limpets: Shoot, kind: Kind) -> None:
    loose = ReadFile(file=CardFile(path="DCIM/MVI_1.MP4", size=9), role=Role.OTHER)
    reading = replace(limpets.reading(), loose=((kind, loose),))
    asked = Correction(first=path(1), last="DCIM/MVI_1.MP4")
    assert _refused(reading, asked).startswith(f"'DCIM/MVI_1.MP4' is no frame ({kind}).")


def test_a_picture_that_the_camera_merged_is_refused() -> None:
    made = _merged_behind(start(), merged="focus")
    assert "that the camera merged itself" in _refused(made.reading(), says(1, 10))


def test_frames_of_two_bodies_are_refused(limpets: Shoot) -> None:
    assert "are of two bodies" in _refused(_two_bodies(limpets), says(1, 32))


def test_the_wrong_order_is_refused(limpets: Shoot) -> None:
    assert f"{path(9)!r} was taken after {path(3)!r}" in _refused(limpets.reading(), says(9, 3))


def test_a_single_of_several_frames_is_refused(limpets: Shoot) -> None:
    assert "these are 3 frames, and a single is one" in _refused(
        limpets.reading(), says(3, 5, "single")
    )


@pytest.mark.parametrize(("first", "last"), [(1, 3), (5, 5), (9, 20), (2, 12)])
def test_frames_of_two_corrections_are_refused(limpets: Shoot, first: int, last: int) -> None:
    asked = (replace(says(3, 9), line=2), says(first, last))
    assert "line 2 has some of these frames already" in _refused(limpets.reading(), *asked)


def test_corrections_side_by_side_are_no_overlap(limpets: Shoot) -> None:
    after = corrected(limpets, says(2, 11), says(12, 21))
    assert shape(after)[1:3] == [(FB, 10), (FB, 10)]


def test_two_bodies_are_corrected_each_for_itself(limpets: Shoot) -> None:
    reading = _two_bodies(limpets)
    account: Account = account_for(reading, corrections=(says(32, kind="marker"), says(22, 31)))
    assert shape(account.sequences) == [(S, 1), (FB, 20), (B, 10), (M, 1)]
