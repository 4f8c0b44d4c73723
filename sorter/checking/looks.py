"""What the pictures of a sequence say frame by frame, as a page shows it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from sorter.model.finding import Look

if TYPE_CHECKING:
    from sorter.checking.align import Places
    from sorter.checking.series import Judged
    from sorter.model.glance import Glance, Measured


def look(judged: Judged, measured: Measured) -> Look:
    """The frames of a sequence that was judged, each with its part in it."""
    return Look(
        use=tuple(bool(each) for each in judged.use),
        shares=_shares(judged),
        places=_placed(judged.places, measured.glances),
        sizes=sizes(measured.glances),
    )


def sizes(glances: tuple[Glance | None, ...]) -> tuple[tuple[int, int] | None, ...]:
    """Width and height of each frame's picture; None where there is none."""
    return tuple(None if each is None else (each.width, each.height) for each in glances)


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
    places: Places, glances: tuple[Glance | None, ...]
) -> tuple[tuple[float, float, float] | None, ...]:
    return tuple(
        None
        if glance is None or not places.known[index]
        else (
            float(places.x[index]) / max(glance.width, glance.height),
            float(places.y[index]) / max(glance.width, glance.height),
            float(places.growth[index]),
        )
        for index, glance in enumerate(glances)
    )
