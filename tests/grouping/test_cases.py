"""Cases from the field, each beside its near twin (common practice, no source; invented figures)."""

from __future__ import annotations

from dataclasses import replace

from grouping.series import (
    BRACKET,
    BURST,
    HAND,
    TRY,
    account,
    candidate,
    climbing,
    even,
    kinds,
    start,
    with_paths,
)  # fmt: skip
from grouping.shoots import Shoot
from sorter.grouping.account import account_for
from sorter.model.frame import Frame, Reading
from sorter.model.kinds import Bracketing, DriveMode, Kind, Role
from sorter.model.relation_kind import RelationKind
from sorter.model.sequence import Relation
from sorter.model.values import Moment

FB, MS, EB = Kind.FOCUS_BRACKET, Kind.MANUAL_STACK, Kind.EXPOSURE_BRACKET
B, I, S = Kind.BURST, Kind.INTERVAL, Kind.SINGLE  # noqa: E741 - short names for tables of kinds


def test_two_brackets_two_seconds_apart_are_two_when_focus_falls_back() -> None:
    made = start()
    candidate(made, even(0, 0.2, 30), climbing(0.3, 0.01, 30), planned=30, **BRACKET)
    candidate(made, even(2.0, 0.2, 30), climbing(0.3, 0.01, 30), planned=30, **BRACKET)
    assert kinds(made) == [(FB, 30), (FB, 30)]
    assert "fell back" in account(made).sequences[1].grounds.begins


def test_a_bracket_with_a_pause_of_two_seconds_whose_focus_goes_on_stays_one() -> None:
    made = start()
    pauses = even(0, 0.2, 30)
    pauses[15] = 1.2
    candidate(made, pauses, climbing(0.3, 0.01, 30), planned=30, **BRACKET)
    assert kinds(made) == [(FB, 30)]


def test_a_bracket_that_a_full_buffer_slows_down_stays_one() -> None:
    made = start()
    pauses = even(0, 0.05, 30) + [0.45] * 30
    candidate(made, pauses, climbing(0.3, 0.005, 60), planned=60, **BRACKET)
    candidate(made, [30, *pauses[1:]], climbing(0.3, 0.005, 60), **BRACKET)
    assert kinds(made) == [(FB, 60), (FB, 60)]


def test_two_fast_brackets_part_at_a_pause_though_focus_ties() -> None:
    made = start()
    candidate(made, even(0, 0.09, 15), [0.27] * 15, **BRACKET)
    candidate(made, even(1.5, 0.09, 15), [0.27] * 15, **BRACKET)
    assert kinds(made) == [(FB, 15), (FB, 15)]


def test_frames_deleted_at_a_pause_of_their_own_length_leave_one_bracket() -> None:
    made = start()
    candidate(made, even(0, 0.6, 20), climbing(0.3, 0.01, 20), **BRACKET)
    made.number += 6
    candidate(made, even(7 * 0.6, 0.6, 20), climbing(0.3 * 1.01**26, 0.01, 20), **BRACKET)
    assert kinds(made) == [(FB, 40)]


def test_two_brackets_are_two_when_the_shot_number_begins_again() -> None:
    made = start()
    for _ in range(2):
        for index in range(20):
            made.press(2.0 if index == 0 else 0.2, shot_number=index + 1, **BRACKET)
    assert kinds(made) == [(FB, 20), (FB, 20)]
    assert "shot number began again" in account(made).sequences[1].grounds.begins


def test_number_one_behind_a_frame_without_a_number_begins_a_series() -> None:
    made = start(flash_fired=True)
    candidate(made, [0], None, drive_mode=DriveMode.SINGLE)
    for index in range(12):
        made.press(11.0 if index == 0 else 4.0, shot_number=index + 1, drive_mode=DriveMode.SINGLE)
    assert [count for _, count in kinds(made)] == [1, 12]


def test_a_planned_count_joins_what_adds_up_to_it() -> None:
    made = start(flash_fired=True)
    pauses = [0, 9.8, 12.6, 19.4, *[2.8] * 4, 8.5, 2.8, 24.2, 2.7, 19.7, *[2.9] * 7]
    candidate(made, pauses, None, planned=20, **BRACKET)
    assert kinds(made) == [(FB, 20)]


def test_singles_in_continuous_drive_are_no_burst() -> None:
    made = start()
    candidate(made, [0, 7.0, 8.0, 13.0], [0.78] * 4, **(BURST | {"focus_mode": None}))
    assert kinds(made) == [(S, 1)] * 4


def test_a_stack_by_hand_whose_centimetres_tie_is_no_burst() -> None:
    made = start()
    candidate(made, [0, *[4.0, 5.0, 6.0] * 4], [0.3] * 13, **(HAND | {"flash_fired": False}))
    assert kinds(made) == [(MS, 13)]


def test_a_shot_number_that_never_counts_says_nothing() -> None:
    made = start()
    candidate(made, even(0, 0.12, 14), [0.4] * 14, shot_number=1, **BURST)
    assert kinds(made) == [(B, 14)]


def test_a_bracket_from_the_wrong_end_and_its_retake_are_two_and_say_so() -> None:
    made = start()
    candidate(made, even(0, 0.3, 20), climbing(0.42, 0.008, 20), planned=20, **BRACKET)
    candidate(made, even(7, 0.3, 72), climbing(0.30, 0.007, 72), planned=72, **BRACKET)
    assert kinds(made) == [(FB, 20), (FB, 72)]
    assert account(made).sequences[1].relations == (Relation(what=RelationKind.RETAKE, to=0),)


def test_a_bracket_that_goes_on_where_the_last_one_ended_says_so() -> None:
    made = start()
    candidate(made, even(0, 0.3, 25), climbing(0.30, 0.02, 25), planned=25, **BRACKET)
    candidate(made, even(4, 0.3, 25), climbing(0.30 * 1.02**25, 0.02, 25), planned=25, **BRACKET)
    assert kinds(made) == [(FB, 25), (FB, 25)]
    assert account(made).sequences[1].relations == (Relation(what=RelationKind.GOES_ON, to=0),)


def test_a_stopped_bracket_counts_itself_against_its_plan() -> None:
    made = start()
    candidate(made, even(0, 0.25, 11), climbing(0.3, 0.005, 11), planned=48, **BRACKET)
    (only,) = account(made).sequences
    assert (only.kind, only.planned, only.notes) == (FB, 48, ("11 of 48, stopped",))


def test_flash_recycling_within_a_bracket_is_no_boundary() -> None:
    made = start(flash_fired=True)
    pauses = even(0, 1.5, 24)
    pauses[7], pauses[15] = 9.0, 22.0
    candidate(made, pauses, climbing(0.3, 0.01, 24), planned=24, **BRACKET)
    assert kinds(made) == [(FB, 24)]


def test_the_same_pauses_with_focus_falling_back_are_boundaries() -> None:
    made = start(flash_fired=True)
    for first in (0, 9.0, 22.0):
        candidate(made, even(first, 1.5, 8), climbing(0.3, 0.01, 8), **BRACKET)
    assert kinds(made) == [(FB, 8)] * 3


UNEVEN = [0.0, 0.3, 0.5, 0.2, 1.6, 0.35, 0.25, 0.6, 1.9, 0.3, 0.4, 0.2, 0.45, 0.3, 1.2, 0.3]


def test_a_flash_lit_spray_of_uneven_rhythm_is_one_burst() -> None:
    made = start(flash_fired=True)
    candidate(made, UNEVEN, [0.45] * 16, **BURST)
    assert kinds(made) == [(B, 16)]


def test_a_bracket_of_the_same_rhythm_and_settings_is_a_bracket() -> None:
    made = start(flash_fired=True)
    told = BURST | {"bracketing": Bracketing.FOCUS}
    candidate(made, UNEVEN, climbing(0.45, 0.02, 16), **told)
    assert kinds(made) == [(FB, 16)]


def test_a_burst_that_tracks_its_subject_is_a_burst() -> None:
    made = start()
    wandering = [0.50, 0.52, 0.55, 0.53, 0.50, 0.48, 0.47, 0.49, 0.52, 0.56, 0.54, 0.51]
    candidate(made, even(0, 0.1, 12), wandering, **BURST)
    assert kinds(made) == [(B, 12)]


def test_a_steady_burst_in_manual_focus_may_be_a_hand_held_stack() -> None:
    made = start()
    candidate(made, even(0, 0.12, 14), [0.4] * 14, **BURST)
    (only,) = account(made).sequences
    assert only.kind is B
    assert "may be a hand-held stack: the pictures must tell" in only.notes


HAND_PAUSES = [0, 3.1, 2.4, 5.8, 4.0, 2.9, 6.5, 3.3]


def test_focus_turned_by_hand_is_a_manual_stack() -> None:
    made = start()
    candidate(made, HAND_PAUSES, climbing(0.33, 0.02, 8), **HAND)
    assert kinds(made) == [(MS, 8)]


def test_four_tries_in_manual_focus_at_wandering_distances_are_singles() -> None:
    made = start()
    candidate(made, [0, 12.0, 11.0, 13.5], [0.33, 0.58, 0.29, 0.47], **HAND)
    assert kinds(made) == [(S, 1)] * 4


def test_two_hand_turned_stacks_part_where_focus_falls_back() -> None:
    made = start()
    candidate(made, HAND_PAUSES, climbing(0.33, 0.02, 8), **HAND)
    candidate(made, [14.0, *HAND_PAUSES[1:]], climbing(0.33, 0.02, 8), **HAND)
    assert kinds(made) == [(MS, 8), (MS, 8)]


def test_slices_in_the_order_middle_nearer_farther_are_one_bracket() -> None:
    made = start()
    places = [0.40, 0.39, 0.38, 0.37, 0.36, 0.42, 0.43, 0.44, 0.45]
    for index, place in enumerate(places):
        candidate(made, [0.3 if index else 0.0], [place], shot_number=index + 1, **BRACKET)
    assert kinds(made) == [(FB, 9)]


def _press_set(
    made: Shoot, order: tuple[float, ...], first: float, beat: float, **facts: object
) -> None:
    for index, ev in enumerate(order):
        told = {"exposure_time_s": 2**ev / 60, "exposure_bias_ev": ev} | facts
        made.press(first if index == 0 else beat, **told)


def test_exposure_brackets_of_many_orders_are_known_by_their_set() -> None:
    orders = [
        (0, -1, 1), (-1, 0, 1), (1, 0, -1), (0, -1, 1, -2, 2), (-2, -1, 0, 1, 2),
        (0, -1, 1, -2, 2, -3, 3), (-4, -3, -2, -1, 0, 1, 2, 3, 4),
    ]  # fmt: skip
    for order in orders:
        made = start()
        _press_set(made, order, 0, 0.25, bracketing=Bracketing.EXPOSURE)
        assert kinds(made) == [(EB, len(order))], order


def test_identical_exposure_sets_in_a_row_part_where_the_pattern_repeats() -> None:
    made = start()
    for first in (0, 1.5, 2.0):
        _press_set(made, (0, -1, 1), first, 0.3, bracketing=Bracketing.EXPOSURE)
    assert kinds(made) == [(EB, 3)] * 3


def test_an_exposure_bracket_in_manual_mode_is_known_though_the_bias_stays_zero() -> None:
    made = start()
    _press_set(made, (0, -2, 2), 0, 2.5, exposure_bias_ev=0.0, auto_bracket=True)
    assert kinds(made) == [(EB, 3)]


def test_pressed_sets_in_thirds_part_where_they_repeat() -> None:
    made = start()
    told = {"bracketing": Bracketing.EXPOSURE, "drive_mode": DriveMode.SINGLE}
    for first in (0, 1.9, 2.5):
        _press_set(made, (-1 / 3, 0, 1 / 3), first, 2.9, **told)
    assert kinds(made) == [(EB, 3)] * 3


def test_three_frames_of_one_exposure_are_no_exposure_bracket() -> None:
    made = start()
    _press_set(made, (0, 0, 0), 0, 0.3, drive_mode=DriveMode.CONTINUOUS)
    assert kinds(made) == [(B, 3)]


def test_exposures_changed_by_hand_are_an_exposure_bracket() -> None:
    made = start()
    for index in range(12):
        pause = 0.0 if index == 0 else 6.0 + index % 3
        told = TRY | {"exposure_time_s": 2 ** (index * 2 / 3) / 500}
        candidate(made, [pause], [0.8], **told)
    assert kinds(made) == [(EB, 12)]


def test_singles_with_exposures_here_and_there_are_singles() -> None:
    made = start()
    times = (1 / 60, 1 / 250, 1 / 100, 1 / 200, 1 / 80)
    places = (0.8, 0.5, 1.2, 0.4, 0.7)
    for time, place, pause in zip(times, places, (0, 21, 9, 40, 14), strict=True):
        candidate(made, [pause], [place], **(TRY | {"exposure_time_s": time}))
    assert kinds(made) == [(S, 1)] * 5


def test_a_lone_frame_with_bracketing_left_on_is_a_single() -> None:
    made = start()
    candidate(made, [0], [0.5], **TRY)
    candidate(made, [30], [0.4], planned=40, **BRACKET)
    candidate(made, [25], [0.6], **TRY)
    assert kinds(made) == [(S, 1)] * 3
    assert "left on" in account(made).sequences[1].notes[0]


def test_an_interval_series_is_one_even_when_the_light_drifts() -> None:
    made = start()
    for index in range(14):
        time = 2 ** (index // 4 / 3) / 125
        pause = 0.0 if index == 0 else 10.0 - 1 / 125
        candidate(made, [pause], [0.6], **(TRY | {"exposure_time_s": time}))
    assert kinds(made) == [(I, 14)]


def test_a_slow_flash_bracket_beside_it_is_a_bracket() -> None:
    made = start(flash_fired=True)
    candidate(made, even(0, 4.0, 14), climbing(0.3, 0.012, 14), planned=14, **BRACKET)
    assert kinds(made) == [(FB, 14)]


def test_a_long_exposure_is_no_pause() -> None:
    made = start(exposure_time_s=2.0)
    candidate(made, even(0, 0.3, 10), climbing(0.3, 0.01, 10), **BRACKET)
    assert kinds(made) == [(FB, 10)]


def test_a_body_without_a_word_on_focus_gives_a_burst_that_may_be_a_stack() -> None:
    made = start()
    candidate(made, even(0, 0.25, 30), None, drive_mode=DriveMode.CONTINUOUS)
    (only,) = account(made).sequences
    assert only.kind is B
    assert "may be a focus stack: this body does not tell its focus" in only.notes


def test_two_steady_series_of_a_body_that_hides_its_focus_part_at_a_pause_off_the_beat() -> None:
    made = start()
    candidate(made, even(0, 0.25, 30), None, drive_mode=DriveMode.CONTINUOUS)
    candidate(made, even(2.2, 0.25, 30), None, drive_mode=DriveMode.CONTINUOUS)
    assert kinds(made) == [(B, 30), (B, 30)]


def test_a_flash_that_recycles_does_not_part_a_steady_series_of_such_a_body() -> None:
    made = start(flash_fired=True)
    pauses = even(0, 1.6, 30)
    pauses[11], pauses[21] = 7.5, 11.0
    candidate(made, pauses, None, drive_mode=DriveMode.CONTINUOUS)
    assert kinds(made) == [(B, 30)]


def test_two_sprays_some_seconds_apart_are_two_bursts() -> None:
    made = start(flash_fired=True)
    candidate(made, UNEVEN, [0.45] * 16, **BURST)
    candidate(made, [9.0, *UNEVEN[1:]], [0.45] * 16, **BURST)
    assert kinds(made) == [(B, 16), (B, 16)]


def test_tries_at_one_focus_are_singles_and_no_stack() -> None:
    made = start()
    candidate(made, [0, 14.0, 9.0, 22.0], [0.45] * 4, **HAND)
    assert kinds(made) == [(S, 1)] * 4


def test_a_body_without_maker_notes_is_sorted_by_time_and_exposure() -> None:
    made = start(lens="")
    candidate(made, [0, 25, 40], None)
    candidate(made, even(30, 0.15, 12), None)
    candidate(made, [33], None)
    assert kinds(made) == [(S, 1)] * 3 + [(B, 12), (S, 1)]


def test_another_lens_always_begins_anew() -> None:
    made = start()
    candidate(made, even(0, 0.2, 10), None, **BURST)
    candidate(made, even(0.2, 0.2, 10), None, lens="24mm F1.8 Close Focus", **BURST)
    assert kinds(made) == [(B, 10), (B, 10)]


def test_frames_deleted_in_the_camera_leave_one_sequence_with_a_note() -> None:
    made = start()
    candidate(made, even(0, 0.3, 40), climbing(0.3, 0.01, 40), planned=40, **BRACKET)
    kept = [frame for frame in made.frames if frame.files[0].file.stem[-4:] not in _GONE]
    (only,) = account_for(Reading(frames=tuple(kept))).sequences
    assert len(only.frames) == 37
    assert only.notes == ("37 of 40, 0016 to 0018 missing",)


_GONE = {"0016", "0017", "0018"}


def test_a_series_goes_over_9999_into_the_next_folder() -> None:
    made = start()
    made.number = 9990
    candidate(made, even(0, 0.3, 25), climbing(0.3, 0.01, 25), planned=25, **BRACKET)
    (only,) = account(made).sequences
    assert [frame.path for frame in only.frames[9:11]] == [
        "DCIM/100ROCKP/POOL9999.JPG", "DCIM/101ROCKP/POOL0001.JPG",
    ]  # fmt: skip
    assert only.notes == ()


def test_a_new_folder_for_every_bracket_with_equal_names_is_normal() -> None:
    made = start()
    for directory in (100, 101, 102):
        made.directory, made.number = directory, 1
        candidate(made, even(2, 0.3, 12), climbing(0.3, 0.01, 12), **BRACKET)
    assert kinds(made) == [(FB, 12)] * 3


def test_two_bodies_with_equal_names_and_other_clocks_keep_their_own_timelines() -> None:
    one, two = start(), start(model="Stepper", serial="0077")
    candidate(one, even(0, 0.3, 20), climbing(0.3, 0.01, 20), **BRACKET)
    two.clock_us += 2_000_000
    candidate(two, even(0, 0.3, 20), climbing(0.3, 0.01, 20), **BRACKET)
    others = with_paths(two.frames, [f.path.replace("100", "200") for f in two.frames])
    both = account_for(Reading(frames=(*one.frames, *others)))
    assert [(s.kind, len(s.frames)) for s in both.sequences] == [(FB, 20), (FB, 20)]
    assert {frame.path for frame in both.order} == {f.path for f in (*one.frames, *others)}


def test_the_counter_keeps_the_order_where_the_clock_was_set_back() -> None:
    made = start()
    candidate(made, even(0, 0.3, 20), climbing(0.3, 0.01, 20), planned=20, **BRACKET)
    made.clock_us -= 3600 * 1_000_000
    candidate(made, even(40, 0.3, 15), climbing(0.5, 0.01, 15), planned=15, **BRACKET)
    assert kinds(made) == [(FB, 20), (FB, 15)]
    assert [frame.path[-8:-4] for frame in account(made).order] == [
        f"{number:04d}" for number in range(1, 36)
    ]
    assert "clock was set back" in account(made).sequences[1].grounds.begins


def test_sequences_are_numbered_as_their_first_frames_are() -> None:
    one, two = start(), start(model="Stepper", serial="0077")
    candidate(one, even(0, 2, 5), climbing(0.3, 0.2, 5), **TRY)
    one.clock_us -= 1800 * 1_000_000
    candidate(one, even(2, 20, 3), climbing(0.3, 0.2, 3), **TRY)
    two.clock_us += 5_000_000
    candidate(two, [0], [0.4], **TRY)
    others = with_paths(two.frames, ["DCIM/200ROCKP/POOL0001.JPG"])
    both = account_for(Reading(frames=(*one.frames, *others)))
    place = {frame.path: index for index, frame in enumerate(both.order)}
    firsts = [place[sequence.frames[0].path] for sequence in both.sequences]
    assert firsts == sorted(firsts)


def test_a_marked_result_belongs_to_its_sources_and_is_no_slice() -> None:
    made = start()
    candidate(made, even(0, 0.3, 8), climbing(0.3, 0.02, 8), planned=8, **BRACKET)
    candidate(made, [12], [0.3], merged="focus", merged_from=8, **BRACKET)
    candidate(made, [30], [0.5], **TRY)
    found = account(made).sequences
    assert [(s.kind, len(s.frames), len(s.results)) for s in found] == [(FB, 8, 1), (S, 1, 0)]
    assert len(account(made).order) == 10


def test_a_marked_result_without_sources_is_a_single_and_says_so() -> None:
    made = start()
    candidate(made, [0], [0.3], merged="focus", merged_from=8)
    (only,) = account(made).sequences
    assert only.kind is S
    assert "its sources are not on the card" in only.notes[0]


def _with_raw(frame: Frame) -> Frame:
    raw = replace(frame.files[0], role=Role.RAW)
    return replace(frame, files=(raw, *frame.files))


def test_a_lone_picture_behind_a_bracket_of_raws_is_its_unmarked_result() -> None:
    made = start()
    candidate(made, even(0, 0.3, 8), climbing(0.3, 0.02, 8), planned=8, **BRACKET)
    candidate(made, [9], [0.3], planned=8, **BRACKET)
    frames = (*map(_with_raw, made.frames[:8]), made.frames[8])
    (only,) = account_for(Reading(frames=frames)).sequences
    assert (len(only.frames), len(only.results)) == (8, 1)


def test_the_same_picture_with_a_raw_of_its_own_is_a_frame() -> None:
    made = start()
    candidate(made, even(0, 0.3, 8), climbing(0.3, 0.02, 8), planned=8, **BRACKET)
    candidate(made, [9], [0.3], planned=8, **BRACKET)
    found = account_for(Reading(frames=tuple(map(_with_raw, made.frames)))).sequences
    assert [(len(s.frames), len(s.results)) for s in found] == [(8, 0), (1, 0)]


def test_one_exposure_under_two_names_is_one_frame() -> None:
    made = start()
    candidate(made, [0], [0.5], **TRY)
    twin = with_paths(made.frames, ["DCIM/100ROCKP/POOL0002.JPG"])
    (only,) = account_for(Reading(frames=(*made.frames, *twin))).sequences
    assert len(only.frames) == 1
    assert len(only.frames[0].files) == 2


def test_one_exposure_under_three_names_is_one_frame() -> None:
    made = start()
    candidate(made, [0], [0.5], **TRY)
    names = [f"DCIM/100ROCKP/POOL000{number}.JPG" for number in (1, 2, 3)]
    (only,) = account_for(Reading(frames=with_paths(made.frames * 3, names))).sequences
    assert [len(frame.files) for frame in only.frames] == [3]


def test_several_frames_within_a_second_are_no_hand() -> None:
    made = start()
    for first in (0, 2.0, 2.0):
        candidate(made, even(first, 0.1, 10), None)
    coarse = tuple(
        replace(f, facts=replace(f.facts, moment=Moment(local_s=f.moment.local_s)))
        for f in made.frames
    )
    found = account_for(Reading(frames=coarse)).sequences
    assert {sequence.kind for sequence in found} == {B}


def test_two_frames_of_a_fast_burst_in_one_hundredth_stay_two() -> None:
    made = start()
    candidate(made, even(0, 0.0, 6), [0.5] * 6, **BURST)
    same = made.frames[0].moment
    frames = tuple(replace(f, facts=replace(f.facts, moment=same)) for f in made.frames)
    (only,) = account_for(Reading(frames=frames)).sequences
    assert len(only.frames) == 6


def test_a_missing_fraction_never_sorts_as_zero() -> None:
    made = start()
    candidate(made, even(0, 0.3, 3), None, **BURST)
    second = made.frames[0].moment.local_s
    moments = [
        Moment(local_s=second, digits="40"), Moment(local_s=second),
        Moment(local_s=second, digits="70"),
    ]  # fmt: skip
    frames = tuple(
        replace(frame, facts=replace(frame.facts, moment=moment))
        for frame, moment in zip(made.frames, moments, strict=True)
    )
    assert [f.path[-5] for f in account_for(Reading(frames=frames)).order] == ["1", "2", "3"]


def test_an_empty_card_has_an_empty_account() -> None:
    assert account_for(Reading(frames=())).sequences == ()
