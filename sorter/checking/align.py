"""Where each frame of a series lies, and its cells brought to where those of one frame are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.model.measurement import ALIKE, MeasuredSeries

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.model.measurement import Grid, Measurement

FRAMED: Final = 0.1
"""Of the longer side: how far the frame may move between two slices that are turned by hand."""
LEAST_CELLS: Final = 0.2
"""A frame that lies less than this off is taken as it is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Alignment:
    """Where each frame's middle lies and how large it shows the scene, against the first frame.

    x, y: in pixels of like's picture, whatever size a frame itself has. growth: 1 is as large. known:
    whether the frame could be held against the others at all; what is not known lies where the one before
    it does. like: the first frame that can be seen; None where none can.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    growth: NDArray[np.float64]
    known: NDArray[np.bool_]
    like: Measurement | None = None

    @property
    def side(self) -> int:
        """The longer side of like's picture; 1 where there is none."""
        return longer_side(self.like) if self.like is not None else 1

    @property
    def spread(self) -> float:
        """How much larger the largest frame that is known shows the scene than the smallest."""
        known = self.growth[self.known]
        return float(known.max() / known.min() - 1) if len(known) else 0.0

    @property
    def drift(self) -> float:
        """The largest shift between any two frames that are known, in pixels."""
        x, y = self.x[self.known], self.y[self.known]
        if len(x) < 2:  # noqa: PLR2004  two make a distance
            return 0.0
        return float(np.hypot(x[:, None] - x[None, :], y[:, None] - y[None, :]).max())


def alignment(measured: MeasuredSeries) -> Alignment:
    """The frames' places, added up from move to move."""
    count = len(measured.measurements)
    x, y, growth = np.zeros(count), np.zeros(count), np.ones(count)
    known = np.zeros(count, dtype=bool)
    like = next((each for each in measured.measurements if each is not None), None)
    for index, (measurement, displacement) in enumerate(
        zip(measured.measurements, measured.displacements, strict=True)
    ):
        if index:
            x[index], y[index], growth[index] = x[index - 1], y[index - 1], growth[index - 1]
        if measurement is None:
            continue
        known[index] = measurement is like
        if displacement is None or displacement.likeness < ALIKE:
            continue
        of = measured.measurements[displacement.of]
        if of is not None and like is not None:
            size = longer_side(like) / longer_side(of)
            x[index] = x[displacement.of] + displacement.dx * size
            y[index] = y[displacement.of] + displacement.dy * size
            growth[index] = growth[displacement.of] * displacement.growth
            known[index] = True
    return Alignment(x=x, y=y, growth=growth, known=known, like=like)


def longer_side(measurement: Measurement) -> int:
    """Of the picture that was decoded, in its pixels."""
    return max(measurement.width, measurement.height)


def moved_back(grid: Grid, places: Alignment, index: int) -> Grid:
    """The grid's values where the first frame that can be seen has its cells, between four by distance.

    index: the grid's frame. Cells that lie outside of it take the nearest one's value.
    """
    like = places.like
    if like is None:
        return grid
    x, y, growth = places.x[index], places.y[index], places.growth[index]
    size = like.cell * like.scale
    off = max(abs(x), abs(y), abs(growth - 1) * like.width / 2)
    if off < LEAST_CELLS * size and grid.shape == like.light.shape:
        return grid
    down, across = (
        (np.arange(cells) - (cells - 1) / 2) * growth + by / size
        for cells, by in zip(like.light.shape, (y, x), strict=True)
    )
    # From the first frame's cells, counted from the middle, to this grid's.
    down, across = (
        each * (own / cells) + (own - 1) / 2
        for each, own, cells in zip((down, across), grid.shape, like.light.shape, strict=True)
    )
    return _between(_between(grid, down, 0), across, 1)


def _between(grid: Grid, where: NDArray[np.float64], axis: int) -> Grid:
    last = grid.shape[axis] - 1
    where = np.clip(where, 0, last)
    low = np.minimum(where.astype(int), max(0, last - 1))
    share = (where - low).astype(np.float32)
    share = share[:, None] if axis == 0 else share[None, :]
    high = np.minimum(low + 1, last)
    mixed: Grid = grid.take(low, axis) * (1 - share) + grid.take(high, axis) * share
    return mixed
