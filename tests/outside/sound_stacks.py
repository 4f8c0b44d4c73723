"""Stacks that have no fault, or end too early: real textures over smooth depth, taken by hand or from a tripod.

The textures are the pictures of scikit-image 0.16.2 (chelsea, coffee, astronaut, brick, grass, gravel,
rocket). Depth, drift, breathing, noise and light are made up, each within what is usual.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from cardmaking.defocus import focused, layers, moved, with_noise
from outside import corpus
from outside.focus_stacks import as_jpeg, measured, read
from sorter.model.measurement import MeasuredSeries

TEXTURES = ("chelsea", "coffee", "astronaut", "brick", "grass", "gravel", "rocket")
SIZE = (540, 360)


@cache
def texture(name: str) -> NDArray[np.uint8]:
    """Of one channel, for nothing is measured but grey: blur, movement and noise are the same in it."""
    corpus.need()
    (path,) = (corpus.FOLDER / "depth").glob(f"{name}.*g")
    picture = cv2.cvtColor(read(path), cv2.COLOR_BGR2GRAY)
    scale = max(SIZE[0] / picture.shape[1], SIZE[1] / picture.shape[0])
    grown = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    return grown[: SIZE[1], : SIZE[0], None].astype(np.uint8, copy=False)


def depth(dice: np.random.Generator) -> np.ndarray:
    """A floor that leads away, with bodies on it; 0 to 1."""
    columns, rows = SIZE
    y, x = np.mgrid[:rows, :columns].astype(np.float32)
    floor = dice.uniform(0.2, 1.0) * (1 - y / rows) + dice.uniform(-0.2, 0.2) * x / columns
    for _ in range(dice.integers(1, 6)):
        middle, radius = (dice.uniform(0, columns), dice.uniform(0, rows)), dice.uniform(60, 200)
        apart = np.hypot(x - middle[0], y - middle[1]) / radius
        floor -= dice.uniform(0.1, 0.4) * np.sqrt(np.clip(1 - apart**2, 0, None))
    whole: np.ndarray = (floor - floor.min()) / np.ptp(floor)
    return whole.astype(np.float32)


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A stack as it was taken. own: where each pixel is in focus, planes: each slice; 0 to 1."""

    measured: MeasuredSeries
    own: np.ndarray
    planes: np.ndarray


def taken(seed: int, lost: float = 0.0, gap: float = 0.0) -> Taken:
    """A whole stack: begun before the nearest and ended behind the farthest part.

    lost: the share of the frame, at the least, that lacks its own slices because the last were not
    taken. gap: at which part of the series (0 to 1) two slices lack; 0 for nowhere.
    """
    dice = np.random.default_rng(seed)
    count = int(dice.integers(9, 34))
    blur = dice.uniform(0.6, 2.2) * (count - 3)  # pixels of radius for a step: 0.6 to 2.2
    own = depth(dice)
    scene = layers(texture(TEXTURES[seed % len(TEXTURES)]), own, blur * 1.2)
    sway = np.cumsum(dice.normal(0, dice.choice([0.0, 0.5, 2.0]), (count, 2)), axis=0)
    breathing = dice.uniform(-0.0015, 0.0015)
    light, noise = dice.choice([0.0, 0.01]), dice.choice([0.5, 1.5, 3.0])
    planes = np.linspace(-1 / (count - 3), 1 + 1 / (count - 3), count)
    if dice.random() >= 0.5:
        planes = planes[::-1]
    planes = planes[: _kept(own, planes, lost)]
    if gap:
        planes = np.delete(planes, [int(gap * count), int(gap * count) + 1])
    shown = []
    for index, plane in enumerate(planes):
        dx, dy = (float(each) for each in sway[index])
        picture = moved(focused(scene, float(plane), blur), dx, dy, 1 + breathing * index)
        picture = brightened(picture, 1 + dice.normal(0, light))
        picture = with_noise(picture, seed * 1000 + index, noise)
        shown.append(as_jpeg(picture))
    return Taken(measured=measured(shown), own=own, planes=planes)


def brightened(picture: NDArray[np.uint8], gain: float) -> NDArray[np.uint8]:
    """Each grey level by its place in a table."""
    table = np.clip(np.arange(256) * gain, 0, 255).astype(np.uint8)
    return cv2.LUT(picture, table).reshape(picture.shape).astype(np.uint8, copy=False)


def _kept(own: np.ndarray, planes: np.ndarray, lost: float) -> int:
    """How many slices are left where so much of the frame is to lie over half a step behind the last."""
    if not lost:
        return len(planes)
    way = 1 if planes[-1] > planes[0] else -1
    half = abs(planes[1] - planes[0]) / 2
    behind = [float(((own - plane) * way > half).mean()) for plane in planes]
    return max(3, sum(each >= lost for each in behind))
