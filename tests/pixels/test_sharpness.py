"""Focus measures: the exact cases, and OpenCV and SciPy as references."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy import ndimage

from sorter.pixels.sharpness import laplacian, means, measure

SIZE = (40, 60)


def noise(seed: int = 1) -> np.ndarray:
    return np.random.default_rng(seed).uniform(0, 255, SIZE).astype(np.float32)


def test_a_constant_picture_has_no_energy() -> None:
    flat = np.full(SIZE, 93, dtype=np.float32)
    assert not laplacian(flat).any()


def test_a_ramp_has_no_energy() -> None:
    """Worked out: the second difference of a line is 0."""
    ramp = np.tile(np.arange(SIZE[1], dtype=np.float32) * 2, (SIZE[0], 1))
    assert np.allclose(laplacian(ramp)[1:-1, 1:-1], 0)


@pytest.mark.parametrize("height", [1.0, 7.0, 200.0])
def test_a_single_pixel(height: float) -> None:
    """Worked out: -4h there, h at its four neighbours; the sum is 0, the sum of squares 20 h²."""
    dot = np.zeros(SIZE, dtype=np.float32)
    dot[20, 30] = height
    found = laplacian(dot)
    assert found[20, 30] == -4 * height
    assert [found[19, 30], found[21, 30], found[20, 29], found[20, 31]] == [height] * 4
    assert found.sum() == 0
    assert (found**2).sum() == pytest.approx(20 * height**2)


def test_the_laplacian_is_scipys() -> None:
    assert np.allclose(laplacian(noise()), ndimage.laplace(noise(), mode="mirror"), atol=1e-3)


def test_the_laplacian_is_opencvs_by_its_kernel() -> None:
    kernel = np.array([[0, 1, 0], [1, -4, 1], [0, 1, 0]], dtype=np.float32)
    expected = cv2.filter2D(noise(), cv2.CV_32F, kernel)
    assert np.allclose(laplacian(noise()), expected, atol=1e-3)


def test_cells_are_means_of_whole_squares() -> None:
    values = noise()
    expected = values[:36, :60].reshape(3, 12, 5, 12).mean((1, 3))
    assert np.allclose(means(values, 12), expected, rtol=1e-5)


@pytest.mark.parametrize("sigma", [0.7, 1.5, 3.0])
def test_a_blurred_picture_is_less_sharp_in_every_cell(sigma: float) -> None:
    texture = cv2.GaussianBlur(
        np.random.default_rng(2).normal(128, 90, (400, 600)).astype(np.float32), (0, 0), 1.0
    )
    sharp = np.clip(texture, 0, 255).astype(np.uint8)
    soft = cv2.GaussianBlur(sharp, (0, 0), sigma)
    one, two = measure(sharp, 1.0), measure(soft.astype(np.uint8), 1.0)
    assert one.energy.shape == two.energy.shape == one.light.shape
    assert (two.energy < one.energy).all()


@pytest.mark.parametrize("shape", [(540, 810), (810, 540), (607, 1079), (48, 900), (100, 100)])
def test_grids_of_a_glance_have_one_shape(shape: tuple[int, int]) -> None:
    plain = np.random.default_rng(3).integers(0, 255, shape).astype(np.uint8)
    found = measure(plain, 2.0)
    assert found.energy.shape == found.light.shape
    assert (found.width, found.height) == (2 * shape[1], 2 * shape[0])
    assert max(found.thumb.shape) <= 162
