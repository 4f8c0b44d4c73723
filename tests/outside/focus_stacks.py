"""Focus stacks of a real picture with real depth, through a thin lens.

The picture is "Motorcycle" of the Middlebury 2014 stereo set with its disparity map, as scikit-image
0.16.2 carries it: D. Scharstein et al., "High-resolution stereo datasets with subpixel-accurate
ground truth", GCPR 2014. Disparity is in proportion to 1/depth, which a thin lens's blur is linear in.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from cardmaking.defocus import Layers, focused, layers, with_noise
from outside import corpus
from sorter.model.measurement import Displacement, MeasuredSeries
from sorter.pixels.measuring import Chain, chained
from sorter.pixels.sharpness import measure
from sorter.pixels.shifts import Placeable, displacement, placeable

SLICES = 25
MOST_RADIUS = 45.0


@cache
def scene() -> tuple[Layers, np.ndarray]:
    """The picture's layers, and its disparity in pixels, holes filled from beside."""
    corpus.need()
    folder = corpus.FOLDER / "depth"
    picture = read(folder / "motorcycle_left.png")
    with np.load(folder / "motorcycle_disp.npz") as stored:
        depth = filled(stored[stored.files[0]].astype(np.float32))
    return layers(picture, depth, MOST_RADIUS), depth


def read(path: Path) -> NDArray[np.uint8]:
    """The picture, in blue, green and red."""
    picture = cv2.imread(str(path))
    assert picture is not None
    return picture.astype(np.uint8)


def as_jpeg(picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The picture in grey, as a camera's JPEG has it."""
    _, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 85])
    plain = cv2.imdecode(data, cv2.IMREAD_GRAYSCALE)
    assert plain is not None
    return plain.astype(np.uint8)


def filled(depth: np.ndarray) -> np.ndarray:
    """The depth where it is known, and the mean of what is known around elsewhere."""
    known = np.isfinite(depth) & (depth > 0)
    values, weight = np.where(known, depth, 0).astype(np.float32), known.astype(np.float32)
    while (weight < 0.5).any():
        near, sums = cv2.blur(weight, (9, 9)), cv2.blur(values * weight, (9, 9))
        new = (weight < 0.5) & (near > 1e-3)
        values[new] = sums[new] / near[new]
        weight[new] = 1
    return values


def planes() -> np.ndarray:
    """The disparities that the slices are focused at, from the farthest to the nearest."""
    _, depth = scene()
    return np.linspace(float(depth.min()), float(depth.max()), SLICES)


@cache
def slices(blur: float) -> tuple[np.ndarray, ...]:
    """All slices in grey, as a camera's JPEG has them. blur: pixels of radius for one of disparity."""
    shown = []
    for seed, plane in enumerate(planes()):
        picture = with_noise(focused(scene()[0], float(plane), blur), seed, 1.0)
        shown.append(as_jpeg(picture))
    return tuple(shown)


def measured(frames: Iterable[np.ndarray]) -> MeasuredSeries:
    """These frames measured, each against the one before."""
    return chained(map(placed, frames))


def placed(plain: np.ndarray) -> Placeable:
    """A frame measured by itself."""
    return placeable(plain, measure(plain, 1.0))


@cache
def all_placed(blur: float) -> tuple[Placeable, ...]:
    """Every slice measured by itself, once for all stacks that it is in."""
    return tuple(map(placed, slices(blur)))


def tile_depths(shape: tuple[int, int], side: int) -> tuple[np.ndarray, np.ndarray]:
    """Mean and span of the disparity in each tile of so many pixels."""
    _, depth = scene()
    rows, columns = shape
    whole = depth[: rows * side, : columns * side].reshape(rows, side, columns, side)
    return whole.mean((1, 3)), whole.max((1, 3)) - whole.min((1, 3))


@cache
def lies(blur: float, one: int, two: int) -> Displacement:
    """How a slice lies to another one, once for all stacks in which it comes next."""
    every = all_placed(blur)
    found = displacement(every[one], every[two], 0)
    assert found is not None, "slices are of one size"
    return found


def of(blur: float, keep: Sequence[int]) -> MeasuredSeries:
    """A stack of these slices."""
    chain, every = Chain(), all_placed(blur)
    for place, index in enumerate(keep):
        before = replace(lies(blur, keep[place - 1], index), of=place - 1) if place else None
        chain.add(every[index], before)
    return chain.measured
