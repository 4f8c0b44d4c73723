"""Focus stacks of real textures, drawn from dice: sound ones of many kinds, and the same with one fault.

The textures are pictures of scikit-image 0.16.2 and, with its true depth, "Motorcycle" of the Middlebury
2014 stereo set (D. Scharstein et al., "High-resolution stereo datasets with subpixel-accurate ground
truth", GCPR 2014). Depth of the others, drift, breathing, noise, light and tone are made up, each within
what is usual in the field (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from cardmaking.defocus import Layers, bell, disc, focused, layers, with_noise
from sorter.model.measurement import MeasuredSeries
from sorter.pixels.measuring import chained
from sorter.pixels.sharpness import measure
from sorter.pixels.shifts import placeable

FOLDER: Final = Path(__file__).resolve().parents[2] / "build" / "corpus" / "depth"
TEXTURES: Final = (
    "chelsea.png",
    "coffee.png",
    "astronaut.png",
    "brick.png",
    "grass.png",
    "gravel.png",
    "rocket.jpg",
    "coins.png",
    "camera.png",
    "ihc.png",
    "motorcycle_left.png",
    "motorcycle_right.png",
)
SIZES: Final = ((540, 360), (540, 360), (540, 360), (810, 540), (1080, 720))
"""Pixels of what is measured; the same scene in larger ones is spread over more of them."""
LEAST_OF_GAP: Final = 0.04
LEAST_BLUR, MOST_BLUR = 6.0, 70.0
"""Pixels of radius from one end of the subject to the other, at a width of 540."""

Plain = NDArray[np.uint8]
Map = NDArray[np.float32]


class Fault(StrEnum):
    """What is wrong with a stack; SOUND: nothing.

    SHORT: a tenth of the frame, or a little more, lacks its own slices because the last were not taken.
    GAP: two slices lack in the middle. MOVER: something of 1 % of the frame walks through it. SWAYING:
    a part of 1 % of the frame stands elsewhere in some slices. DARK: one slice is dark, in a dense stack.
    LOST: one slice of a dense stack lacks. BURST: no stack at all, for focus stays.
    """

    SOUND = "sound"
    SHORT = "short"
    GAP = "gap"
    MOVER = "mover"
    SWAYING = "swaying"
    DARK = "dark"
    LOST = "lost"
    BURST = "burst"


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """How a stack is taken. blur: pixels of radius from one end of the subject to the other.

    sway: pixels that the camera moves from slice to slice. breathing: growth from slice to slice. light:
    how much exposure varies. uneven: how much steps differ from each other. sharpened: by a camera.
    """

    texture: str
    depth: str
    size: tuple[int, int]
    count: int
    blur: float
    sway: float
    breathing: float
    light: float
    noise: float
    uneven: float
    quality: int
    is_bell: bool
    sharpened: float
    is_far_first: bool
    by_hand: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A stack as it was taken.

    own: where each pixel is in focus, planes: each slice; the subject from 0 to 1. at: the index of the
    slice before the fault, where it has a place. where: of a mover, its box in shares (x, y, width,
    height) over all slices.
    """

    recipe: Recipe
    fault: Fault
    measured: MeasuredSeries
    own: Map
    planes: NDArray[np.float64]
    at: tuple[int, ...] = ()
    where: tuple[float, float, float, float] | None = None


def drawn(dice: np.random.Generator, *, is_dense: bool = False) -> Recipe:
    """A recipe by dice. is_dense: steps are a small part of the depth of field."""
    size = SIZES[dice.integers(len(SIZES))]
    step = float(np.exp(dice.uniform(np.log(0.25), np.log(0.6 if is_dense else 2.2))))
    count = int(dice.integers(7, 46))
    if step * (count - 3) < LEAST_BLUR:
        count = int(LEAST_BLUR / step) + 4
    by_hand = bool(dice.random() < 0.3)
    return Recipe(
        texture=str(dice.choice(TEXTURES)),
        depth=str(dice.choice(list(DEPTHS))),
        size=size,
        count=count,
        blur=min(MOST_BLUR, step * (count - 3)) * size[0] / 540,
        sway=float(dice.choice([0.0, 0.0, 0.5, 2.0, 5.0])) * size[0] / 540,
        breathing=float(dice.choice([0.0, 0.0005, 0.0015, 0.003]) * dice.choice([-1, 1])),
        light=float(dice.choice([0.0, 0.01, 0.04])),
        noise=float(dice.choice([0.5, 1.5, 3.0, 5.0])),
        uneven=float(dice.uniform(0.1, 0.35)) if by_hand else 0.03,
        quality=int(dice.choice([65, 80, 92])),
        is_bell=bool(dice.random() < 0.3),
        sharpened=float(dice.choice([0.0, 0.0, 0.6])),
        is_far_first=bool(dice.random() < 0.5),
        by_hand=by_hand,
    )


# ---- depth ------------------------------------------------------------------------------------


def _floor(dice: np.random.Generator, size: tuple[int, int]) -> Map:
    """A floor that leads away, with bodies on it."""
    columns, rows = size
    y, x = np.mgrid[:rows, :columns].astype(np.float32)
    floor = dice.uniform(0.2, 1.0) * (1 - y / rows) + dice.uniform(-0.2, 0.2) * x / columns
    for _ in range(dice.integers(1, 6)):
        middle = dice.uniform(0, columns), dice.uniform(0, rows)
        radius = dice.uniform(0.11, 0.37) * columns
        apart = np.hypot(x - middle[0], y - middle[1]) / radius
        floor -= dice.uniform(0.1, 0.4) * np.sqrt(np.clip(1 - apart**2, 0, None))
    return _from_0_to_1(floor)


def _terrain(dice: np.random.Generator, size: tuple[int, int]) -> Map:
    """Hills of several widths."""
    columns, rows = size
    hills = np.zeros((rows, columns), np.float32)
    for grain in (0.06, 0.15, 0.4):
        one = dice.normal(0, 1, (rows, columns)).astype(np.float32)
        soft = cv2.GaussianBlur(one, (0, 0), grain * columns / 2)
        hills += grain * soft / max(1e-6, float(soft.std()))
    return _from_0_to_1(hills)


def _leaves(dice: np.random.Generator, size: tuple[int, int]) -> Map:
    """Flat things one before the other, each at its own depth and a little tilted."""
    columns, rows = size
    y, x = np.mgrid[:rows, :columns].astype(np.float32)
    own = np.full((rows, columns), 1.0, np.float32)
    for near in np.sort(dice.uniform(0, 0.9, dice.integers(4, 12)))[::-1]:
        turn = dice.uniform(0, np.pi)
        across = (x - dice.uniform(0, columns)) * np.cos(turn) + (
            y - dice.uniform(0, rows)
        ) * np.sin(turn)
        along = (y - dice.uniform(0, rows)) * np.cos(turn) - (x - columns / 2) * np.sin(turn)
        inside = (across / (0.12 * columns)) ** 2 + (along / (0.4 * columns)) ** 2 < 1
        own[inside] = (near + 0.08 * along / columns)[inside]
    return _from_0_to_1(own)


def _before_a_wall(dice: np.random.Generator, size: tuple[int, int]) -> Map:
    """A subject in the middle, and a background far behind it that is meant to stay soft."""
    columns, rows = size
    y, x = np.mgrid[:rows, :columns].astype(np.float32)
    middle = columns * dice.uniform(0.35, 0.65), rows * dice.uniform(0.4, 0.6)
    apart = np.hypot(
        (x - middle[0]) / (dice.uniform(0.25, 0.42) * columns),
        (y - middle[1]) / (dice.uniform(0.3, 0.45) * rows),
    )
    own = 1 - np.sqrt(np.clip(1 - apart**2, 0, None))
    own[apart >= 1] = dice.uniform(2.5, 5)
    whole: Map = own.astype(np.float32)
    return whole


def _slope(dice: np.random.Generator, size: tuple[int, int]) -> Map:
    columns, rows = size
    y, x = np.mgrid[:rows, :columns].astype(np.float32)
    turn = dice.uniform(0, 2 * np.pi)
    return _from_0_to_1(np.cos(turn) * x / columns + np.sin(turn) * y / rows)


def _two_planes(dice: np.random.Generator, size: tuple[int, int]) -> Map:
    """Most lies in one plane, the rest leads away from it."""
    columns, rows = size
    y = np.mgrid[:rows, :columns].astype(np.float32)[0] / rows
    edge = dice.uniform(0.45, 0.75)
    plane = dice.uniform(-0.03, 0.03) * y
    return _from_0_to_1(np.where(y > edge, plane, plane + (edge - y) / edge))


def _from_0_to_1(own: NDArray[np.floating]) -> Map:
    whole: Map = ((own - own.min()) / max(1e-6, float(np.ptp(own)))).astype(np.float32)
    return whole


DEPTHS: Final[dict[str, Callable[[np.random.Generator, tuple[int, int]], Map]]] = {
    "floor": _floor,
    "terrain": _terrain,
    "leaves": _leaves,
    "wall": _before_a_wall,
    "slope": _slope,
    "planes": _two_planes,
}


# ---- taken ------------------------------------------------------------------------------------


@cache
def texture(name: str, size: tuple[int, int]) -> Plain:
    """The picture in one channel, which fills this size."""
    picture = cv2.imread(str(FOLDER / name), cv2.IMREAD_GRAYSCALE)
    if picture is None:
        raise FileNotFoundError(FOLDER / name)
    scale = max(size[0] / picture.shape[1], size[1] / picture.shape[0])
    grown = cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    rest = (grown.shape[0] - size[1]) // 2, (grown.shape[1] - size[0]) // 2
    return grown[rest[0] : rest[0] + size[1], rest[1] : rest[1] + size[0], None].astype(np.uint8)


def taken(seed: int, fault: Fault = Fault.SOUND) -> Taken:
    """The stack of this seed: begun before the nearest part of its subject and ended behind the farthest."""
    dice = np.random.default_rng(seed)
    recipe = drawn(dice, is_dense=fault in (Fault.DARK, Fault.LOST))
    if fault is Fault.GAP:
        recipe = _of_wide_steps(recipe)
    own = DEPTHS[recipe.depth](dice, recipe.size)
    planes = _planes(recipe, dice)
    if fault is Fault.BURST:
        planes = np.full(recipe.count, dice.uniform(0.2, 0.8)) + dice.normal(0, 0.01, recipe.count)
    planes, at = _without_some(planes, own, fault, dice)
    mover = _mover(fault, recipe, len(planes), dice)
    spread = bell if recipe.is_bell else disc
    reach = max(1.2, float(own.max()) + 0.2)
    scene = layers(texture(recipe.texture, recipe.size), own, recipe.blur * reach, spread)
    sway = np.cumsum(dice.normal(0, recipe.sway, (len(planes), 2)), axis=0)
    shown = []
    for index, plane in enumerate(planes):
        picture = focused(scene, float(plane), recipe.blur)
        if mover is not None:
            picture = mover.before(picture, index)
        dx, dy = (float(each) for each in sway[index])
        picture = _moved(picture, dx, dy, 1 + recipe.breathing * index)
        gain = 1 + dice.normal(0, recipe.light)
        if fault is Fault.DARK and index in at:
            gain = 0.15
        shown.append(_developed(picture, recipe, gain, seed * 1000 + index))
    return Taken(
        recipe=recipe,
        fault=fault,
        measured=chained(placeable(each, measure(each, 1.0)) for each in shown),
        own=own,
        planes=planes,
        at=at if mover is None else mover.steps,
        where=None if mover is None else mover.box,
    )


def _moved(picture: Plain, dx: float, dy: float, growth: float) -> Plain:
    """Moved and grown about its middle.

    By eight pixels each way: fewer take as much off what is fine as a step of focus does, and no camera
    does that.
    """
    rows, columns = picture.shape[:2]
    matrix = cv2.getRotationMatrix2D((columns / 2, rows / 2), 0, growth)
    matrix[:, 2] += np.array([dx, dy])
    out = cv2.warpAffine(
        picture,
        matrix,
        (columns, rows),
        flags=cv2.INTER_LANCZOS4,
        borderMode=cv2.BORDER_REFLECT_101,
    )
    return out.reshape(picture.shape).astype(np.uint8)


def _of_wide_steps(recipe: Recipe) -> Recipe:
    """Where two slices lack there is a gap to be seen only if steps are no small part of the depth of field."""
    least = 1.0 * recipe.size[0] / 540
    step = recipe.blur / (recipe.count - 3)
    return replace(recipe, blur=recipe.blur * max(1.0, least / step))


def _planes(recipe: Recipe, dice: np.random.Generator) -> NDArray[np.float64]:
    """Where each slice is focused: one step before the subject to one behind it."""
    steps = 1 + dice.normal(0, recipe.uneven, recipe.count - 1)
    places = np.concatenate([[0], np.cumsum(np.clip(steps, 0.25, 2))])
    places = places / places[-1] * (recipe.count - 1)
    planes: NDArray[np.float64] = (places - 1) / (recipe.count - 3)
    return planes[::-1].copy() if recipe.is_far_first else planes


def _without_some(
    planes: NDArray[np.float64], own: Map, fault: Fault, dice: np.random.Generator
) -> tuple[NDArray[np.float64], tuple[int, ...]]:
    """The slices that are there, and behind which of them (or which of them) the fault is."""
    middle = int(dice.uniform(0.3, 0.65) * len(planes))
    if fault is Fault.SHORT:
        return planes[: kept(own, planes, 0.1)], ()
    if fault is Fault.GAP:
        middle = _where_much_is_sharp(planes, own, middle)
        return np.delete(planes, [middle, middle + 1]), (middle - 1,)
    if fault is Fault.LOST:
        return np.delete(planes, middle), ()
    return planes, (middle,) if fault is Fault.DARK else ()


def _where_much_is_sharp(planes: NDArray[np.float64], own: Map, start: int) -> int:
    """From the start on, the first slice whose loss with the next one takes 4 % of the frame's sharpness."""
    step = abs(planes[-1] - planes[0]) / (len(planes) - 1)
    inner = [*range(start, len(planes) - 4), *range(start - 1, 2, -1)]
    for index in inner:
        between = (planes[index] + planes[index + 1]) / 2
        if float((np.abs(own - between) < step).mean()) >= LEAST_OF_GAP:
            return int(index)
    return start


def kept(own: Map, planes: NDArray[np.float64], lost: float) -> int:
    """How many slices are left where so much of the frame is to lie over half a step behind the last.

    What lies far behind the whole series is no subject.
    """
    way = 1 if planes[-1] > planes[0] else -1
    half = abs(planes[1] - planes[0]) / 2
    subject = own <= 1.0 + half
    behind = [float((((own - plane) * way > half) & subject).mean()) for plane in planes]
    count = len([each for each in behind if each >= lost])
    return max(3, count)


def _developed(picture: Plain, recipe: Recipe, gain: float, seed: int) -> Plain:
    """As a camera's JPEG has it, in grey."""
    table = np.clip(np.arange(256) * gain, 0, 255).astype(np.uint8)
    lit = cv2.LUT(picture, table).reshape(picture.shape).astype(np.uint8)
    lit = with_noise(lit, seed, recipe.noise)
    if recipe.sharpened:
        soft = cv2.GaussianBlur(lit, (0, 0), 1.2)
        lit = cv2.addWeighted(lit, 1 + recipe.sharpened, soft, -recipe.sharpened, 0).astype(
            np.uint8
        )
    _, data = cv2.imencode(".jpg", lit, [cv2.IMWRITE_JPEG_QUALITY, recipe.quality])
    plain = cv2.imdecode(data, cv2.IMREAD_GRAYSCALE)
    assert plain is not None  # noqa: S101  it was encoded right before
    return plain.astype(np.uint8)


# ---- what moves ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Mover:
    """A thing before the scene. corners: its top left corner in each slice (x, y); None: not there.

    what: its picture; None for the part of the scene itself that lies at home. soft: its blur in pixels.
    """

    corners: tuple[tuple[int, int] | None, ...]
    size: tuple[int, int]
    what: Plain | None
    home: tuple[int, int]
    soft: float
    frame: tuple[int, int]

    @property
    def steps(self) -> tuple[int, ...]:
        """Indexes of the slices behind which it is elsewhere."""
        pairs = zip(self.corners, self.corners[1:], strict=False)
        return tuple(index for index, (one, two) in enumerate(pairs) if one != two)

    @property
    def box(self) -> tuple[float, float, float, float]:
        """All places of it, in shares of the frame."""
        there = [corner for corner in (*self.corners, self.home) if corner is not None]
        left, top = (min(each[axis] for each in there) for axis in (0, 1))
        right, bottom = (max(each[axis] for each in there) + self.size[axis] for axis in (0, 1))
        columns, rows = self.frame
        return left / columns, top / rows, (right - left) / columns, (bottom - top) / rows

    def before(self, picture: Plain, index: int) -> Plain:
        """The slice with it."""
        corner = self.corners[index]
        if corner is None or (self.what is None and corner == self.home):
            return picture
        wide, tall = self.size
        x, y = self.home
        what = picture[y : y + tall, x : x + wide] if self.what is None else self.what
        disk = np.zeros((tall, wide), np.float32)
        cv2.ellipse(disk, (wide // 2, tall // 2), (wide // 2, tall // 2), 0, 0, 360, 1.0, -1)
        mask = cv2.GaussianBlur(disk, (0, 0), 1.0 + self.soft)[..., None]
        if self.what is not None and self.soft:
            what = cv2.GaussianBlur(what, (0, 0), self.soft).reshape(what.shape).astype(np.uint8)
        x, y = corner
        out = picture.copy()
        under = out[y : y + tall, x : x + wide].astype(np.float32)
        out[y : y + tall, x : x + wide] = np.rint(under + mask * (what - under)).astype(np.uint8)
        return out


def _mover(fault: Fault, recipe: Recipe, count: int, dice: np.random.Generator) -> Mover | None:
    """A walker crosses the frame in a part of the slices; a part that sways stands elsewhere in some."""
    is_mover = fault in (Fault.MOVER, Fault.SWAYING)
    if not is_mover and not (fault is Fault.BURST and dice.random() < 0.5):
        return None
    columns, rows = recipe.size
    # An ellipse fills three quarters of its box.
    area, shape = 0.01 * columns * rows / (np.pi / 4), dice.uniform(0.6, 1.6)
    wide, tall = int(np.sqrt(area * shape)), int(np.sqrt(area / shape))
    home = int(dice.uniform(0.2, 0.7) * columns), int(dice.uniform(0.2, 0.7) * rows)
    first = int(dice.integers(1, max(2, count - 3)))
    there = range(first, min(count, first + int(dice.integers(2, max(3, count // 2)))))
    corners: list[tuple[int, int] | None] = []
    if fault is Fault.SWAYING:
        by = dice.uniform(0.2, 0.6) * wide, dice.uniform(-0.3, 0.3) * tall
        for index in range(count):
            is_off = index in there and dice.random() < 0.7
            corners.append((home[0] + int(by[0]), home[1] + int(by[1])) if is_off else home)
        return Mover(
            corners=tuple(corners),
            size=(wide, tall),
            what=None,
            home=home,
            soft=0,
            frame=recipe.size,
        )
    pace = dice.uniform(0.15, 0.8) * wide * dice.choice([-1, 1])
    for index in range(count):
        x = int(np.clip(home[0] + pace * (index - first), 0, columns - wide))
        corners.append((x, home[1]) if index in there else None)
    other = texture(TEXTURES[int(dice.integers(len(TEXTURES)))], recipe.size)
    x, y = int(dice.integers(columns - wide)), int(dice.integers(rows - tall))
    return Mover(
        corners=tuple(corners),
        size=(wide, tall),
        what=other[y : y + tall, x : x + wide],
        home=next(each for each in corners if each is not None),
        soft=float(dice.choice([0.0, 1.0, 3.0])),
        frame=recipe.size,
    )


__all__ = ["DEPTHS", "Fault", "Layers", "Recipe", "Taken", "drawn", "kept", "taken", "texture"]
