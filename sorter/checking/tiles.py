"""How sharp each tile of a series is in each of its frames."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.checking.align import Places, moved_back

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.model.glance import Grid, Measured

CELLS: Final = 3
"""Cells along the side of a tile."""
BLACK: Final = 6.0
"""Grey levels added to a tile's light before its energy is divided by it: black has no contrast."""
NOISE_SHARE: Final = 5
"""Per cent of a frame's tiles that are taken to show nothing but noise."""
ABOVE_NOISE: Final = 2.5
"""A tile has texture where its sharpest frame has so many times the noise's energy …"""
RISE: Final = 1.6
"""… and so many times that of its softest one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tiles:
    """The logarithm of the sharpness (energy over light squared) of tiles.

    sharp: tiles by frames, every tile of the grid row by row. frames: the index in the sequence of
    each column. textured: which of the tiles have texture that focus changes. shape: rows, columns.
    """

    sharp: NDArray[np.float64]
    frames: NDArray[np.int64]
    textured: NDArray[np.bool_]
    shape: tuple[int, int]


def tiles(measured: Measured, places: Places, frames: NDArray[np.int64]) -> Tiles:
    """The tiles of these frames (their indexes), brought to where the first frame has them."""
    columns, floors, shape = [], [], (0, 0)
    for index in frames:
        glance = measured.glances[index]
        assert glance is not None  # noqa: S101  the caller chose those that are seen
        place = places.x[index], places.y[index], places.growth[index]
        energy = _joined(moved_back(glance.energy, glance, place))
        light = _joined(moved_back(glance.light, glance, place))
        shape = energy.shape
        sharp = energy / (light + BLACK) ** 2
        columns.append(np.log(sharp + 1e-7).ravel())
        floors.append(np.percentile(columns[-1], NOISE_SHARE))
    sharp = np.stack(columns, axis=1).astype(np.float64)
    top, bottom = sharp.max(1), sharp.min(1)
    textured = (top > np.median(floors) + np.log(ABOVE_NOISE)) & (top - bottom > np.log(RISE))
    return Tiles(sharp=sharp, frames=frames, textured=textured, shape=shape)


def _joined(grid: Grid) -> Grid:
    """The mean of CELLS by CELLS cells."""
    rows, columns = (max(1, side // CELLS) for side in grid.shape)
    down, across = min(CELLS, grid.shape[0]), min(CELLS, grid.shape[1])
    whole = grid[: rows * down, : columns * across]
    joined: Grid = whole.reshape(rows, down, columns, across).mean((1, 3))
    return joined
