"""Which frames of a burst are the best: the sharpest, and those in which most happens."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.checking.align import Alignment
    from sorter.model.measurement import MeasuredSeries, Measurement

BEST: Final = 5
SUBJECT: Final = 0.3
"""Share of the cells that count as the subject: those that are sharpest in the burst."""
NOISE: Final = 4.0
"""Grey levels that a small picture differs from the median one by noise and a hand's tremble."""
HAPPENS: Final = 1.0
"""Mean square in grey levels from which on something happens in a burst."""
LEAST_RANGE: Final = 0.5
"""Nats of sharpness: frames within less than that are as good as each other, in proportion."""


def best_frames(
    measured: MeasuredSeries, places: Alignment, use: NDArray[np.bool_]
) -> tuple[int, ...]:
    """Indexes of the best frames, best first: at most BEST, and no more than half of them."""
    used = {i: g for i, g in enumerate(measured.measurements) if use[i] and g is not None}
    if not used:
        return ()
    indexes, measurements = list(used), list(used.values())
    off = [_off(places, index, measurement) for index, measurement in used.items()]
    score = _sharp(measurements) + _happening(measurements, off)
    ranked = sorted(range(len(indexes)), key=lambda each: (-score[each], each))
    return tuple(indexes[each] for each in ranked[: max(1, min(BEST, len(indexes) // 2))])


def _sharp(measurements: list[Measurement]) -> NDArray[np.float64]:
    """0 to 1 for each frame: how sharp its subject is against the sharpest and the softest."""
    logs = np.stack([np.log(each.energy.astype(float) + 1).ravel() for each in measurements])
    subject = logs.max(0) >= np.quantile(logs.max(0), 1 - SUBJECT)
    sharp = logs[:, subject].mean(1)
    found: NDArray[np.float64] = 1 + (sharp - sharp.max()) / max(LEAST_RANGE, float(np.ptp(sharp)))
    return found


def _off(places: Alignment, index: int, measurement: Measurement) -> tuple[int, int]:
    """By how many pixels of the small picture the frame lies off: down, across."""
    share = max(measurement.thumb.shape) / places.side
    return round(places.y[index] * share), round(places.x[index] * share)


def _happening(measurements: list[Measurement], off: list[tuple[int, int]]) -> NDArray[np.float64]:
    """0 to 1 for each frame: the energy of its difference to the burst's median frame."""
    shown = np.stack(
        [
            np.roll(each.thumb.astype(np.float32), (-down, -across), (0, 1))
            for each, (down, across) in zip(measurements, off, strict=True)
        ]
    )
    shown += shown.mean() - shown.mean((1, 2), keepdims=True)
    edge = 1 + max(max(abs(down), abs(across)) for down, across in off)
    rows, columns = shown.shape[1:]
    if 2 * edge < min(rows, columns):
        shown = shown[:, edge : rows - edge, edge : columns - edge]
    differs = np.maximum(np.abs(shown - np.median(shown, axis=0)) - NOISE, 0)
    energy = (differs**2).mean((1, 2))
    if energy.max() < HAPPENS:
        return np.zeros(len(measurements))
    share: NDArray[np.float64] = np.sqrt(energy / energy.max()).astype(np.float64)
    return share
