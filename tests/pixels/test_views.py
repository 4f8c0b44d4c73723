"""Pictures of different exposure held against each other: one view, another, and what cannot be told."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from sorter.pixels.views import likeness, likeness_over

Picture = NDArray[np.uint8]


def scene(seed: int) -> NDArray[np.float64]:
    """Linear light of grains on a slope, 162 by 108 pixels with a margin of 10."""
    dice = np.random.default_rng(seed)
    grains = sum(
        strength * cv2.GaussianBlur(dice.normal(0, 1, (128, 182)), (0, 0), grain) * grain
        for grain, strength in ((1.5, 0.5), (5.0, 0.5), (20.0, 0.6))
    )
    return 0.18 * np.exp(grains)


def taken(seed: int, ev: float, by: tuple[int, int] = (0, 0)) -> Picture:
    """By sRGB's curve (IEC 61966-2-1, from memory), with noise; moved by so many pixels."""
    part = scene(seed)[10 + by[0] : 118 + by[0], 10 + by[1] : 172 + by[1]] * 2**ev
    part = part + np.random.default_rng(1000 + seed).normal(0, 0.002, part.shape)
    light = np.clip(part, 0, 1)
    shown = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    found: Picture = np.rint(shown * 255).astype(np.uint8)
    return found


@pytest.mark.parametrize("ev", [-3, -1, 1, 2])
@pytest.mark.parametrize("by", [(0, 0), (3, -5), (-7, 6)])
def test_one_view_is_known_at_another_exposure_and_off_by_a_hands_drift(
    ev: float, by: tuple[int, int]
) -> None:
    assert likeness(taken(1, 0), taken(1, ev, by)) > 0.8


def test_another_view_is_none_and_neither_is_one_that_lies_beside() -> None:
    assert likeness(taken(1, 0), taken(2, 1)) < 0.3
    assert likeness(taken(1, 0)[:, :100], taken(1, 1)[:, 62:]) < 0.3


def test_where_next_to_nothing_is_neither_dark_nor_clipped_nothing_is_known() -> None:
    assert math.isnan(likeness(taken(1, 0), taken(1, -12)))
    assert math.isnan(likeness(taken(1, 0), taken(1, 9)))
    grey = np.full((108, 162), 120, np.uint8)
    assert math.isnan(likeness(grey, grey)), "without texture either"
    assert math.isnan(likeness(taken(1, 0), taken(1, 0)[:100]))
    assert math.isnan(likeness(None, taken(1, 0)))


def test_two_further_apart_tell_that_it_is_one_view_and_never_that_it_is_another() -> None:
    dark, middle, bright = taken(1, -5), taken(1, 0), taken(1, 5)
    assert likeness_over([bright, middle], [taken(1, 1)]) > 0.7
    assert math.isnan(likeness(bright, dark))
    assert likeness_over([bright, middle], [dark]) > 0.7
    assert likeness(middle, taken(2, 0)) < 0.3
    assert math.isnan(likeness_over([bright, middle], [taken(2, -5), taken(2, 0)]))
