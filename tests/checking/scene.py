"""A made scene for the rules: grains of several sizes on a slope, in slices of known focus."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cache

import cv2
import numpy as np

from cardmaking.defocus import Layers, focused, layers, with_noise
from sorter.checking.proposing import proposed_sequences
from sorter.checking.series import Judged, judge
from sorter.model.finding import ProposedSequence
from sorter.model.kinds import Kind
from sorter.model.measurement import MeasuredSeries
from sorter.pixels.measuring import chained
from sorter.pixels.sharpness import measure
from sorter.pixels.shifts import placeable

SIZE = (480, 320)
BLUR = 30.0
"""Pixels of radius from one end of the slope to the other."""
Change = Callable[[np.ndarray], np.ndarray]


@cache
def scene(seed: int = 1) -> Layers:
    columns, rows = SIZE
    slope = np.tile(np.linspace(0, 1, rows, dtype=np.float32)[:, None], (1, columns))
    return layers(texture(seed), slope, BLUR)


def texture(seed: int) -> np.ndarray:
    """Red, green and blue alike; its coarse grains tell one seed from another at a glance."""
    dice, (columns, rows) = np.random.default_rng(seed), SIZE
    whole = np.full((rows, columns), 110, dtype=np.float32)
    for grain, strength in ((1.2, 60.0), (4.0, 120.0), (30.0, 700.0)):
        whole += cv2.GaussianBlur(dice.normal(0, strength, whole.shape), (0, 0), grain)
    return np.clip(whole, 20, 200).astype(np.uint8)[..., None].repeat(3, 2)


def slices(places: Iterable[float], seed: int = 1) -> list[np.ndarray]:
    """A grey picture for each place of focus, 0 to 1, with a sensor's noise."""
    return [
        with_noise(focused(scene(seed), place, BLUR), 100 * seed + index, 1.0)[..., 0].copy()
        for index, place in enumerate(places)
    ]


def whole(count: int = 14) -> np.ndarray:
    """Places of a stack that covers the slope, with half a step to spare at both ends."""
    return np.linspace(-0.04, 1.04, count)


def black() -> np.ndarray:
    """A frame with the cap on."""
    return with_noise(np.full((SIZE[1], SIZE[0], 3), 4, dtype=np.uint8), 3, 1.0)[..., 0].copy()


def measured(pictures: Iterable[np.ndarray]) -> MeasuredSeries:
    return chained(placeable(each, measure(each, 1.0)) for each in pictures)


def judged(pictures: Iterable[np.ndarray], kind: Kind = Kind.FOCUS_BRACKET) -> Judged:
    return judge(measured(pictures), sequence=1, kind=kind)


def cut(pictures: Iterable[np.ndarray], kind: Kind) -> list[ProposedSequence]:
    """How the pictures say that the series is to be cut."""
    found = measured(pictures)
    return proposed_sequences(judge(found, sequence=1, kind=kind), found.measurements)
