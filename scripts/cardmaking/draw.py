"""Drawings of a rock pool at low tide, with a plane of focus that can be moved through them.

A scene is painted sharp once, together with how far each pixel lies from the camera (0 nearest,
1 farthest, as a thin lens counts it). A picture of it is what a thin lens makes of that: see
defocus.py.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass
from functools import lru_cache
from io import BytesIO
from typing import TYPE_CHECKING, Literal

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFilter, ImageOps

from cardmaking.defocus import Layers, focused, layers, moved, with_noise

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from cardmaking.defocus import Depth

    Pixels = NDArray[np.uint8]

Subject = Literal["limpets", "anemone", "barnacles", "splash"]
Colour = tuple[int, int, int]
Point = tuple[float, float]

SIZE = (1620, 1080)
MOST_BLUR = 70.0
"""Radius in pixels beyond which nothing is spread farther: no detail is left there."""
NOISE = 1.5
"""Standard deviation of a sensor's noise, in grey levels."""
GRAIN = 0.16
"""How strong fine texture is: every stone, shell and tentacle shows some when it is sharp."""
BEHIND: dict[Subject, float] = {"anemone": 0.62}
"""Depth of the floor beyond which there is nothing but a far background, never to be sharp."""
FAR = 1.6
SOFT_EDGE = 0.01


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """A painted scene: the sharp picture with its blurred copies and its depth."""

    layers: Layers


@dataclass(slots=True)
class _Canvas:
    """A picture and its depth while they are painted."""

    picture: Image.Image
    depth: Image.Image
    dice: random.Random

    def spot(self, near: float, far: float) -> tuple[Point, float]:
        """A random place between two depths, and its size factor (nearer is larger)."""
        width, height = self.picture.size
        depth = self.dice.uniform(near, far)
        where = (self.dice.uniform(0.02, 0.98) * width, height * (1 - depth))
        return where, 1.25 - 0.75 * depth


def scene(subject: Subject, seed: int, size: tuple[int, int] = SIZE) -> Scene:
    """A painted scene; the same subject, seed and size always give the same pixels."""
    dice = random.Random(f"{subject}-{seed}")
    canvas = _Canvas(_rock(dice, size), _slope(size), dice)
    _PAINTERS[subject](canvas)
    sharp = np.asarray(canvas.picture.filter(ImageFilter.GaussianBlur(0.6)))
    levels = np.asarray(canvas.depth.filter(ImageFilter.GaussianBlur(2)))
    depth = (levels / 255).astype(np.float32)
    return Scene(layers(_grained(sharp, dice), _deep(depth, subject), MOST_BLUR))


def _grained(picture: Pixels, dice: random.Random) -> Pixels:
    """The picture with fine texture of two grains all over it."""
    rows, columns = picture.shape[:2]
    noise = np.random.default_rng(dice.randrange(2**32))
    grain = np.zeros((rows, columns), dtype=np.float32)
    for size, part in ((1.2, 0.6), (2.6, 0.4)):
        spots = noise.normal(0, 1, (rows, columns)).astype(np.float32)
        spots = cv2.GaussianBlur(spots, (0, 0), size).astype(np.float32)
        grain += part * spots / float(spots.std())
    shown = picture.astype(np.float32) * (1 + GRAIN * grain[..., None]) + 2 * grain[..., None]
    grained: Pixels = np.clip(np.rint(shown), 0, 255).astype(np.uint8)
    return grained


def _deep(depth: Depth, subject: Subject) -> Depth:
    """The depth, with the far background moved away where the subject has one."""
    behind = BEHIND.get(subject)
    if behind is None:
        return depth
    share = np.clip((depth - behind) / SOFT_EDGE, 0, 1)
    deep: Depth = (depth + share * (FAR - behind)).astype(np.float32)
    return deep


def picture(
    what: Scene,
    focus: float,
    *,
    blur: float = 60.0,
    ev: float = 0.0,
    shift: tuple[float, float] = (0.0, 0.0),
    growth: float = 1.0,
    wind: float = 0.0,
    seed: int = 0,
) -> Image.Image:
    """The scene with the plane of focus at a depth from 0 (nearest) to 1.

    blur: radius in pixels that one unit of depth makes. ev brightens or darkens in stops; shift
    moves the whole picture by pixels, growth makes it larger; wind sways a part of it by pixels.
    """
    out = _focused(what, focus, blur)
    if wind:
        out = _swayed(out, wind)
    if shift != (0.0, 0.0) or growth != 1.0:
        out = moved(out, *shift, growth)
    if ev:
        out = np.clip(out.astype(np.float32) * 2 ** (ev / 2.2), 0, 255).astype(np.uint8)
    return Image.fromarray(with_noise(out, seed, NOISE))


@lru_cache(maxsize=1)  # a burst stays in focus
def _focused(what: Scene, focus: float, blur: float) -> Pixels:
    return focused(what.layers, focus, blur)


def _swayed(picture: Pixels, pixels: float) -> Pixels:
    """A tuft in the upper left is pushed aside; all else stays."""
    rows, columns = picture.shape[:2]
    y, x = np.mgrid[:rows, :columns].astype(np.float32)
    apart = ((x - 0.3 * columns) / (0.08 * columns)) ** 2 + ((y - 0.35 * rows) / (0.1 * rows)) ** 2
    push = (pixels * np.exp(-apart)).astype(np.float32)
    return cv2.remap(picture, x + push, y, cv2.INTER_LINEAR).astype(np.uint8)


def with_splash(image: Image.Image, seed: int, height: float) -> Image.Image:
    """The picture with a wave breaking: drops thrown to a height from 0 to 1."""
    dice = random.Random(f"splash-{seed}")
    out = image.copy()
    pen = ImageDraw.Draw(out)
    width, tall = out.size
    for _ in range(int(60 + 200 * height)):
        angle, reach = dice.gauss(0, 0.55), abs(dice.gauss(0.55, 0.3)) * height * tall
        x = width / 2 + math.sin(angle) * reach
        y = tall * 0.62 - math.cos(angle) * reach
        _drop(pen, (x, y), dice.uniform(2, 13), dice.uniform(0.8, 1.6))
    return out


def _drop(pen: ImageDraw.ImageDraw, at: Point, radius: float, stretch: float) -> None:
    pen.ellipse(_around(at, radius, radius * stretch), fill=(176, 202, 214))
    pen.ellipse(_around(at, radius * 0.7, radius * stretch * 0.7), fill=(118, 150, 166))
    glint = (at[0] - radius * 0.3, at[1] - radius * 0.4)
    pen.ellipse(_around(glint, radius * 0.28), fill=(255, 255, 255))


def misfired(image: Image.Image) -> Image.Image:
    """The picture as it comes out when the flash fails: dark, not quite black."""
    return image.point([round(value * 0.07) for value in range(256)] * 3)


def capped(seed: int, size: tuple[int, int] = SIZE) -> Image.Image:
    """A frame taken with the cap on: black with a little noise."""
    noise = _noise(random.Random(f"cap-{seed}"), size, 2)
    dark = noise.point([value // 40 for value in range(256)])
    return Image.merge("RGB", (dark, dark, dark))


def encoded(image: Image.Image, width: int, quality: int) -> bytes:
    """The picture as a JPEG of the given width in pixels."""
    if width != image.width:
        height = round(image.height * width / image.width)
        image = image.resize((width, height), Image.Resampling.BILINEAR)
    out = BytesIO()
    image.save(out, "JPEG", quality=quality)
    return out.getvalue()


# ---- ground ---------------------------------------------------------------------------------


def _noise(dice: random.Random, size: tuple[int, int], grain: int) -> Image.Image:
    """Grey noise whose spots are grain pixels wide."""
    small = (size[0] // grain + 2, size[1] // grain + 2)
    dots = Image.frombytes("L", small, dice.randbytes(small[0] * small[1]))
    return dots.resize(size, Image.Resampling.BICUBIC)


def _clouds(dice: random.Random, size: tuple[int, int], grains: tuple[int, ...]) -> Image.Image:
    """Noise of several grains, the coarse ones strongest."""
    out = _noise(dice, size, grains[0])
    for grain in grains[1:]:
        out = Image.blend(out, _noise(dice, size, grain), 0.4)
    return ImageOps.autocontrast(out, cutoff=1)


def _rock(dice: random.Random, size: tuple[int, int]) -> Image.Image:
    """Wet rock with patches of green and of pink crust."""
    grey = _clouds(dice, size, (180, 60, 20, 7, 2))
    stone = ImageOps.colorize(grey, (28, 25, 24), (196, 184, 160), (104, 94, 82))
    for dark, light in (((24, 48, 20), (128, 160, 70)), ((96, 44, 58), (226, 160, 168))):
        crust = ImageOps.colorize(_clouds(dice, size, (30, 8, 3)), dark, light)
        patches = _clouds(dice, size, (220, 70, 18))
        table = [min(255, max(0, (value - 165) * 6)) for value in range(256)]
        stone.paste(crust, mask=patches.point(table))
    return stone


def _slope(size: tuple[int, int]) -> Image.Image:
    """Depth of a floor that runs from near at the bottom to far at the top."""
    return ImageOps.invert(Image.linear_gradient("L")).resize(size, Image.Resampling.BILINEAR)


def _around(at: Point, across: float, down: float | None = None) -> tuple[float, ...]:
    tall = across if down is None else down
    return (at[0] - across, at[1] - tall, at[0] + across, at[1] + tall)


def _ring(at: Point, across: float, down: float, count: int, turn: float = 0.0) -> list[Point]:
    angles = [turn + 2 * math.pi * step / count for step in range(count)]
    return [(at[0] + across * math.cos(a), at[1] + down * math.sin(a)) for a in angles]


def _shade(colour: Colour, factor: float) -> Colour:
    red, green, blue = (min(255, round(part * factor)) for part in colour)
    return red, green, blue


# ---- subjects -------------------------------------------------------------------------------


def _limpets(canvas: _Canvas) -> None:
    spots = sorted((canvas.spot(0.08, 0.9) for _ in range(17)), key=lambda spot: spot[0][1])
    for at, scale in spots:
        _limpet(canvas, at, canvas.dice.uniform(85, 150) * scale)


def _limpet(canvas: _Canvas, at: Point, radius: float) -> None:
    """A cone with ribs and growth rings; its top is nearer than its rim."""
    pen, dice = ImageDraw.Draw(canvas.picture), canvas.dice
    base = dice.choice([(176, 160, 128), (150, 140, 120), (190, 168, 120), (138, 128, 116)])
    below = (at[0] + radius * 0.1, at[1] + radius * 0.14)
    pen.ellipse(_around(below, radius * 1.05, radius * 0.86), fill=(22, 19, 18))
    top = (at[0] - radius * 0.08, at[1] - radius * 0.2)
    rim = _ring(at, radius, radius * 0.8, 44, dice.random())
    for index, (one, two) in enumerate(zip(rim, rim[1:] + rim[:1], strict=True)):
        light = 1.15 - 0.55 * ((one[0] - at[0]) + (one[1] - at[1])) / (2 * radius)
        stripe = (0.72, 1.0, 1.16, 0.9)[index % 4] * dice.uniform(0.9, 1.1)
        pen.polygon([top, one, two], fill=_shade(base, light * stripe))
    for share in (0.86, 0.68, 0.5, 0.34, 0.2):
        middle = _between(top, at, share)
        pen.ellipse(_around(middle, radius * share, radius * 0.8 * share), outline=(84, 72, 58))
    pen.ellipse(_around(top, radius * 0.09, radius * 0.07), fill=(230, 222, 204))
    _dome(canvas, at, top, radius, 0.14)


def _between(one: Point, two: Point, share: float) -> Point:
    return one[0] + (two[0] - one[0]) * share, one[1] + (two[1] - one[1]) * share


def _dome(canvas: _Canvas, at: Point, top: Point, radius: float, rise: float) -> None:
    """Brings the depth nearer toward the top of a round body."""
    pen = ImageDraw.Draw(canvas.depth)
    floor = 1 - at[1] / canvas.depth.height
    for step in range(24):
        share = 1 - step / 24
        value = round(255 * max(0.0, floor - rise * (1 - share)))
        pen.ellipse(_around(_between(top, at, share), radius * share, radius * 0.8 * share), value)


def _anemone(canvas: _Canvas) -> None:
    width, height = canvas.picture.size
    _stalk(canvas, (width * 0.5, height * 0.56), 330)
    for at, scale in sorted((canvas.spot(0.05, 0.85) for _ in range(6)), key=lambda s: s[0][1]):
        if abs(at[0] - width / 2) > width * 0.3:
            _limpet(canvas, at, 95 * scale)


def _stalk(canvas: _Canvas, at: Point, radius: float) -> None:
    """A beadlet anemone: a dark red column, an oral disc and rings of tentacles."""
    pen = ImageDraw.Draw(canvas.picture)
    for step in range(40, 0, -1):
        share = step / 40
        colour = _shade((150, 26, 34), 1.25 - 0.7 * share)
        pen.ellipse(_around(at, radius * share, radius * 0.74 * share), fill=colour)
    _dome(canvas, at, at, radius, 0.2)
    for ring in range(4):
        for root in _ring(
            at,
            radius * (0.9 - 0.17 * ring),
            radius * (0.66 - 0.13 * ring),
            46 - 8 * ring,
            canvas.dice.random(),
        ):
            _tentacle(canvas, at, root, radius, ring)
    pen.ellipse(_around(at, radius * 0.16, radius * 0.11), fill=(92, 10, 22))


def _tentacle(canvas: _Canvas, middle: Point, root: Point, radius: float, ring: int) -> None:
    """A tapering arm that bends outward and rises toward the camera."""
    pen, deep = ImageDraw.Draw(canvas.picture), ImageDraw.Draw(canvas.depth)
    heading = math.atan2(root[1] - middle[1], root[0] - middle[0])
    bend, steps = canvas.dice.uniform(-1.1, 1.1), 26
    floor = 1 - middle[1] / canvas.depth.height
    x, y = root
    for step in range(steps):
        share = step / steps
        thick = radius * 0.062 * (1 - 0.6 * share)
        x += math.cos(heading) * radius * 0.017
        y += math.sin(heading) * radius * 0.015 - radius * 0.004
        heading += bend / steps
        pen.ellipse(_around((x, y), thick), fill=_shade((168, 34, 44), 0.75 + 0.75 * share))
        glint = (x - thick * 0.3, y - thick * 0.3)
        pen.ellipse(_around(glint, thick * 0.32), fill=_shade((236, 120, 124), 0.8 + 0.3 * share))
        rise = 0.12 + 0.05 * ring + 0.16 * share
        deep.ellipse(_around((x, y), thick), fill=round(255 * max(0.0, floor - rise)))


def _barnacles(canvas: _Canvas) -> None:
    spots = sorted((canvas.spot(0.02, 0.98) for _ in range(210)), key=lambda spot: spot[0][1])
    for at, scale in spots:
        _barnacle(canvas, at, canvas.dice.uniform(26, 52) * scale)


def _barnacle(canvas: _Canvas, at: Point, radius: float) -> None:
    """Six pale plates round a dark opening."""
    pen, dice = ImageDraw.Draw(canvas.picture), canvas.dice
    pen.ellipse(_around((at[0] + 3, at[1] + 5), radius * 1.08, radius * 0.92), fill=(26, 24, 24))
    turn = dice.random()
    rim = _ring(at, radius, radius * 0.85, 18, turn)
    mouth = _ring((at[0], at[1] - radius * 0.15), radius * 0.4, radius * 0.3, 18, turn)
    for index in range(18):
        after = (index + 1) % 18
        grey = round(dice.uniform(150, 235) * (0.8 if index % 3 == 0 else 1.0))
        corners = [rim[index], rim[after], mouth[after], mouth[index]]
        pen.polygon(corners, fill=(grey, grey, round(grey * 0.93)))
        pen.line([rim[index], mouth[index]], fill=(92, 90, 86), width=1 + 2 * (index % 3 == 0))
    pen.polygon(mouth, fill=(34, 30, 32))
    lips = _ring((at[0], at[1] - radius * 0.15), radius * 0.26, radius * 0.14, 4)
    pen.polygon(lips, fill=(120, 116, 122))
    _dome(canvas, at, (at[0], at[1] - radius * 0.15), radius, 0.035)


def _splash(canvas: _Canvas) -> None:
    """The edge of the pool: water below, barnacled rock behind."""
    width, height = canvas.picture.size
    for at, scale in sorted((canvas.spot(0.42, 0.98) for _ in range(60)), key=lambda s: s[0][1]):
        _barnacle(canvas, at, canvas.dice.uniform(22, 40) * scale)
    waves = _clouds(canvas.dice, (width // 3, height), (60, 24, 8)).resize((width, height))
    water = ImageOps.colorize(waves, (14, 44, 58), (196, 222, 226), (52, 104, 122))
    shore = Image.new("L", (width, height), 0)
    edge = [(x, height * (0.6 + 0.02 * math.sin(x / 90))) for x in range(0, width + 9, 9)]
    ImageDraw.Draw(shore).polygon([*edge, (width, height), (0, height)], fill=235)
    canvas.picture.paste(water, mask=shore.filter(ImageFilter.GaussianBlur(5)))


_PAINTERS: dict[Subject, Callable[[_Canvas], None]] = {
    "limpets": _limpets,
    "anemone": _anemone,
    "barnacles": _barnacles,
    "splash": _splash,
}
