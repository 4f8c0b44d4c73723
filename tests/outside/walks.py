"""Real pictures as panoramas, walks and flights show them, and what is held before a lens as a marker.

The pictures are those of scikit-image 0.16.2 in the corpus, cropped at many places and grown; noise, light
and JPEG are made up, each within what is usual. Markers are drawn: far out of focus, with noise.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from cardmaking.defocus import focused, layers, with_noise
from outside import corpus
from outside.focus_stacks import as_jpeg, placed, read
from outside.sound_stacks import brightened
from sorter.pixels.shifts import Placeable

PICTURES: Final = (
    "astronaut.png",
    "chelsea.png",
    "coffee.png",
    "rocket.jpg",
    "motorcycle_left.png",
    "brick.png",
    "grass.png",
    "gravel.png",
    "camera.png",
    "moon.png",
    "hubble_deep_field.jpg",
    "retina.jpg",
    "ihc.png",
    "coins.png",
)
WIDTH: Final = 600
HEIGHT: Final = 400

Picture = NDArray[np.uint8]


@cache
def picture(name: str) -> Picture:
    """Grey, and larger than a frame on either side."""
    corpus.need()
    plain = cv2.cvtColor(read(corpus.FOLDER / "depth" / name), cv2.COLOR_BGR2GRAY)
    scale = max(1.0, 1.5 * WIDTH / plain.shape[1], 1.5 * HEIGHT / plain.shape[0])
    grown = cv2.resize(plain, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    return grown.astype(np.uint8)


def crop(whole: Picture, x: float, y: float) -> Picture:
    """A frame's part of the picture, from this corner on."""
    return whole[int(y) : int(y) + HEIGHT, int(x) : int(x) + WIDTH]


def any_crop(dice: np.random.Generator) -> Picture:
    """Any part of any of the pictures."""
    whole = picture(PICTURES[dice.integers(len(PICTURES))])
    return crop(
        whole, dice.uniform(0, whole.shape[1] - WIDTH), dice.uniform(0, whole.shape[0] - HEIGHT)
    )


def taken(plain: Picture, dice: np.random.Generator) -> Placeable:
    """A frame of that, measured."""
    seed = int(dice.integers(1 << 30))
    noisy = with_noise(np.ascontiguousarray(plain)[..., None], seed, dice.uniform(0.5, 2.5))
    return placed(as_jpeg(noisy))


def walk(dice: np.random.Generator, frames: int) -> list[Placeable]:
    """Each frame another scene, in its own light."""
    return [taken(brightened(any_crop(dice), dice.uniform(0.7, 1.3)), dice) for _ in range(frames)]


def panorama(dice: np.random.Generator, frames: int) -> list[Placeable]:
    """Frames along a wide scene, which overlap by a third to a half."""
    names = [PICTURES[each] for each in dice.permutation(len(PICTURES))[: frames // 2 + 2]]
    wide = np.concatenate([picture(name)[:HEIGHT] for name in names], axis=1)
    step = dice.uniform(0.5, 0.66) * WIDTH
    return [taken(crop(wide, index * step, 0), dice) for index in range(frames)]


def flight(dice: np.random.Generator, frames: int) -> list[Placeable]:
    """Frames straight down, row by row, each turned a little."""
    return [taken(each, dice) for _, each in zip(range(frames), _rows(dice), strict=False)]


def _rows(dice: np.random.Generator) -> Iterator[Picture]:
    whole = picture(PICTURES[dice.integers(len(PICTURES))])
    whole = cv2.resize(whole, None, fx=1.4, fy=1.4).astype(np.uint8)
    step = dice.uniform(90, 200)
    for y in np.arange(0, whole.shape[0] - HEIGHT, step):
        for x in np.arange(0, whole.shape[1] - WIDTH, step):
            matrix = cv2.getRotationMatrix2D((WIDTH / 2, HEIGHT / 2), dice.uniform(-8, 8), 1.2)
            yield cv2.warpAffine(crop(whole, x, y), matrix, (WIDTH, HEIGHT)).astype(np.uint8)


def stack(dice: np.random.Generator, slices: int = 7) -> list[Placeable]:
    """A part of a picture on a slope, from its one end to the other."""
    slope = np.tile(np.linspace(0, 1, HEIGHT, dtype=np.float32)[:, None], (1, WIDTH))
    blur = dice.uniform(10, 30)
    scene = layers(np.ascontiguousarray(any_crop(dice))[..., None], slope, 1.2 * blur)
    places = np.linspace(-0.1, 1.1, slices)
    return [taken(focused(scene, float(each), blur)[..., 0], dice) for each in places]


# ---- markers -----------------------------------------------------------------------------------


def hand(dice: np.random.Generator) -> Placeable:
    """It fills the frame, with a gap between two fingers at times."""
    plain = np.full((HEIGHT, WIDTH), dice.uniform(60, 190), np.float32)
    folds = cv2.GaussianBlur(dice.normal(0, 1, plain.shape).astype(np.float32), (0, 0), 70)
    plain += folds / folds.std() * dice.uniform(3, 15)
    for _ in range(dice.integers(0, 3)):
        gap = np.zeros_like(plain)
        at = int(dice.uniform(0, WIDTH))
        cv2.line(gap, (at, 0), (at + 60, HEIGHT), 1.0, int(dice.uniform(10, 50)))
        gap = cv2.GaussianBlur(gap, (0, 0), dice.uniform(30, 60)).astype(np.float32)
        plain = plain * (1 - gap) + gap * dice.uniform(30, 200)
    return taken(np.clip(plain, 0, 255).astype(np.uint8), dice)


def card(dice: np.random.Generator) -> Placeable:
    """White or grey, darker toward its corners."""
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    out = ((x - WIDTH / 2) ** 2 + (y - HEIGHT / 2) ** 2) / (WIDTH / 2) ** 2
    level = dice.choice([dice.uniform(235, 255), dice.uniform(90, 190)])
    return taken((level * (1 - dice.uniform(0, 0.2) * out)).clip(0, 255).astype(np.uint8), dice)


def cap(dice: np.random.Generator) -> Placeable:
    """Next to no light."""
    return taken(np.full((HEIGHT, WIDTH), dice.uniform(0, 10), np.uint8), dice)
