"""Trial merges of pictures that were made: every rule of it alone."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from sorter.pixels.merging import SlicePosition, TrialMerge, TrialResult

Picture = NDArray[np.uint8]


def texture(seed: int, rows: int = 240, columns: int = 360) -> Picture:
    rng = np.random.default_rng(seed)
    rough = rng.integers(30, 226, (rows, columns, 3)).astype(np.uint8)
    return cv2.GaussianBlur(rough, (0, 0), 1.2).astype(np.uint8)


def soft(picture: Picture, sigma: float = 6) -> Picture:
    return cv2.GaussianBlur(picture, (0, 0), sigma).astype(np.uint8)


def moved(picture: Picture, down: int, across: int) -> Picture:
    return np.roll(picture, (down, across), (0, 1))


def merged(*frames: Picture) -> TrialResult:
    merge = TrialMerge()
    for each in frames:
        assert merge.add(each, None)
    found = merge.merged()
    assert found is not None
    return found


def left_and_right(sharp: Picture) -> tuple[Picture, Picture]:
    """Two slices: one sharp in the left half, one in the right."""
    half = sharp.shape[1] // 2
    left, right = soft(sharp), soft(sharp)
    left[:, :half], right[:, half:] = sharp[:, :half], sharp[:, half:]
    return left, right


def test_one_slice_is_what_it_was() -> None:
    sharp = texture(1)
    found = merged(sharp)
    assert np.abs(found.picture.astype(int) - sharp).max() <= 1
    assert found.slices == 1
    assert not found.depth.any()


def test_each_half_comes_from_the_slice_that_shows_it() -> None:
    sharp = texture(2)
    found = merged(*left_and_right(sharp))
    middle = slice(sharp.shape[1] // 2 - 20, sharp.shape[1] // 2 + 20)
    apart = np.abs(found.picture.astype(int) - sharp)
    apart[:, middle] = 0
    assert apart.mean() < 1.5
    half = found.depth.shape[1] // 2
    assert (found.depth[:, : half - 10] == 0).mean() > 0.99
    assert (found.depth[:, half + 10 :] == 1).mean() > 0.99
    assert found.textured.mean() > 0.9


def test_what_no_slice_tells_apart_has_no_depth() -> None:
    """A plain half: noise chooses there, and is not shown as depth."""
    sharp = texture(3)
    sharp[:, 180:] = 128
    found = merged(*left_and_right(sharp), soft(sharp))
    assert found.textured[:, :80].mean() > 0.9
    assert not found.textured[:, 110:].any()


def test_a_picture_that_shows_nothing_is_merged_too() -> None:
    black = np.zeros((120, 180, 3), np.uint8)
    found = merged(black, black)
    assert not found.picture.any()
    assert not found.textured.any()


def test_slices_that_moved_come_into_line() -> None:
    """By what they show: nothing else is known of them."""
    sides = (480, 720)
    coarse = soft(texture(40, *sides), 5).astype(float) - 128
    sharp = np.clip(texture(4, *sides) + 6 * coarse, 0, 255).astype(np.uint8)
    left, right = left_and_right(sharp)
    found = merged(left, soft(sharp, 2), moved(soft(sharp, 2), 3, -4), moved(right, 5, -7))
    inner = np.s_[20:-20, 20:-20]
    apart = np.abs(found.picture.astype(int) - sharp)[inner]
    assert apart.mean() < 6
    as_they_are = np.abs(moved(right, 5, -7).astype(int) - sharp)[inner]
    assert as_they_are[:, 360:].mean() > 20


def test_a_large_move_is_found_from_where_the_check_had_it() -> None:
    """The correlation by itself would find another peak, or none."""
    sharp = texture(5)
    side = max(sharp.shape)
    places = [SlicePosition(x=0, y=0, growth=1), SlicePosition(x=60 / side, y=-45 / side, growth=1)]
    merge = TrialMerge()
    for each, place in zip((sharp, moved(soft(sharp, 2), -45, 60)), places, strict=True):
        merge.add(each, place)
    found = merge.merged()
    assert found is not None
    assert np.abs(found.picture.astype(int) - sharp)[:, :280].mean() < 6


def test_a_still_camera_is_left_alone() -> None:
    """Errors of a fraction of a pixel would cost more than they mend."""
    sharp = texture(6)
    left, right = left_and_right(sharp)
    rng = np.random.default_rng(6)
    noisy = [np.clip(each + rng.normal(0, 2, each.shape), 0, 255) for each in (left, right)]
    found = merged(*(each.astype(np.uint8) for each in noisy))
    assert np.abs(found.picture.astype(int) - sharp)[:, :150].mean() < 3


def test_what_a_slice_does_not_show_is_not_taken_from_it() -> None:
    """Beyond a moved slice's border lies its mirror picture, which may be the sharper one."""
    plain = soft(texture(7), 3)
    sharp = texture(7)
    merge = TrialMerge()
    merge.add(plain, SlicePosition(x=0, y=0, growth=1))
    merge.add(moved(sharp, 0, -40), SlicePosition(x=-40 / 360, y=0, growth=1))
    found = merge.merged()
    assert found is not None
    apart = np.abs(found.picture.astype(int) - plain).mean((0, 2))
    assert apart[:32].mean() < 2
    assert apart[44:].mean() > 5


def test_a_slice_of_another_size_is_not_taken() -> None:
    merge = TrialMerge()
    assert merge.add(texture(8), None)
    assert not merge.add(texture(8, 360, 240), None)
    found = merge.merged()
    assert found is not None
    assert found.slices == 1


def test_nothing_makes_no_picture() -> None:
    assert TrialMerge().merged() is None


@pytest.mark.parametrize("shape", [(48, 48), (49, 203), (301, 97)])
def test_any_size_goes(shape: tuple[int, int]) -> None:
    sharp = texture(9, *shape)
    found = merged(sharp, soft(sharp))
    assert found.picture.shape == sharp.shape
    assert np.abs(found.picture.astype(int) - sharp).mean() < 1.5


def test_a_merge_does_not_depend_on_a_turn_of_the_pictures() -> None:
    sharp = texture(10)
    frames = left_and_right(sharp)
    found = merged(*(np.ascontiguousarray(np.rot90(each)) for each in frames))
    upright = merged(*frames).picture
    assert np.abs(np.rot90(upright).astype(int) - found.picture)[30:-30, 30:-30].mean() < 1
