"""How sharp each tile of a series is in each of its frames."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.checking.align import Alignment, moved_back

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.model.measurement import Grid, MeasuredSeries, Measurement

    Values = NDArray[np.float64]

CELLS: Final = 3
"""Cells along the side of a tile."""
BLACK: Final = 6.0
"""Grey levels added to a tile's light before its energy is divided by it: black has no contrast."""
LIGHTS: Final = 6
"""Noise differs with the light, most where it is clipped: that many classes of light have their own."""
NOISE_SHARE: Final = 5
"""Per cent of the tiles of all frames, in one class of light, that are taken to show noise alone: in
a stack even what has texture is soft most of the time."""
LEAST_NOISE: Final = 0.02
"""Squares of grey levels: where light is clipped there is none at all."""
LEFT_OVER: Final = 0.3
"""Times the noise's energy, below which sharpness is not told from noise."""
COARSER: Final = 1.5
LEAST_COARSE: Final = 1.0
"""Squares of grey levels."""
ABOVE_NOISE: Final = 2.5
"""A tile has texture where its sharpest frame has so many times the noise's energy …"""
RISE: Final = 1.6
"""… and without noise so many times that of its softest one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tiles:
    """The logarithm of the sharpness (energy beyond that of noise, over light squared) of tiles.

    sharp: tiles by frames, every tile of the grid row by row. fine: the same of how much finer than
    coarse what a tile shows is (the logarithm of energy over coarse energy): a blur of a pixel or two
    lowers it, whatever the texture. frames: the index in the sequence of
    each column. light: the mean grey of each tile in each frame. textured: which of the tiles have
    texture that focus changes. structured: the share of tiles that show anything but noise, in focus or
    not. shape: rows, columns.
    """

    sharp: NDArray[np.float64]
    fine: NDArray[np.float64]
    light: NDArray[np.float64]
    frames: NDArray[np.int64]
    textured: NDArray[np.bool_]
    structured: float
    shape: tuple[int, int]


def tiles(measured: MeasuredSeries, places: Alignment, frames: NDArray[np.int64]) -> Tiles:
    """The tiles of these frames (their indexes), brought to where the first frame has them."""
    energies, coarses, lights, shape = [], [], [], (0, 0)
    for index in frames:
        measurement = measured.measurements[index]
        assert measurement is not None  # noqa: S101  the caller chose those that are seen
        joined = _joined(moved_back(measurement.energy, places, index))
        shape = joined.shape
        energies.append(joined.ravel())
        coarses.append(_joined(moved_back(measurement.coarse, places, index)).ravel())
        lights.append(_joined(moved_back(measurement.light, places, index)).ravel())
    energy, coarse, light = (
        np.stack(each, axis=1).astype(np.float64) for each in (energies, coarses, lights)
    )
    noise = _noise(energy, light)
    left = np.maximum(energy - noise, LEFT_OVER * noise)
    coarse_noise = _noise(coarse, light)
    coarse_left = np.maximum(coarse - coarse_noise, LEFT_OVER * coarse_noise)
    fine = np.log(left + 1e-3) - np.log(coarse_left + 1e-3)
    sharp = np.log(left / (light + BLACK) ** 2 + 1e-7)
    sharp += _of_other_sizes(sharp, [measured.measurements[index] for index in frames])
    rises = sharp.max(1) - sharp.min(1) > np.log(RISE)
    textured = ((energy / noise).max(1) > ABOVE_NOISE) & rises
    return Tiles(
        sharp=sharp,
        fine=fine,
        light=light,
        frames=frames,
        textured=textured,
        structured=_structured(energy, coarse),
        shape=shape,
    )


def _structured(energy: Values, coarse: Values) -> float:
    """The share of tiles that are more than noise, which is four times as strong at full size as at half."""
    seen = (energy < COARSER * coarse) & (coarse > LEAST_COARSE)
    return float(seen.any(1).mean()) if len(seen) else 0.0


def _of_other_sizes(sharp: Values, measurements: list[Measurement | None]) -> Values:
    """What is to be added to each frame: one from a larger picture is sharper all over, and that is no focus.

    0 for frames of the size that most have; for others what they differ by from those around them, in the
    median tile.
    """
    added = np.zeros(sharp.shape[1])
    sizes = [None if each is None else (each.width, each.height) for each in measurements]
    usual = Counter(sizes).most_common(1)[0][0]
    same = [index for index, size in enumerate(sizes) if size == usual]
    for index, size in enumerate(sizes):
        if size != usual:
            around = sorted(same, key=lambda other, index=index: abs(other - index))[:2]  # type: ignore[misc]
            added[index] = float(np.median(sharp[:, around].mean(1) - sharp[:, index]))
    return added


def _noise(energy: Values, light: Values) -> Values:
    """The noise's share of each energy, both of tiles by frames, in squares of grey levels.

    What a tile of such light has at least, in any of the frames (NOISE_SHARE).
    """
    edges = np.quantile(light, np.arange(1, LIGHTS) / LIGHTS)
    which = np.searchsorted(edges, light)
    floors = np.zeros(LIGHTS)
    for each in np.unique(which):
        floors[each] = np.percentile(energy[which == each], NOISE_SHARE)
    noise: Values = np.maximum(floors, LEAST_NOISE)[which]
    return noise


def _joined(grid: Grid) -> Grid:
    """The mean of CELLS by CELLS cells."""
    rows, columns = (max(1, side // CELLS) for side in grid.shape)
    down, across = min(CELLS, grid.shape[0]), min(CELLS, grid.shape[1])
    whole = grid[: rows * down, : columns * across]
    joined: Grid = whole.reshape(rows, down, columns, across).mean((1, 3))
    return joined
