"""What moved by itself within a frame: light that comes and goes from slice to slice, in one place.

Focus spreads light but keeps it where it is, to within what lies right beside; and it does so steadily over
some slices. What neither a cell's surroundings nor the steps before and behind account for has moved.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.checking.align import Alignment, moved_back

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.model.measurement import Grid, MeasuredSeries

    Flags = NDArray[np.bool_]

SURROUNDINGS: Final = 0.7
"""Of what the light ranges over around a cell, in the frame in which that is less: so much of it another
focus, or a frame that lies half a cell off, may bring into the cell."""
LEAST_LIGHT: Final = 4.0
"""Grey levels by which a cell's light differs at the least …"""
OF_NOISE: Final = 7.5
"""… and times the median cell's difference."""
LEAST_AREA: Final = 0.0022
"""Of the frame's cells that lie together: on 300 sound stacks up to 0.0015 did, and 0.006 and more in all
of 40 that something of a hundredth of the frame walked through (score_checks, seeds below 10000)."""
LEAST_CELLS: Final = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """Something that moved. before: index of the frame before it did. area: share of the frame.

    box: left, top, width and height, in shares of the first frame.
    """

    before: int
    area: float
    box: tuple[float, float, float, float]


def movers(
    measured: MeasuredSeries, places: Alignment, indexes: NDArray[np.int64]
) -> tuple[Moved, ...]:
    """What moved over the steps between these frames (their indexes), at most one thing a step."""
    frames = [int(index) for index in indexes if places.known[index]]
    if len(frames) < 2:  # noqa: PLR2004  two make a step
        return ()
    lights = [_light(measured, places, index) for index in frames]
    ranges = [_range(light) for light in lights]
    steps = [_step(*pair) for pair in itertools.pairwise(lights)]
    found = []
    for number, step in enumerate(steps):
        explained = SURROUNDINGS * np.minimum(ranges[number], ranges[number + 1])
        for other in (number - 1, number + 1):
            if 0 <= other < len(steps):
                explained = explained + np.maximum(0, np.sign(step) * steps[other])
        least = max(LEAST_LIGHT, OF_NOISE * float(np.median(np.abs(step))))
        unlike = np.abs(step) - explained > least
        _without_border(unlike, places, frames[number : number + 2])
        cells = max(_together(unlike), key=len, default=())
        if len(cells) > max(LEAST_CELLS, LEAST_AREA * unlike.size):
            found.append(_moved(frames[number], cells, unlike.shape))
    return tuple(found)


def _light(measured: MeasuredSeries, places: Alignment, index: int) -> Grid:
    measurement = measured.measurements[index]
    assert measurement is not None  # noqa: S101  the caller chose those that are seen
    return moved_back(measurement.light, places, index)


def _step(before: Grid, after: Grid) -> Grid:
    """The difference of both, the second brought to the light of the first."""
    gain = float(np.median((after + 1) / (before + 1)))
    step: Grid = after / max(gain, 1e-3) - before
    return step


def _range(light: Grid) -> Grid:
    """What the light ranges over in each cell and the eight around it."""
    high, low = light, light
    for axis in (0, 1):
        edge = [(1, 1) if axis == each else (0, 0) for each in (0, 1)]
        padded = [np.pad(side, edge, mode="edge") for side in (high, low)]
        length = light.shape[axis]
        high, low = (
            pick.reduce([side.take(range(off, off + length), axis) for off in range(3)])
            for pick, side in zip((np.maximum, np.minimum), padded, strict=True)
        )
    ranged: Grid = high - low
    return ranged


def _without_border(unlike: Flags, places: Alignment, frames: Sequence[int]) -> None:
    """What one of the frames does not show says nothing of it."""
    rows, columns = unlike.shape
    size = 1.0 if places.like is None else places.like.cell * places.like.scale
    for index in frames:
        grown = abs(float(places.growth[index]) - 1) / 2
        down = int(np.ceil(abs(places.y[index]) / size + grown * rows)) + 1
        across = int(np.ceil(abs(places.x[index]) / size + grown * columns)) + 1
        unlike[:down] = unlike[rows - down :] = False
        unlike[:, :across] = unlike[:, columns - across :] = False


def _together(flags: Flags) -> Iterator[tuple[tuple[int, int], ...]]:
    """The cells that are set, each with all that it touches, also by a corner or over one cell between."""
    left = {(int(row), int(column)) for row, column in np.argwhere(flags)}
    while left:
        cells = [left.pop()]
        for row, column in cells:  # grows while it is walked
            near = {(row + a, column + b) for a in range(-2, 3) for b in range(-2, 3)} & left
            left -= near
            cells += near
        yield tuple(cells)


def _moved(before: int, cells: Sequence[tuple[int, int]], shape: tuple[int, ...]) -> Moved:
    rows, columns = np.array(cells).T
    top, left = int(rows.min()), int(columns.min())
    tall, wide = int(rows.max()) + 1 - top, int(columns.max()) + 1 - left
    box = left / shape[1], top / shape[0], wide / shape[1], tall / shape[0]
    return Moved(
        before=before,
        area=len(cells) / (shape[0] * shape[1]),
        box=(round(box[0], 3), round(box[1], 3), round(box[2], 3), round(box[3], 3)),
    )
