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

    x, y: in pixels of the decoded picture. growth: 1 is as large. known: whether the frame could be
    held against the others at all; what is not known lies where the one before it does.
    """

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    growth: NDArray[np.float64]
    known: NDArray[np.bool_]

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
    for index, (measurement, displacement) in enumerate(
        zip(measured.measurements, measured.displacements, strict=True)
    ):
        if index:
            x[index], y[index], growth[index] = x[index - 1], y[index - 1], growth[index - 1]
        if measurement is None:
            continue
        known[index] = displacement is None or displacement.likeness >= ALIKE
        if displacement is not None and known[index]:
            x[index] = x[displacement.of] + displacement.dx
            y[index] = y[displacement.of] + displacement.dy
            growth[index] = growth[displacement.of] * displacement.growth
    return Alignment(x=x, y=y, growth=growth, known=known)


def moved_back(grid: Grid, measurement: Measurement, place: tuple[float, float, float]) -> Grid:
    """The grid's values where the first frame has its cells, between four of them by distance.

    place: x, y and growth of the frame. Cells that lie outside of it take the nearest one's value.
    """
    x, y, growth = place
    size = measurement.cell * measurement.scale
    if max(abs(x), abs(y), abs(growth - 1) * measurement.width / 2) < LEAST_CELLS * size:
        return grid
    rows, columns = grid.shape
    middle_y, middle_x = (rows - 1) / 2, (columns - 1) / 2
    down = (np.arange(rows) - middle_y) * growth + middle_y + y / size
    across = (np.arange(columns) - middle_x) * growth + middle_x + x / size
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
