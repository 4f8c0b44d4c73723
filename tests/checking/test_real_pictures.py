"""Findings on pictures that nobody made a model of: each fault with its near twin."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from cardmaking.defocus import with_noise
from checking.scene import SIZE, cut, judged, measured, slices, whole
from sorter.checking.judging import Series, judgement
from sorter.checking.series import judge
from sorter.model.finding import Unjudged, Verdict
from sorter.model.kinds import STACK_KINDS, Kind
from sorter.pixels.measuring import chained
from sorter.pixels.sharpness import measure
from sorter.pixels.shifts import placeable


def grown(picture: np.ndarray, by: float) -> np.ndarray:
    return cv2.resize(picture, None, fx=by, fy=by, interpolation=cv2.INTER_CUBIC)


# ---- surplus, and what cannot be judged --------------------------------------------------------


def test_no_slice_is_surplus_that_shows_more_than_a_fiftieth_of_the_tiles_sharpest() -> None:
    """However uneven the steps are: every third slice lacks, and the last ones lie close together."""
    places = [*np.linspace(-0.04, 0.6, 6), *np.linspace(0.7, 1.04, 9)]
    found = judged(slices(places))
    owned = np.bincount(found.wander.sharp.argmax(1), minlength=15) / len(found.wander.sharp)
    assert not [n for n in found.check.surplus if owned[n - 1] > 0.02]
    twin = judged(slices(np.linspace(-0.3, 1.3, 22))).check
    assert twin.surplus


def test_where_focus_explains_too_little_nothing_is_said_and_nothing_proposed() -> None:
    """Parts that are sharp or soft at random, as by a shaking hand; the twin is a stack of the same scene."""
    dice = np.random.default_rng(11)
    pictures = slices(whole())
    sharp = slices([0.5] * 14)
    strewn = []
    for picture in sharp:
        out = picture.copy()
        for y in range(0, SIZE[1], 40):
            for x in range(0, SIZE[0], 40):
                part = picture[y : y + 40, x : x + 40]
                soft = cv2.GaussianBlur(part, (0, 0), dice.uniform(0.3, 2.5))
                out[y : y + 40, x : x + 40] = soft
        strewn.append(out)
    check = judged(strewn).check
    assert (check.verdict, check.unjudged) == (Verdict.UNJUDGED, Unjudged.UNCLEAR)
    assert check.fitting is not None
    assert f"{check.fitting:.1%}" in check.says
    assert (check.surplus, check.gaps, check.missing_end, check.keep_first) == ((), (), None, None)
    assert cut(strewn, Kind.FOCUS_BRACKET) == []
    assert judged(pictures).check.verdict is Verdict.COMPLETE


# ---- pictures of other sizes, and of nothing ---------------------------------------------------


@pytest.mark.parametrize("at", [0, 6, 13])
@pytest.mark.parametrize("by", [0.75, 2.0])
def test_a_picture_of_another_size_stays_in_its_stack(at: int, by: float) -> None:
    pictures = slices(whole())
    pictures[at] = grown(pictures[at], by)
    kept = chained(
        placeable(each, measure(each, 4.0 if index != at else 4.0 / by))
        for index, each in enumerate(pictures)
    )
    found = judge(kept, sequence=1, kind=Kind.FOCUS_BRACKET).check
    assert (found.verdict, found.odd, found.jumps) == (Verdict.COMPLETE, (), ())
    made = Series(kind=Kind.FOCUS_BRACKET, is_lone=False, measured=kept)
    assert judgement(made).proposed == ()


def test_another_scene_of_another_size_is_another_scene() -> None:
    pictures = slices(whole())
    pictures[6] = grown(slices([0.5], seed=9)[0], 2.0)
    assert judged(pictures).check.odd == (7,)


def test_of_frames_that_show_nothing_nothing_is_claimed() -> None:
    grey = np.full((SIZE[1], SIZE[0], 3), 120, np.uint8)
    frames = [with_noise(grey, seed, 4.0)[..., 0].copy() for seed in range(15)]
    check = judged(frames).check
    assert (check.verdict, check.odd, check.jumps, check.moved) == (Verdict.UNJUDGED, (), (), ())
    assert check.looks_like is None
    assert cut(frames, Kind.FOCUS_BRACKET) == []


# ---- gaps ---------------------------------------------------------------------------------------


def test_one_slice_that_lacks_in_a_dense_stack_is_no_gap_and_a_dark_one_makes_none() -> None:
    dense = np.linspace(-0.03, 1.03, 44)
    assert judged(slices(np.delete(dense, 20))).check.gaps == ()
    pictures = slices(dense)
    pictures[20] = (pictures[20] * 0.15).astype(np.uint8)
    check = judged(pictures).check
    assert (check.gaps, check.dark, check.verdict) == ((), (21,), Verdict.USABLE)
    twin = judged(slices(np.delete(whole(20), [9, 10, 11]))).check
    assert twin.gaps == (9,)


def test_a_stack_that_is_cut_short_is_missing_its_end_whatever_else_is_found() -> None:
    places = np.delete(whole(24), [8, 9, 10])[:-5]
    check = judged(slices(places)).check
    assert check.gaps == (8,)
    assert check.missing_end == "last"


# ---- stacks that nothing but their pictures tells -----------------------------------------------


@pytest.mark.parametrize("noise", [1.0, 3.0, 6.0])
def test_a_stack_whose_focus_the_camera_hid_is_known_by_its_order(noise: float) -> None:
    frames = [
        with_noise(each[..., None].repeat(3, 2), seed, noise)[..., 0].copy()
        for seed, each in enumerate(slices(whole(18)))
    ]
    assert judged(frames, Kind.BURST).check.looks_like in STACK_KINDS
    still = [
        with_noise(each[..., None].repeat(3, 2), seed, noise)[..., 0].copy()
        for seed, each in enumerate(slices([0.5] * 18))
    ]
    assert judged(still, Kind.BURST).check.looks_like is None


# ---- movement -----------------------------------------------------------------------------------


def test_who_walks_through_a_stack_is_told_with_slices_and_place() -> None:
    """Something of a hundredth of the frame, in five slices."""
    pictures = slices(whole())
    walker = slices([0.5], seed=5)[0][:40, :40]
    for index in range(5, 10):
        x = 60 + 60 * (index - 5)
        pictures[index][200:240, x : x + 40] = walker
    check = judged(pictures).check
    assert set(check.moved) <= set(range(4, 12))
    assert len(set(check.moved) & set(range(5, 11))) >= 4
    assert check.verdict is Verdict.COMPLETE
    for left, top, width, height in check.boxes:
        assert 0.05 < left < left + width < 0.8
        assert 0.5 < top < top + height < 0.85
    assert "Something moved in the frame behind 6, 7, 9, 10 (lower " in check.says
    assert judged(slices(whole())).check.moved == ()


def test_light_that_flickers_moves_nothing() -> None:
    dice = np.random.default_rng(3)
    pictures = [
        np.clip(each * (1 + dice.normal(0, 0.05)), 0, 255).astype(np.uint8)
        for each in slices(whole())
    ]
    assert judge(measured(pictures), sequence=1, kind=Kind.FOCUS_BRACKET).check.moved == ()
