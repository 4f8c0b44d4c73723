"""How bright the frames of a series are: what is dark, and steps between them."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.model.measurement import MeasuredSeries, Measurement

DARK: Final = 0.5
"""Of the series' usual grey: 2.2 EV less, which a failed flash falls short by, and no cloud."""
PLAIN: Final = 6.0
"""Standard deviation of the cells' light, in grey levels, below which a frame shows nothing."""
STEP_EV: Final = 0.35
"""Bodies set exposure in thirds of a stop; common practice, no source."""
GAMMA: Final = 2.2


def lights(measured: MeasuredSeries) -> NDArray[np.float64]:
    """The mean grey of each frame, in levels from 0 to 255; NaN where it cannot be seen."""
    return np.array(
        [np.nan if each is None else float(each.light.mean()) for each in measured.measurements]
    )


def dark_frames(light: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Frames much darker than is usual for those around them."""
    dark = np.zeros(len(light), dtype=bool)
    for index, own in enumerate(light):
        around = light[max(0, index - 4) : index + 5]
        seen = around[~np.isnan(around)]
        usual = float(np.percentile(seen, 70)) if len(seen) else np.nan
        dark[index] = own < DARK * usual
    return dark


def shows_nothing(measurement: Measurement) -> bool:
    """Whether the frame is one plain shade all over: what lies beside it cannot be told to differ."""
    return float(measurement.light.std()) < PLAIN


def bright_steps(light: NDArray[np.float64], use: NDArray[np.bool_]) -> dict[int, float]:
    """The steps in EV (by a gamma of 2.2) from one used frame to the next, by the earlier's index."""
    found = {}
    indexes = np.flatnonzero(use)
    for before, after in itertools.pairwise(indexes):
        step = GAMMA * float(np.log2((light[after] + 1) / (light[before] + 1)))
        if abs(step) > STEP_EV:
            found[int(before)] = step
    return found
