"""What the pictures of a sequence say frame by frame, as a page shows it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from sorter.model.finding import FrameFindings

if TYPE_CHECKING:
    from sorter.checking.align import Alignment
    from sorter.checking.series import Judged
    from sorter.model.measurement import MeasuredSeries, Measurement


def frame_findings(judged: Judged, measured: MeasuredSeries) -> FrameFindings:
    """The frames of a sequence that was judged, each with its part in it."""
    return FrameFindings(
        use=tuple(bool(each) for each in judged.use),
        shares=_shares(judged),
        places=_placed(judged.places, measured.measurements),
        sizes=sizes(measured.measurements),
    )


def sizes(measurements: tuple[Measurement | None, ...]) -> tuple[tuple[int, int] | None, ...]:
    """Width and height of each frame's picture; None where there is none."""
    return tuple(None if each is None else (each.width, each.height) for each in measurements)


def _shares(judged: Judged) -> tuple[float | None, ...]:
    """Of what has texture, the share that is sharpest in each frame; None for frames left out."""
    sharp = judged.wander.sharp
    shares: list[float | None] = [None] * len(judged.use)
    indexes = np.flatnonzero(judged.use)
    if judged.check.is_stack and len(sharp) and sharp.shape[1] == len(indexes):
        found = np.bincount(sharp.argmax(1), minlength=len(indexes)) / len(sharp)
        for index, share in zip(indexes, found, strict=True):
            shares[index] = float(share)
    return tuple(shares)


def _placed(
    places: Alignment, measurements: tuple[Measurement | None, ...]
) -> tuple[tuple[float, float, float] | None, ...]:
    return tuple(
        None
        if measurement is None or not places.known[index]
        else (
            float(places.x[index]) / places.side,
            float(places.y[index]) / places.side,
            float(places.growth[index]),
        )
        for index, measurement in enumerate(measurements)
    )
