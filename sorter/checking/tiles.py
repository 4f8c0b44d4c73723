"""How sharp each tile of a series is in each of its frames."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.checking.align import Alignment, moved_back

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.model.measurement import Grid, MeasuredSeries

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
    texture that focus changes. shape: rows, columns.
    """

    sharp: NDArray[np.float64]
    fine: NDArray[np.float64]
    light: NDArray[np.float64]
    frames: NDArray[np.int64]
    textured: NDArray[np.bool_]
    shape: tuple[int, int]


def tiles(measured: MeasuredSeries, places: Alignment, frames: NDArray[np.int64]) -> Tiles:
    """The tiles of these frames (their indexes), brought to where the first frame has them."""
    energies, coarses, lights, shape = [], [], [], (0, 0)
    for index in frames:
        measurement = measured.measurements[index]
        assert measurement is not None  # noqa: S101  the caller chose those that are seen
        place = places.x[index], places.y[index], places.growth[index]
        joined = _joined(moved_back(measurement.energy, measurement, place))
        shape = joined.shape
        energies.append(joined.ravel())
        coarses.append(_joined(moved_back(measurement.coarse, measurement, place)).ravel())
        lights.append(_joined(moved_back(measurement.light, measurement, place)).ravel())
    energy, coarse, light = (
        np.stack(each, axis=1).astype(np.float64) for each in (energies, coarses, lights)
    )
    noise = _noise(energy, light)
    left = np.maximum(energy - noise, LEFT_OVER * noise)
    coarse_noise = _noise(coarse, light)
    coarse_left = np.maximum(coarse - coarse_noise, LEFT_OVER * coarse_noise)
    fine = np.log(left + 1e-3) - np.log(coarse_left + 1e-3)
    sharp = np.log(left / (light + BLACK) ** 2 + 1e-7)
    rises = sharp.max(1) - sharp.min(1) > np.log(RISE)
    textured = ((energy / noise).max(1) > ABOVE_NOISE) & rises
    return Tiles(sharp=sharp, fine=fine, light=light, frames=frames, textured=textured, shape=shape)


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
