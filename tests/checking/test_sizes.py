"""Pictures too small to tell what is sharp: brightness and likeness are judged, and nothing of focus."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from checking.scene import black, slices, whole
from sorter.checking.judging import Series, judgement
from sorter.checking.series import judge
from sorter.model.finding import Check, Verdict
from sorter.model.kinds import Kind
from sorter.model.measurement import MeasuredSeries
from sorter.pixels.measuring import chained
from sorter.pixels.sharpness import measure
from sorter.pixels.shifts import Placeable, placeable


def frame(picture: np.ndarray, scale: float = 1.0, small: float = 1.0) -> Placeable:
    """A frame of a picture that was decoded at so many times its pixels. small: what is left of it."""
    if small < 1:
        picture = cv2.resize(picture, None, fx=small, fy=small, interpolation=cv2.INTER_AREA)
    return placeable(picture, measure(picture, scale))


def series(pictures: list[np.ndarray], small: dict[int, float] | float = 1.0) -> MeasuredSeries:
    shares = small if isinstance(small, dict) else dict.fromkeys(range(len(pictures)), small)
    return chained(
        frame(
            each, scale=2.0 if n not in shares or shares[n] == 1 else 1.0, small=shares.get(n, 1.0)
        )
        for n, each in enumerate(pictures)
    )


def check(measured: MeasuredSeries, kind: Kind = Kind.FOCUS_BRACKET) -> Check:
    return judge(measured, sequence=1, kind=kind).check


CUT_SHORT = whole(20)[6:]
"""A stack that begins in the middle of its subject."""


def test_thumbnails_of_a_stack_say_nothing_of_its_focus() -> None:
    """Its near twin, the same slices in full, starts late."""
    full = check(series(slices(CUT_SHORT)))
    assert (full.verdict, full.judged_at) == (Verdict.INCOMPLETE, 960)
    assert "pixels" not in full.says
    little = check(series(slices(CUT_SHORT), 1 / 3))
    assert little.judged_at == 160
    told = (little.verdict, little.missing_end, little.gaps, little.surplus, little.looks_like)
    assert told == (Verdict.UNJUDGED, None, (), (), None)
    assert (little.order, little.moved, little.drift_px) == ((), (), None)
    assert little.says.startswith(
        "Cannot be judged: the largest picture that can be decoded has 160 pixels"
    )


def test_brightness_and_likeness_of_thumbnails_are_judged() -> None:
    pictures = slices(whole())
    pictures[4] = pictures[4] // 8
    pictures[9] = slices([0.5], seed=2)[0]
    found = check(series(pictures, 1 / 3))
    assert (found.dark, found.odd) == ((5,), (10,))
    assert found.verdict is Verdict.UNJUDGED


@pytest.mark.parametrize("kind", [Kind.BURST, Kind.SINGLE, Kind.FOCUS_BRACKET])
def test_nothing_is_proposed_by_thumbnails(kind: Kind) -> None:
    pictures = [*slices(whole(9)), black(), *slices(whole(8))]
    made = Series(kind=kind, is_lone=kind is Kind.SINGLE, measured=series(pictures, 1 / 3))
    assert judgement(made).proposed == ()
    in_full = judgement(replace(made, measured=series(pictures)))
    assert in_full.proposed != () or kind is Kind.FOCUS_BRACKET


def test_of_a_burst_of_thumbnails_none_is_best() -> None:
    pictures = slices([0.5] * 6)
    assert check(series(pictures), Kind.BURST).best_frames
    found = check(series(pictures, 1 / 3), Kind.BURST)
    assert (found.best_frames, found.looks_like) == ((), None)
    assert "Only brightness and likeness were judged" in found.says


@pytest.mark.parametrize(("small", "told"), [(1.0, True), (800 / 480, False)])
def test_from_480_to_800_pixels_the_size_is_told(small: float, *, told: bool) -> None:
    pictures = slices(whole())
    found = check(chained(frame(each, scale=small) for each in pictures))
    assert (found.verdict, found.judged_at) == (Verdict.COMPLETE, round(480 * small))
    assert ("Judged on pictures of 480 pixels" in found.says) is told


@pytest.mark.parametrize("at", [0, 6, 13])
def test_a_thumbnail_among_large_pictures_counts_as_one_that_cannot_be_seen(at: int) -> None:
    found = check(series(slices(whole()), {at: 1 / 3}))
    assert (found.unseen, found.too_small, found.judged_at) == ((at + 1,), (at + 1,), 960)
    assert (found.odd, found.dark, found.gaps, found.order) == ((), (), (), ())
    pictures = [
        None if n == at else frame(each, scale=2.0) for n, each in enumerate(slices(whole()))
    ]
    unseen = check(chained(pictures))
    assert found == replace(unseen, too_small=(at + 1,))
    assert found.verdict is Verdict.USABLE  # there is half a step to spare at both ends
    assert (
        f"Too small to tell what is sharp, below 480 pixels on the longer side: {at + 1}"
        in found.says
    )
    assert "Cannot be looked at" not in found.says


def test_thumbnails_among_large_pictures_are_no_markers() -> None:
    measured = series(slices(whole()), {6: 1 / 3, 7: 1 / 3})
    made = Series(kind=Kind.FOCUS_BRACKET, is_lone=False, measured=measured)
    assert judgement(made).proposed == ()
