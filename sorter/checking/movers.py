"""What moved by itself within a frame: light that comes and goes from slice to slice, in one place.

Focus spreads light but keeps it where it is, to within what lies right beside; and it does so steadily over
some slices. What neither a cell's surroundings nor the steps before and behind account for has moved;
and so has a place whose light has its ups and downs elsewhere than before, for focus only flattens them.
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
AROUND: Final = 5
REARRANGED: Final = 0.35
"""Correlation of the light around a cell, in two slices, below which it is not the same light."""
LEAST_CONTRAST: Final = 4.0
"""Grey levels: standard deviation of the light around a cell, in both."""
TINY: Final = 1e-6
LEAST_AREA: Final = 0.0025
"""Of the frame's cells that lie together: on 550 sound stacks three had more. Of 40 that something of a
hundredth of the frame walked through all had 0.005 and more, of 40 in which such a part swayed four of five
had more (score_checks, seeds below 30000, on which this was chosen)."""
LEAST_CELLS: Final = 4
"""Along both sides of the box about them: an edge that lies a little off makes a line."""


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
    lights = [_Lit.of(_light(measured, places, index)) for index in frames]
    steps = [_step(one.light, two.light) for one, two in itertools.pairwise(lights)]
    found = []
    for number, step in enumerate(steps):
        before, after = lights[number], lights[number + 1]
        explained = SURROUNDINGS * np.minimum(before.ranging, after.ranging)
        for other in (number - 1, number + 1):
            if 0 <= other < len(steps):
                explained = explained + np.maximum(0, np.sign(step) * steps[other])
        off = np.abs(step)
        least = max(LEAST_LIGHT, OF_NOISE * float(np.median(off[::2, ::2])))
        unlike = off - explained > least
        unlike |= _is_rearranged(before, after)
        _without_border(unlike, places, frames[number : number + 2])
        cells = max(_together(unlike), key=len, default=())
        if len(cells) > LEAST_AREA * unlike.size and _is_no_line(cells):
            found.append(_found(frames[number], cells, unlike.shape))
    return tuple(found)


def _light(measured: MeasuredSeries, places: Alignment, index: int) -> Grid:
    measurement = measured.measurements[index]
    assert measurement is not None  # noqa: S101  the caller chose those that are seen
    return moved_back(measurement.light, places, index)


def _step(before: Grid, after: Grid) -> Grid:
    """The difference of both, the second brought to the light of the first."""
    gain = float(np.median((after[::2, ::2] + 1) / (before[::2, ::2] + 1)))
    step: Grid = after / max(gain, 1e-3) - before
    return step


@dataclass(frozen=True, slots=True, kw_only=True)
class _Lit:
    """A frame's light, and around each cell: what it ranges over, its mean, and its variance."""

    light: Grid
    ranging: Grid
    mean: Grid
    variance: Grid

    @classmethod
    def of(cls, light: Grid) -> _Lit:
        mean = _mean_around(light)
        return cls(
            light=light,
            ranging=_range(light),
            mean=mean,
            variance=np.maximum(_mean_around(light * light) - mean * mean, 0),
        )


def _range(light: Grid) -> Grid:
    """What the light ranges over in each cell and the eight around it."""
    high, low = light, light
    for axis in (0, 1):
        high, low = (
            pick(pick(_moved(side, axis, -1), side), _moved(side, axis, 1))
            for pick, side in ((np.maximum, high), (np.minimum, low))
        )
    ranged: Grid = high - low
    return ranged


def _moved(values: Grid, axis: int, by: int) -> Grid:
    """The values one cell on, those at the border where they were."""
    out = values.copy()
    to, of = (slice(1, None), slice(None, -1)) if by > 0 else (slice(None, -1), slice(1, None))
    out[(to, slice(None)) if axis == 0 else (slice(None), to)] = values[
        (of, slice(None)) if axis == 0 else (slice(None), of)
    ]
    return out


def _is_rearranged(before: _Lit, after: _Lit) -> Flags:
    """Cells around which both frames have contrast, and not in the same places."""
    common = _mean_around(before.light * after.light) - before.mean * after.mean
    like = common / np.sqrt(before.variance * after.variance + TINY)
    least = np.minimum(before.variance, after.variance)
    found: Flags = (like < REARRANGED) & (least > LEAST_CONTRAST**2)
    return found


def _mean_around(values: Grid) -> Grid:
    """The mean of AROUND by AROUND cells about each, the outermost repeated beyond the border."""
    padded = np.pad(values, AROUND // 2, mode="edge")
    rows, columns = values.shape
    down = padded[:rows].copy()
    for off in range(1, AROUND):
        down += padded[off : off + rows]
    mean = down[:, :columns].copy()
    for off in range(1, AROUND):
        mean += down[:, off : off + columns]
    mean /= np.float32(AROUND * AROUND)
    return mean


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


def _is_no_line(cells: Sequence[tuple[int, int]]) -> bool:
    rows, columns = np.array(cells).T
    return bool(min(np.ptp(rows), np.ptp(columns)) + 1 >= LEAST_CELLS)


def _found(before: int, cells: Sequence[tuple[int, int]], shape: tuple[int, ...]) -> Moved:
    rows, columns = np.array(cells).T
    top, left = int(rows.min()), int(columns.min())
    tall, wide = int(rows.max()) + 1 - top, int(columns.max()) + 1 - left
    box = left / shape[1], top / shape[0], wide / shape[1], tall / shape[0]
    return Moved(
        before=before,
        area=len(cells) / (shape[0] * shape[1]),
        box=(round(box[0], 3), round(box[1], 3), round(box[2], 3), round(box[3], 3)),
    )
