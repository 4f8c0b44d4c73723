"""Frames in short: how much detail each shows, fine and coarse, for its light."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.model.judgement import FrameSummary
from sorter.model.measurement import ALIKE

if TYPE_CHECKING:
    from sorter.model.measurement import Grid, MeasuredSeries, Measurement

LEAST_LIGHT: Final = 64.0
"""Grey levels that detail is held against at the least: of what is darker noise would pass for detail."""
SHARPEST: Final = 0.98
"""Where in the order of the cells' energies fine detail is read: a sharp strip is enough for it …"""
NOISE: Final = 0.1
"""… and where noise is, …"""
OF_NOISE: Final = 3.0
"""… of which so many times are taken off: cells of noise alone differ by that."""
APART: Final = 2
"""Cells (a hundredth of the longer side each) over which coarse detail is read."""
COARSEST: Final = 0.95


def frame_summary(measurement: Measurement | None) -> FrameSummary | None:
    """What neighbours are held against; None for a frame that cannot be seen."""
    if measurement is None:
        return None
    light = float(measurement.light.mean())
    of = max(light, LEAST_LIGHT)
    sharpest, noise = np.quantile(measurement.energy[::2, ::2], [SHARPEST, NOISE])
    return FrameSummary(
        light=light,
        fine=max(0.0, float(sharpest - OF_NOISE * noise)) / of**2,
        coarse=_coarse(measurement.light) / of,
    )


def summaries(measured: MeasuredSeries) -> Iterator[FrameSummary | None]:
    """Each frame of a series in short."""
    pairs = zip(measured.measurements, measured.displacements, strict=True)
    for index, (measurement, displacement) in enumerate(pairs):
        found = frame_summary(measurement)
        alike = displacement is not None and displacement.likeness >= ALIKE
        goes_on = alike and displacement is not None and displacement.of == index - 1
        yield None if found is None else replace(found, goes_on=goes_on)


def _coarse(light: Grid) -> float:
    """How far cells differ from the mean of those beside them, in grey levels; even slopes have none."""
    most = 0.0
    for axis in (0, 1):
        row = np.moveaxis(light, axis, 0)
        if len(row) > 2 * APART:
            bend = np.abs(row[2 * APART :] - 2 * row[APART:-APART] + row[: -2 * APART])
            most = max(most, float(np.quantile(bend[::2, ::2], COARSEST)))
    return most
