"""Registration: skimage's phase_cross_correlation as the reference, on real and on made pictures."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage
from skimage.registration import phase_cross_correlation

from cardmaking.defocus import moved
from outside import corpus
from sorter.model.measurement import Displacement
from sorter.pixels.sharpness import measure
from sorter.pixels.shifts import BAND, displacement, likeness, placeable, shift

SHIFTS = [(0.0, 0.0), (0.3, -0.7), (3.25, -5.5), (-0.45, 0.05), (12.4, 20.6), (-40.2, 33.3)]


def texture(seed: int = 1, side: tuple[int, int] = (600, 900)) -> np.ndarray:
    grains = [
        ndimage.gaussian_filter(np.random.default_rng(seed + n).normal(0, 1, side), n)
        for n in (1, 3, 9)
    ]
    whole = sum(grain / grain.std() for grain in grains)
    grey: np.ndarray = (128 + 30 * whole).astype(np.float32)
    return grey


def real() -> np.ndarray:
    """Chelsea the cat, out of scikit-image 0.16.2."""
    corpus.need()
    from PIL import Image  # noqa: PLC0415

    return np.asarray(Image.open(corpus.FOLDER / "depth" / "chelsea.png").convert("L"), np.float32)


@pytest.mark.parametrize("by", SHIFTS)
@pytest.mark.parametrize("which", ["real", "made"])
def test_within_a_tenth_of_a_pixel_of_the_truth_and_of_skimage(
    by: tuple[float, float], which: str
) -> None:
    """Both pictures are cut out of one that was moved by its spectrum, as scikit-image's tests do."""
    whole = real() if which == "real" else texture()
    turned = np.fft.ifft2(ndimage.fourier_shift(np.fft.fft2(whole), by)).real
    rows, columns = (side // 2 for side in whole.shape)
    top, left = rows // 2, columns // 2
    first = whole[top : top + rows, left : left + columns]
    second = turned[top : top + rows, left : left + columns].astype(np.float32)
    down, across, sure = shift(first, second)
    assert (down, across) == pytest.approx(by, abs=0.1)
    assert sure > 0.3
    window = np.outer(np.hanning(rows), np.hanning(columns))
    reference, *_ = phase_cross_correlation(second * window, first * window, upsample_factor=100)
    if (
        abs(np.hypot(*(reference - by))) < 0.5
    ):  # of the larger shifts the reference finds some wrong
        assert (down, across) == pytest.approx(tuple(reference), abs=0.1)


@pytest.mark.parametrize(
    "side", [(90, 100), (91, 100), (90, 101), (45, 33), (8, 6), (7, 5), (2, 2), (1, 9), (9, 1)]
)
def test_packed_spectra_give_what_numpys_do(side: tuple[int, int]) -> None:
    """The shift of pictures of odd and even sides, by NumPy's transforms of whole spectra."""
    first = texture(1, (120, 120))[: side[0], : side[1]]
    second = np.roll(first, (1, 2), (0, 1)).astype(np.float32)
    second += texture(7, (120, 120))[: side[0], : side[1]] / 9
    window = np.outer(*map(np.hanning, side)).astype(np.float32)
    one, two = ((each - each.mean()) * window for each in (first, second))
    cross = np.fft.fft2(two) * np.conj(np.fft.fft2(one))
    down, across = (np.fft.fftfreq(each) for each in side)
    bell = np.exp(-(down[:, None] ** 2 + across**2) / (2 * BAND**2))
    noise = 1e-3 * abs(cross[:, : side[1] // 2 + 1]).mean() + 1e-12
    found = np.fft.ifft2(cross * bell / (abs(cross) + noise)).real
    assert shift(first, second)[2] == pytest.approx(found.max() / bell.mean(), abs=1e-4)


def test_the_reference_finds_most_of_the_shifts_too() -> None:
    """So that the comparison above is one."""
    found = 0
    for by in SHIFTS:
        turned = np.fft.ifft2(ndimage.fourier_shift(np.fft.fft2(texture()), by)).real
        reference, *_ = phase_cross_correlation(turned, texture(), upsample_factor=100)
        found += bool(np.hypot(*(reference - by)) < 0.1)
    assert found == len(SHIFTS)


def moves(dx: float, dy: float, growth: float, seed: int = 4) -> Displacement:
    plain = np.clip(texture(seed, (540, 810)), 0, 255).astype(np.uint8)
    other = moved(plain[..., None].repeat(3, 2), dx, dy, growth)[..., 0]
    found = displacement(
        placeable(plain, measure(plain, 2.0)), placeable(other, measure(other, 2.0)), of=0
    )
    assert found is not None
    return found


@pytest.mark.parametrize(("dx", "dy"), [(0, 0), (2.5, -1.25), (-14, 9)])
@pytest.mark.parametrize("growth", [1.0, 1.004, 0.99])
def test_shift_and_growth_in_pixels_of_the_decoded_picture(
    dx: float, dy: float, growth: float
) -> None:
    found = moves(dx, dy, growth)
    assert (found.dx, found.dy) == pytest.approx((2 * dx, 2 * dy), abs=0.6)
    assert found.growth == pytest.approx(growth, abs=0.0008)
    assert found.strayed < 4
    assert found.likeness > 0.9


def test_other_pictures_are_unlike() -> None:
    one, two = (np.clip(texture(seed), 0, 255).astype(np.uint8) for seed in (5, 50))
    found = displacement(placeable(one, measure(one, 1.0)), placeable(two, measure(two, 1.0)), of=0)
    assert found is not None
    assert found.likeness < 0.5


def test_a_part_that_moved_by_itself_strays() -> None:
    one = np.clip(texture(6, (540, 810)), 0, 255).astype(np.uint8)
    two = one.copy()
    two[200:340, 420:600] = one[180:320, 420:600]
    found = displacement(placeable(one, measure(one, 1.0)), placeable(two, measure(two, 1.0)), of=0)
    assert found is not None
    assert (found.dx, found.dy) == pytest.approx((0, 0), abs=0.5)
    assert found.strayed > 10


def test_sizes_that_differ_are_not_compared() -> None:
    one, two = (
        np.clip(texture(7, side), 0, 255).astype(np.uint8) for side in ((540, 810), (810, 540))
    )
    assert (
        displacement(placeable(one, measure(one, 1.0)), placeable(two, measure(two, 1.0)), of=0)
        is None
    )


def test_black_frames_are_like_nothing() -> None:
    black = np.zeros((108, 162), dtype=np.uint8)
    assert likeness(black, black) == 0
