"""What the pictures tell about grouping: markers, stacks among bursts and singles, and scenes that change."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.checking.light import shows_nothing
from sorter.checking.tiles import BLACK
from sorter.checking.wander import apart
from sorter.model.finding import ProposedSequence, Verdict
from sorter.model.judgement import FrameSummary
from sorter.model.kinds import STACK_KINDS, Kind
from sorter.model.measurement import Measurement

if TYPE_CHECKING:
    from sorter.checking.series import Judged

LEAST_PROPOSED: Final = 2
BACK: Final = 2
BACK_SHARE: Final = 0.25
"""Frames, and share of those before, that focus may fall back by where it still goes on."""
MOST_MARKERS: Final = 2
"""Frames of another scene: more are a series of their own, and nobody marks with that many."""


def proposed_sequences(
    judged: Judged, measurements: Sequence[Measurement | None]
) -> list[ProposedSequence]:
    """How a sequence of these frames is to be cut or renamed; empty where it stays as it is."""
    check = judged.check
    if check.verdict is Verdict.UNJUDGED:
        return []
    kind = check.by_picture
    if kind not in STACK_KINDS:  # a dark or odd frame in a burst is one of its own
        if check.looks_like is None:
            return []
        return [ProposedSequence(first=0, last=len(measurements) - 1, kind=kind, grounds=_STAYS)]
    stretches = list(_stretches(judged, measurements))
    if len(stretches) == 1 and check.looks_like is None:
        return []
    found = []
    for first, stop, is_marker in stretches:
        if is_marker:
            made, grounds = Kind.MARKER, _MARKER
        elif stop - first < LEAST_PROPOSED:
            made, grounds = Kind.SINGLE, _OTHER_SCENE
        else:
            made, grounds = kind, _PARTED if check.looks_like is None else _WANDERS
        found.append(ProposedSequence(first=first, last=stop - 1, kind=made, grounds=grounds))
    return found


_MARKER: Final = "by its picture: it shows nothing of the series, and parts what it stands between"
_OTHER_SCENE: Final = "by its picture: it shows another scene than the frames around it"
_PARTED: Final = "by the pictures: a marker or another scene parts it from what came before"
_WANDERS: Final = "by the pictures: what is sharp wanders from frame to frame"
_STAYS: Final = "by the pictures: what is sharp stays the same"


def _stretches(
    judged: Judged, measurements: Sequence[Measurement | None]
) -> Iterator[tuple[int, int, bool]]:
    """First frame, the one behind the last, and whether it is a marker, for each stretch."""
    labels = list(_labels(judged, measurements))
    start = 0
    for index in range(1, len(labels) + 1):
        if index == len(labels) or labels[index] != labels[start]:
            yield start, index, labels[start] == "marker"
            start = index


def _labels(judged: Judged, measurements: Sequence[Measurement | None]) -> Iterator[str]:
    """For each frame what it belongs to: frames of one label side by side are one stretch.

    A dark frame between slices of one scene is a misfire where focus goes on behind it, or where
    the scene can still be made out; what parts two runs of focus is a marker.
    """
    part = judged.part.copy()
    marker = np.zeros(len(part), dtype=bool)
    for index, measurement in enumerate(measurements):
        before = part[index - 1] if index else -2
        if measurement is None:
            part[index] = before if index else 0
        elif not judged.use[index] and _is_marker(judged, measurements, index):
            marker[index] = True
    turn = 0
    for index in range(len(part)):
        turn += bool(index and marker[index - 1] and not marker[index])
        yield "marker" if marker[index] else f"{part[index]} {turn}"


def _is_marker(judged: Judged, measurements: Sequence[Measurement | None], index: int) -> bool:
    measurement = measurements[index]
    if measurement is None:
        return False
    if not shows_nothing(measurement):
        own = judged.part == judged.part[index]
        if own[judged.use].any() or own.sum() > MOST_MARKERS:
            return False
    return not _goes_on(judged, index)


def _goes_on(judged: Judged, index: int) -> bool:
    """Whether focus goes on behind the frame as it came before it.

    Then what is sharp behind it is most like what was sharp last before it, and not like what began.
    """
    focus = judged.wander.focus
    used = np.flatnonzero(judged.use)
    before, after = np.flatnonzero(used < index), np.flatnonzero(used > index)
    if focus is None or not len(before) or not len(after):
        return False
    like = int(apart(judged.wander.sharp)[after[0], before].argmin())
    return len(before) - 1 - like <= max(BACK, BACK_SHARE * len(before))


def frame_summary(measurement: Measurement | None) -> FrameSummary | None:
    """What neighbours are held against; None for a frame that cannot be seen."""
    if measurement is None:
        return None
    if not measurement.tells_focus:
        return FrameSummary(is_plain=shows_nothing(measurement), sharpness=None)
    light = float(measurement.light.mean()) + BLACK
    sharpness = float(np.quantile(measurement.energy, 0.9)) / light**2
    return FrameSummary(is_plain=shows_nothing(measurement), sharpness=sharpness)
