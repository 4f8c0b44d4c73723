"""Defocus by a thin lens over a depth map: what lies off the plane of focus is spread to discs.

The radius of the disc grows in proportion to the distance from the plane of focus, where depth is
counted as a thin lens counts it (in dioptres, or as disparity). The picture is blurred once by each
of some radii, and every pixel takes its share of the two that its own radius lies between; what a
disc takes from behind an edge in depth is not told apart.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import cv2
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Picture = NDArray[np.uint8]
    Depth = NDArray[np.float32]

FIRST_RADIUS: Final = 0.5
GROWTH: Final = 1.5
"""From one radius to the next: between two of them a share of both looks like the one between."""
SUBPIXELS: Final = 5


@dataclass(frozen=True, slots=True)
class Layers:
    """A picture blurred by each of the radii (pixels), the first of which is 0; and its depth.

    planes: the same channel by channel, as numbers that need not be converted for every slice.
    """

    radii: NDArray[np.float64]
    blurred: NDArray[np.uint8]
    planes: NDArray[np.float32]
    depth: Depth


def disc(radius: float) -> NDArray[np.float32]:
    """The point spread of a thin lens: an even disc, its edge pixels by the share that it covers."""
    reach = math.ceil(radius) + 1
    side = 2 * reach + 1
    line = (np.arange(side * SUBPIXELS) + 0.5) / SUBPIXELS - side / 2
    inside = (line[:, None] ** 2 + line[None, :] ** 2 <= radius**2).astype(np.float32)
    share = inside.reshape(side, SUBPIXELS, side, SUBPIXELS).mean((1, 3))
    spread: NDArray[np.float32] = share / share.sum()
    return spread


def layers(picture: Picture, depth: Depth, most: float) -> Layers:
    """The picture (rows, columns, channels; uint8) blurred for radii up to the most in pixels."""
    radii = [0.0, FIRST_RADIUS]
    while radii[-1] < most:
        radii.append(radii[-1] * GROWTH)
    blurred = [picture]
    blurred += [
        cv2.filter2D(picture, -1, disc(radius), borderType=cv2.BORDER_REFLECT_101).astype(np.uint8)
        for radius in radii[1:]
    ]
    every = np.stack(blurred)
    planes = np.ascontiguousarray(np.moveaxis(every, -1, 1), dtype=np.float32)
    return Layers(np.array(radii), every, planes, depth)


def focused(what: Layers, focus: float, blur: float) -> Picture:
    """The picture with its plane of focus at this depth.

    blur: the radius in pixels that one unit of depth makes.
    """
    radius = np.abs(what.depth - focus) * blur
    low = np.clip(np.searchsorted(what.radii, radius, side="right") - 1, 0, len(what.radii) - 2)
    share = (radius - what.radii[low]) / (what.radii[low + 1] - what.radii[low])
    share = np.clip(share, 0, 1).astype(np.float32)
    # Each level counts by how near the radius lies to its own, on a scale where levels are steps.
    place = (low + share).astype(np.float32)
    out = np.zeros(what.planes.shape[1:], dtype=np.float32)
    least, most = place.min(1), place.max(1)
    for level, planes in enumerate(what.planes):
        # A level mostly counts in a band of the picture only.
        rows = np.flatnonzero((least < level + 1) & (most > level - 1))
        if len(rows):
            band = slice(rows[0], rows[-1] + 1)
            weight = np.maximum(1 - np.abs(place[band] - np.float32(level)), 0)
            for channel, plane in enumerate(planes):
                out[channel, band] += plane[band] * weight
    return np.ascontiguousarray(np.moveaxis(np.rint(out).astype(np.uint8), 0, -1))


def with_noise(picture: Picture, seed: int, sigma: float) -> Picture:
    """The picture with a sensor's noise of this standard deviation in grey levels."""
    if not sigma:
        return picture
    noise = np.random.default_rng(seed).normal(0, sigma, picture.shape[:2]).astype(np.float32)
    shown = np.repeat(noise, picture.shape[2], axis=1).reshape(picture.shape)
    shown += picture
    noisy: Picture = np.clip(np.rint(shown, out=shown), 0, 255).astype(np.uint8)
    return noisy


def moved(picture: Picture, dx: float, dy: float, growth: float = 1.0) -> Picture:
    """The picture moved by so many pixels and grown about its middle."""
    rows, columns = picture.shape[:2]
    matrix = cv2.getRotationMatrix2D((columns / 2, rows / 2), 0, growth)
    matrix[:, 2] += np.array([dx, dy])
    out = cv2.warpAffine(
        picture, matrix, (columns, rows), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT_101
    )
    return out.astype(np.uint8)
