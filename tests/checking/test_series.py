"""The rules on one series at a time, each fault by itself in a stack that has no other."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from cardmaking.defocus import moved
from checking.scene import SIZE, black, cut, judged, measured, slices, whole
from sorter.checking.attempts import attempts
from sorter.checking.judging import Series, judgement
from sorter.checking.series import judge
from sorter.checking.singles import stacks_in
from sorter.model.finding import Check, End, Verdict
from sorter.model.kinds import Kind


def found(pictures: list[np.ndarray], kind: Kind = Kind.FOCUS_BRACKET) -> Check:
    return judged(pictures, kind).check


@pytest.mark.parametrize("kind", [Kind.FOCUS_BRACKET, Kind.MANUAL_STACK])
@pytest.mark.parametrize("turned", [False, True])
def test_a_stack_without_a_fault(kind: Kind, *, turned: bool) -> None:
    check = found(slices(whole()[::-1] if turned else whole()), kind)
    assert (check.verdict, check.missing_end, check.looks_like) == (Verdict.COMPLETE, None, None)
    assert check.gaps == check.jumps == check.moved == check.dark == check.odd == check.order == ()
    assert check.bright_steps == check.bright_ev == check.unseen == ()
    assert check.drift_px is not None
    assert check.drift_px < 0.015 * SIZE[0]  # what each step is off by adds up


def test_ends_and_surplus_are_where_they_are() -> None:
    late = found(slices(whole()[4:]))
    assert (late.verdict, late.missing_end) == (Verdict.INCOMPLETE, End.FIRST)
    short = found(slices(whole()[:-4]))
    assert (short.verdict, short.missing_end) == (Verdict.INCOMPLETE, End.LAST)
    long = found(slices(np.linspace(-0.3, 1.3, 22)))
    assert (long.verdict, long.missing_end) == (Verdict.COMPLETE, None)
    assert long.surplus
    assert set(long.surplus) <= {1, 2, 3, 4, 19, 20, 21, 22}
    assert (long.keep_first, long.keep_last) == (
        min(set(range(1, 23)) - set(long.surplus)),
        max(set(range(1, 23)) - set(long.surplus)),
    )


def test_a_misfired_flash_is_dark_and_the_stack_usable() -> None:
    pictures = slices(whole())
    pictures[6] = (pictures[6] * 0.2).astype(np.uint8)
    check = found(pictures)
    assert (check.verdict, check.dark, check.odd) == (Verdict.USABLE, (7,), ())
    assert "Dark" in check.says


def test_a_frame_of_something_else_is_odd() -> None:
    pictures = slices(whole())
    pictures[6] = slices([0.5], seed=9)[0]
    check = found(pictures)
    assert (check.verdict, check.odd) == (Verdict.USABLE, (7,))


def test_a_jump_is_named_at_its_place() -> None:
    pictures = slices(whole())
    pictures = [np.roll(each, 40, 1) if index > 6 else each for index, each in enumerate(pictures)]
    check = found(pictures)
    assert (check.jumps, check.verdict) == ((7,), Verdict.USABLE)
    assert check.drift_px == pytest.approx(40, abs=2)


def test_breathing_is_told_as_growth() -> None:
    pictures = [
        moved(each[..., None].repeat(3, 2), 0, 0, 1 + 0.002 * index)[..., 0]
        for index, each in enumerate(slices(whole(11)))
    ]
    check = found(pictures)
    assert check.growth == pytest.approx(0.02, abs=0.004)
    assert check.verdict is Verdict.COMPLETE


def test_what_moves_by_itself_is_named_and_too_much_of_it_breaks_the_stack() -> None:
    pictures = slices(whole())
    for index, each in enumerate(pictures):
        if index in (8, 9):
            each[180:280, 120:300] = each[160:260, 100:280].copy()
    assert set(found(pictures).moved) == {8, 10}
    restless = slices(whole())
    for index, each in enumerate(restless):
        by = (-1) ** index * 18
        each[160:300, 60:400] = np.roll(each, by, 1)[160:300, 60:400]
    assert found(restless).verdict is Verdict.BROKEN


def test_a_step_of_light_has_its_ev() -> None:
    """Twice the light in linear values by sRGB's curve (IEC 61966-2-1, from memory) is +1 EV."""
    pictures = slices(whole())
    levels = np.arange(256) / 255
    linear = np.where(levels <= 0.04045, levels / 12.92, ((levels + 0.055) / 1.055) ** 2.4)
    darker = linear / 2
    shown = np.where(darker <= 0.0031308, darker * 12.92, 1.055 * darker ** (1 / 2.4) - 0.055)
    table = np.rint(shown * 255).astype(np.uint8)
    check = found([cv2.LUT(each, table) if n < 5 else each for n, each in enumerate(pictures)])
    assert check.bright_steps == (5,)
    assert check.bright_ev == pytest.approx((1.0,), abs=0.2)
    assert f"5 ({check.bright_ev[0]:+.1f} EV)" in check.says
    assert (check.verdict, check.dark) == (Verdict.COMPLETE, ())


def test_a_gap_is_said_beside_the_estimate_of_the_step() -> None:
    places = [*whole(20)[:9], *whole(20)[12:]]
    check = judge(
        measured(slices(places)), sequence=1, kind=Kind.FOCUS_BRACKET, step_of_depth=0.83
    ).check
    assert (check.verdict, check.gaps) == (Verdict.INCOMPLETE, (9,))
    assert "0.8 of the depth of field (an estimate" in check.says
    sound = judge(
        measured(slices(whole())), sequence=1, kind=Kind.FOCUS_BRACKET, step_of_depth=0.83
    ).check
    assert sound.step_of_depth == 0.83
    assert "estimate" not in sound.says


# ---- what the pictures tell about grouping -----------------------------------------------------


def test_a_marker_parts_two_stacks_turned_by_hand() -> None:
    two = [*slices(whole(9)), black(), *slices(whole(8))]
    found = cut(two, Kind.MANUAL_STACK)
    assert [(each.first, each.last, each.kind) for each in found] == [
        (0, 8, Kind.MANUAL_STACK),
        (9, 9, Kind.MARKER),
        (10, 17, Kind.MANUAL_STACK),
    ]


def test_a_misfire_within_a_stack_parts_nothing() -> None:
    pictures = slices(whole())
    pictures[6] = black()
    assert cut(pictures, Kind.MANUAL_STACK) == []
    assert judged(pictures, Kind.MANUAL_STACK).check.dark == (7,)


def test_a_hand_before_the_lens_parts_two_stacks() -> None:
    hand = cv2.GaussianBlur(np.full((SIZE[1], SIZE[0]), 150, np.uint8), (0, 0), 9)
    hand[:, :160] = 90
    hand = cv2.GaussianBlur(hand, (0, 0), 40)
    found = cut([*slices(whole(9)), hand, *slices(whole(8))], Kind.MANUAL_STACK)
    assert [each.kind for each in found] == [Kind.MANUAL_STACK, Kind.MARKER, Kind.MANUAL_STACK]


def test_a_stack_and_one_of_another_scene_are_two() -> None:
    found = cut([*slices(whole(9)), *slices(whole(9), seed=9)], Kind.MANUAL_STACK)
    assert [(each.first, each.last, each.kind) for each in found] == [
        (0, 8, Kind.MANUAL_STACK),
        (9, 17, Kind.MANUAL_STACK),
    ]


def test_a_burst_that_wanders_is_a_stack_and_one_that_stays_is_left() -> None:
    (piece,) = cut(slices(whole()), Kind.BURST)
    assert (piece.first, piece.last) == (0, 13)
    assert piece.kind in (Kind.FOCUS_BRACKET, Kind.MANUAL_STACK)
    still = slices([0.5] * 10)
    assert cut(still, Kind.BURST) == []
    (piece,) = cut(still, Kind.FOCUS_BRACKET)
    assert piece.kind is Kind.BURST


def test_singles_of_one_framing_that_differ_in_what_is_sharp_are_a_stack() -> None:
    other = slices([0.3], seed=9) + slices([0.6], seed=17)
    found = list(stacks_in(measured([other[0], *slices(whole(7)), other[1]]), 3))
    assert [(each.first, each.last, each.kind) for each in found] == [(1, 7, Kind.MANUAL_STACK)]
    again = list(stacks_in(measured([*other, *slices([0.5] * 6)]), 3))
    assert again == [], "frames of one focus are tries"


@pytest.mark.parametrize("seed", range(6))
def test_spray_all_over_the_frame_is_no_focus_that_wanders(seed: int) -> None:
    dice = np.random.default_rng(seed)
    pictures = slices([0.5] * 9)
    for each in pictures:
        for _ in range(int(dice.integers(20, 120))):
            at = int(dice.integers(0, SIZE[0])), int(dice.integers(0, SIZE[1]))
            cv2.circle(each, at, int(dice.integers(1, 8)), int(dice.integers(170, 255)), -1)
    assert judged(pictures, Kind.BURST).check.looks_like is None
    assert cut(pictures, Kind.BURST) == []
    assert list(stacks_in(measured(pictures), 3)) == []


# ---- attempts and bursts -----------------------------------------------------------------------


def test_of_two_attempts_the_whole_one_is_best_and_of_two_whole_ones_the_finer() -> None:
    short, whole_one, finer = (
        judgement(Series(kind=Kind.FOCUS_BRACKET, is_lone=False, measured=measured(slices(places))))
        for places in (whole()[:-4], whole(), whole(20))
    )
    of = {1: short, 2: whole_one, 3: finer}
    found = attempts(of, [(1, 2), (3, 2)])
    assert found == dict.fromkeys((1, 2, 3), (3, 2, 1))
    assert attempts(of, [(1, 2)]) == dict.fromkeys((1, 2), (2, 1))
    assert attempts(of, []) == {}
    pictures = measured(slices([0.5] * 6))
    still = judgement(Series(kind=Kind.EXPOSURE_BRACKET, is_lone=False, measured=pictures))
    assert attempts({1: still, 2: still}, [(1, 2)]) == {}, "none of them is better than the other"


def test_the_best_of_a_burst_are_sharp_and_something_happens_in_them() -> None:
    pictures = slices([0.5] * 12)
    soft = {0, 1, 2, 3}
    splash = {7, 9}
    for index, each in enumerate(pictures):
        if index in soft:
            pictures[index] = cv2.GaussianBlur(each, (0, 0), 2.5)
        if index in splash:
            each[60:140, 200:300] = 235
    check = found(pictures, Kind.BURST)
    assert set(check.best_frames[:2]) == {8, 10}
    assert not {each + 1 for each in soft} & set(check.best_frames)
    assert len(check.best_frames) == 5
