"""Defocus by a thin lens over a depth map: what lies off the plane of focus is spread to discs.

The radius of the disc grows in proportion to the distance from the plane of focus, where depth is
counted as a thin lens counts it (in dioptres, or as disparity). The picture is blurred once by each
of some radii, and every pixel takes its share of the two that its own radius lies between; what a
disc takes from behind an edge in depth is not told apart.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Picture = NDArray[np.uint8]
    Depth = NDArray[np.float32]
    Spread = Callable[[float], NDArray[np.float32]]

FIRST_RADIUS: Final = 0.5
GROWTH: Final = 1.5
"""From one radius to the next: between two of them a share of both looks like the one between."""
SUBPIXELS: Final = 5


BAND: Final = 32
"""Rows that are put together at a time: few enough to stay in a processor's cache."""


@dataclass(frozen=True, slots=True, eq=False)
class Layers:
    """A picture (rows, columns, channels) that is blurred by each of the radii once it is asked for.

    radii: in pixels, the first of which is 0. depth: of each pixel. spread: a point's, by the radius.
    """

    picture: Picture
    depth: Depth
    radii: NDArray[np.float64]
    spread: Spread
    _made: dict[int, Picture] = field(default_factory=dict)

    def blurred(self, level: int) -> Picture:
        """The picture blurred by the radius of this number: channels, rows, columns."""
        if level not in self._made:
            self._made[level] = np.ascontiguousarray(np.moveaxis(self._spread(level), -1, 0))
        return self._made[level]

    def _spread(self, level: int) -> Picture:
        if level == 0:
            return self.picture
        spread = self.spread(float(self.radii[level]))
        out = cv2.filter2D(self.picture, -1, spread, borderType=cv2.BORDER_REFLECT_101)
        return out.reshape(self.picture.shape).astype(np.uint8, copy=False)


def disc(radius: float) -> NDArray[np.float32]:
    """The point spread of a thin lens: an even disc, its edge pixels by the share that it covers."""
    reach = math.ceil(radius) + 1
    side = 2 * reach + 1
    line = (np.arange(side * SUBPIXELS) + 0.5) / SUBPIXELS - side / 2
    inside = (line[:, None] ** 2 + line[None, :] ** 2 <= radius**2).astype(np.float32)
    share = inside.reshape(side, SUBPIXELS, side, SUBPIXELS).mean((1, 3))
    spread: NDArray[np.float32] = share / share.sum()
    return spread


def bell(radius: float) -> NDArray[np.float32]:
    """A point spread without an edge, of the same variance as the disc: lenses leave one between both."""
    sigma = radius / 2
    line = np.arange(-math.ceil(3 * sigma + 1), math.ceil(3 * sigma + 1) + 1)
    along = np.exp(-(line**2) / (2 * sigma**2))
    spread: NDArray[np.float32] = np.outer(along, along).astype(np.float32)
    spread /= spread.sum()
    return spread


def layers(picture: Picture, depth: Depth, most: float, spread: Spread = disc) -> Layers:
    """The picture (rows, columns, channels; uint8) to be blurred by radii up to the most in pixels."""
    radii = [0.0, FIRST_RADIUS]
    while radii[-1] < most:
        radii.append(radii[-1] * GROWTH)
    return Layers(picture, depth, np.array(radii), spread)


def focused(what: Layers, focus: float, blur: float) -> Picture:
    """The picture with its plane of focus at this depth.

    blur: the radius in pixels that one unit of depth makes.
    """
    bands: list[Picture] = []
    for top in range(0, len(what.picture), BAND):
        rows = slice(top, top + BAND)
        radius = np.abs(what.depth[rows] - focus) * blur
        shown = cv2.merge(_mixed(what, rows, _levels(what.radii, radius)))
        bands.append(shown.astype(np.uint8, copy=False))
    return np.concatenate(bands).reshape(what.picture.shape)


def _levels(radii: NDArray[np.float64], radius: Depth) -> Depth:
    """Between which two of the radii each lies, by number, and how near to the second."""
    low = np.minimum(np.searchsorted(radii, radius, side="right") - 1, len(radii) - 2)
    share = np.minimum((radius - radii.take(low)) / np.diff(radii).take(low), 1)
    place: Depth = (low + share.astype(np.float32)).astype(np.float32)
    return place


def _mixed(what: Layers, rows: slice, place: Depth) -> list[Picture]:
    """Each pixel by its share of the two levels that it lies between: one picture a channel."""
    out = [np.zeros_like(place) for _ in range(what.picture.shape[-1])]
    for level in range(int(place.min()), math.ceil(place.max()) + 1):
        # Each level counts by how near the radius lies to its own, on a scale where levels are steps.
        weight = np.maximum(1 - np.abs(place - np.float32(level)), 0)
        for sums, channel in zip(out, what.blurred(level), strict=True):
            # Numbers of two kinds at once: OpenCV needs a third of numpy's time for that.
            np.add(sums, cv2.multiply(channel[rows], weight, dtype=cv2.CV_32F), out=sums)
    return [np.rint(sums, out=sums).astype(np.uint8) for sums in out]


def with_noise(picture: Picture, seed: int, sigma: float) -> Picture:
    """The picture with a sensor's noise of this standard deviation in grey levels."""
    if not sigma:
        return picture
    noise = np.random.default_rng(seed).normal(0, sigma, picture.shape[:2]).astype(np.float32)
    alike = cv2.merge([noise] * picture.shape[2])
    # Both as numbers with fractions: of two kinds, OpenCV would round the noise before it is added.
    shown = picture.astype(np.float32)
    noisy = cv2.add(shown, alike.reshape(picture.shape), dtype=cv2.CV_8U)
    return noisy.reshape(picture.shape).astype(np.uint8, copy=False)


def moved(picture: Picture, dx: float, dy: float, growth: float = 1.0) -> Picture:
    """The picture moved by so many pixels and grown about its middle."""
    rows, columns = picture.shape[:2]
    matrix = cv2.getRotationMatrix2D((columns / 2, rows / 2), 0, growth)
    matrix[:, 2] += np.array([dx, dy])
    out = cv2.warpAffine(
        picture, matrix, (columns, rows), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT_101
    )
    return out.reshape(picture.shape).astype(np.uint8, copy=False)
