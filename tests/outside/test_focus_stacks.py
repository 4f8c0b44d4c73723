"""Findings on stacks of a real picture with real depth: see focus_stacks.py for the source."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from outside import focus_stacks as stacks
from sorter.checking.align import alignment
from sorter.checking.focus import find_focus
from sorter.checking.series import judge
from sorter.checking.tiles import CELLS, tiles
from sorter.model.finding import Check, End, Verdict
from sorter.model.kinds import Kind
from sorter.model.measurement import MeasuredSeries

BLURS = (0.3, 0.6, 1.0)
EVERY = list(range(stacks.SLICES))


def check(blur: float, keep: list[int], kind: Kind = Kind.FOCUS_BRACKET) -> Check:
    return judge(stacks.of(blur, keep), sequence=1, kind=kind).check


def lost(keep: list[int]) -> tuple[float, float]:
    """The share of textured tiles that have their own slice before the first and behind the last one."""
    held = textured()
    return float((held < keep[0] - 0.5).mean()), float((held > keep[-1] + 0.5).mean())


@cache
def textured() -> NDArray[np.float64]:
    """The slice that each textured tile is sharpest in, in parts of one.

    Texture is that of the sharp picture: its own Laplacian's energy, by OpenCV, at half the median.
    """
    import cv2  # noqa: PLC0415

    plain = cv2.cvtColor(stacks.scene()[0].picture, cv2.COLOR_BGR2GRAY).astype(np.float32)
    side = 24
    shape = plain.shape[0] // side, plain.shape[1] // side
    energy = cv2.Laplacian(plain, cv2.CV_32F) ** 2
    whole = energy[: shape[0] * side, : shape[1] * side]
    texture = whole.reshape(shape[0], side, shape[1], side).mean((1, 3))
    depth, _ = stacks.tile_depths(shape, side)
    own = (depth - stacks.planes()[0]) / np.diff(stacks.planes())[0]
    held: NDArray[np.float64] = own[texture > 0.5 * np.median(texture)]
    return held


@pytest.mark.parametrize("blur", BLURS)
def test_the_sharpest_slice_is_the_right_one(blur: float) -> None:
    """Within one slice for 98 % of the textured tiles that are flatter than a slice's step."""
    found = stacks.of(blur, EVERY)
    all_tiles = tiles(found, alignment(found), np.arange(stacks.SLICES))
    first = found.measurements[0]
    assert first is not None
    depth, span = stacks.tile_depths(all_tiles.shape, CELLS * first.cell)
    step = float(np.diff(stacks.planes())[0])
    flat = all_tiles.textured & (span.ravel() < step)
    own = (depth.ravel() - stacks.planes()[0]) / step
    assert flat.sum() > 60
    right = np.abs(all_tiles.sharp.argmax(1) - np.rint(own)) <= 1
    assert right[flat].mean() >= 0.98
    focus = find_focus(all_tiles.sharp[all_tiles.textured])
    placed = np.interp(focus.depth, focus.at, EVERY)[flat[all_tiles.textured]]
    assert np.median(np.abs(placed - own[flat])) < 0.5


@pytest.mark.parametrize("blur", BLURS)
def test_a_whole_stack_is_complete(blur: float) -> None:
    found = check(blur, EVERY)
    assert (found.verdict, found.missing_end, found.gaps) == (Verdict.COMPLETE, None, ())
    assert found.jumps == found.moved == found.dark == ()


@pytest.mark.parametrize("blur", BLURS)
@pytest.mark.parametrize("turned", [False, True])
def test_a_stack_that_is_cut_is_missing_that_end(blur: float, turned: bool) -> None:
    """Where 5 % of the textured tiles and more lose their slice; never where under 1 % do."""
    judged = 0
    for cut in range(1, 7):
        for end, keep in ((End.FIRST, EVERY[cut:]), (End.LAST, EVERY[:-cut])):
            share = max(lost(keep))
            order = keep[::-1] if turned else keep
            wanted = {End.FIRST: End.LAST, End.LAST: End.FIRST}[end] if turned else end
            found = check(blur, order).missing_end
            if share >= 0.05:
                assert found is wanted, (cut, end, share)
                judged += 1
            elif share < 0.01:
                assert found is None, (cut, end, share)
                judged += 1
    assert judged >= 8


@pytest.mark.parametrize("blur", BLURS)
@pytest.mark.parametrize("at", [3, 5, 16, 18, 20])
def test_two_slices_that_lack_are_a_gap_at_their_place(blur: float, at: int) -> None:
    found = check(blur, [*EVERY[:at], *EVERY[at + 2 :]])
    assert found.gaps == (at,)
    assert found.verdict is Verdict.INCOMPLETE


@pytest.mark.parametrize("blur", BLURS)
@pytest.mark.parametrize("first", [12, 13, 14])
def test_a_far_background_that_is_soft_does_not_count(blur: float, first: int) -> None:
    """From there on there is the motorcycle; what lies behind is far, and in no slice sharp."""
    found = check(blur, EVERY[first:])
    assert (found.verdict, found.missing_end) == (Verdict.COMPLETE, None)


@pytest.mark.parametrize("blur", BLURS)
def test_a_burst_whose_sharp_region_wanders_is_a_stack(blur: float) -> None:
    assert check(blur, EVERY, Kind.BURST).looks_like is Kind.FOCUS_BRACKET
    rocked = [3, 5, 4, 7, 6, 9, 11, 10, 13, 12, 15, 14, 17, 16, 19, 21, 20, 18, 22, 23]
    by_hand = check(blur, rocked, Kind.BURST)
    assert by_hand.looks_like is Kind.MANUAL_STACK
    order = [rocked[position - 1] for position in by_hand.order]
    assert sum(abs(a - b) for a, b in zip(order, sorted(rocked), strict=True)) <= 6


@pytest.mark.parametrize("blur", BLURS)
@pytest.mark.parametrize("kind", [Kind.FOCUS_BRACKET, Kind.MANUAL_STACK, Kind.BURST])
def test_frames_of_one_focus_are_a_burst(blur: float, kind: Kind) -> None:
    found = judge(of_one_focus(blur), sequence=1, kind=kind).check
    assert found.looks_like is (None if kind is Kind.BURST else Kind.BURST)
    assert found.verdict is None


@cache
def of_one_focus(blur: float) -> MeasuredSeries:
    """Nine frames, one like another but for noise."""
    from cardmaking.defocus import focused, with_noise  # noqa: PLC0415

    sharp = focused(stacks.scene()[0], 45.0, blur)
    return stacks.measured(with_noise(sharp, seed, 1.5)[..., 1] for seed in range(9))
