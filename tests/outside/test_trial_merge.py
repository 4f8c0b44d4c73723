"""Trial merges of a real picture with real depth against that picture: see focus_stacks.py for the source."""

from __future__ import annotations

from functools import cache

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from cardmaking.defocus import focused, with_noise
from outside import focus_stacks as stacks
from sorter.pixels.merging import TrialMerge, TrialResult

NOISE = 2.0  # grey levels
BLURS = (0.3, 0.6, 1.0)
GROWTH = 0.012  # of the field over a series: common practice of macro lenses, no source
BORDER = 30  # pixels that a moved frame may not show
Picture = NDArray[np.uint8]


def likeness(one: Picture, two: Picture) -> float:
    """PSNR in dB. What it takes is loaded only here: a second for every process that lists tests."""
    from skimage.metrics import peak_signal_noise_ratio  # noqa: PLC0415  see above

    return float(peak_signal_noise_ratio(one, two))


def truth() -> Picture:
    """The picture that is sharp all over, in red, green and blue."""
    return in_rgb(stacks.scene()[0].picture)


def in_rgb(picture: Picture) -> Picture:
    return np.ascontiguousarray(picture[..., ::-1])


@cache
def slices(blur: float) -> tuple[Picture, ...]:
    planes = enumerate(stacks.planes())
    scene = stacks.scene()[0]
    return tuple(in_rgb(with_noise(focused(scene, float(at), blur), n, NOISE)) for n, at in planes)


@cache
def still(blur: float) -> TrialResult:
    return merged(slices(blur))


def merged(frames: tuple[Picture, ...]) -> TrialResult:
    merge = TrialMerge()
    assert all(merge.add(each, None) for each in frames)
    found = merge.merged()
    assert found is not None
    return found


def roughness(picture: Picture) -> float:
    """The sum of squared Laplacians, by OpenCV."""
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY).astype(np.float32)
    return float((cv2.Laplacian(grey, cv2.CV_32F) ** 2).sum())


@pytest.mark.parametrize("blur", BLURS)
def test_a_merge_is_nearer_to_the_sharp_picture_than_any_slice(blur: float) -> None:
    """PSNR by scikit-image."""
    best = max(likeness(truth(), each) for each in slices(blur))
    found = likeness(truth(), still(blur).picture)
    assert found >= best + 6
    assert found >= 27


@pytest.mark.parametrize("blur", BLURS)
def test_a_merge_shows_more_than_any_slice(blur: float) -> None:
    most = max(map(roughness, slices(blur)))
    assert roughness(still(blur).picture) > 1.5 * most


def moved(blur: float, seed: int) -> tuple[Picture, ...]:
    """The slices as a hand and a lens that breathes have them: shifted, turned and scaled."""
    rng = np.random.default_rng(seed)
    rows, columns = truth().shape[:2]
    middle = np.array([(columns - 1) / 2, (rows - 1) / 2])
    shown, shift, turn = [], np.zeros(2), 0.0
    for number, each in enumerate(slices(blur)):
        growth = 1 + GROWTH * number / (stacks.SLICES - 1)
        linear = growth * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        warp = np.column_stack([linear, middle - linear @ middle + shift])
        flags, border = cv2.INTER_CUBIC, cv2.BORDER_REFLECT_101
        shown.append(cv2.warpAffine(each, warp, (columns, rows), flags=flags, borderMode=border))
        shift, turn = shift + rng.normal(0, 1.5, 2), turn + rng.normal(0, 0.0004)
    return tuple(picture.astype(np.uint8) for picture in shown)


@pytest.mark.parametrize("blur", BLURS)
def test_a_merge_of_slices_that_moved_is_brought_into_line(blur: float) -> None:
    """The same bars, but for what the frames lost at their borders."""
    within = slice(BORDER, -BORDER), slice(BORDER, -BORDER)
    expected = truth()[within]
    frames = moved(blur, seed=7)
    best = max(likeness(expected, each[within]) for each in slices(blur))
    as_they_are = TrialMerge()
    for each in frames:
        as_they_are.add(each, None)
    found = likeness(expected, merged(frames).picture[within])
    assert found >= best + 6
    assert found >= 25


@pytest.mark.parametrize("blur", BLURS)
def test_the_depth_map_says_which_slice_is_sharp(blur: float) -> None:
    """Within one slice for 95 % of the places that tell, but for edges in depth: a slice shows two there."""
    found = still(blur)
    _, disparity = stacks.scene()
    first, second = stacks.planes()[:2]
    half = cv2.resize(disparity, found.depth.shape[::-1], interpolation=cv2.INTER_AREA)
    own = (half - first) / (second - first)
    near = np.ones((9, 9), np.uint8)
    flat = cv2.dilate(own, near) - cv2.erode(own, near) < 1
    assert (found.textured & flat).mean() > 0.25
    assert (np.abs(found.depth - own) <= 1)[found.textured & flat].mean() >= 0.95
