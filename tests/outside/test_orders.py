"""The order by focus on real textures: a shaken frame is softer, not elsewhere; frames that changed about are told."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from cardmaking.defocus import focused, layers, moved, with_noise
from outside import sound_stacks
from outside.focus_stacks import as_jpeg, measured
from sorter.checking.series import judge
from sorter.model.kinds import Kind

STACKS = 6
Taken = Callable[[list[int], np.random.Generator], list[int]]


def as_planned(frames: list[int], _dice: np.random.Generator) -> list[int]:
    return frames


def changed_about(frames: list[int], dice: np.random.Generator) -> list[int]:
    at = int(dice.integers(2, len(frames) - 4))
    return [*frames[:at], frames[at + 1], frames[at], *frames[at + 2 :]]


def there_and_back(frames: list[int], _dice: np.random.Generator) -> list[int]:
    return [*frames[::2], *frames[1::2][::-1]]


def by_focus(seed: int, order: Taken, step: tuple[float, float], shake: int) -> list[int]:
    """The planned numbers of the frames as the check puts them; empty where it says no other order.

    step: pixels of blur from slice to slice, from and to. shake: pixels that a frame is smeared at most.
    """
    dice = np.random.default_rng(seed)
    count = int(dice.integers(9, 20))
    blur = dice.uniform(*step) * (count - 3)
    texture = sound_stacks.texture(sound_stacks.TEXTURES[seed % len(sound_stacks.TEXTURES)])
    scene = layers(texture, sound_stacks.depth(dice), max(2.0, 1.2 * blur))
    planes = np.linspace(-1 / (count - 3), 1 + 1 / (count - 3), count)
    taken = order(list(range(count)), dice)
    sway = np.cumsum(dice.normal(0, dice.choice([0.0, 0.5, 2.0]), (count, 2)), axis=0)
    noise = float(dice.choice([0.5, 1.5, 3.0]))
    shown = []
    for index, planned in enumerate(taken):
        plain = moved(focused(scene, float(planes[planned]), blur), *map(float, sway[index]))
        plain = _smeared(plain, int(dice.integers(0, shake + 1)), dice.uniform(0, np.pi))
        shown.append(as_jpeg(with_noise(plain, seed * 1000 + index, noise)))
    check = judge(measured(shown), sequence=1, kind=Kind.FOCUS_BRACKET).check
    return [taken[position - 1] for position in check.order]


def _smeared(plain: NDArray[np.uint8], length: int, angle: float) -> NDArray[np.uint8]:
    if length < 2:
        return plain
    line = np.zeros((length, length), np.float32)
    across, down = length / 2 * np.cos(angle), length / 2 * np.sin(angle)
    middle = length / 2
    start, stop = ((int(middle + sign * across), int(middle + sign * down)) for sign in (-1, 1))
    cv2.line(line, start, stop, 1.0)
    return cv2.filter2D(plain, -1, line / line.sum())[..., None].astype(np.uint8)


@pytest.mark.parametrize("shake", [0, 3, 5])
@pytest.mark.parametrize("step", [(0.1, 0.5), (0.5, 1.5)])
def test_the_places_of_neighbours_are_no_order_where_they_are_noise(
    step: tuple[float, float], shake: int
) -> None:
    assert [by_focus(seed, as_planned, step, shake) for seed in range(3001, 3001 + STACKS)] == [
        []
    ] * STACKS


@pytest.mark.parametrize("shake", [0, 3])
def test_two_slices_that_changed_about_are_told(shake: int) -> None:
    found = [
        by_focus(seed, changed_about, (0.8, 2.2), shake) for seed in range(3101, 3101 + STACKS)
    ]
    assert [each and each in (sorted(each), sorted(each)[::-1]) for each in found] == [
        True
    ] * STACKS


def test_focus_that_went_there_and_back_is_told() -> None:
    found = [by_focus(seed, there_and_back, (0.3, 0.6), 0) for seed in range(3201, 3201 + STACKS)]
    assert all(found)
    assert sum(each in (sorted(each), sorted(each)[::-1]) for each in found) >= STACKS - 1
