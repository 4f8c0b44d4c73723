"""What the pictures tell about grouping: markers, stacks among bursts and singles, and scenes that change."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import takewhile
from typing import TYPE_CHECKING, Final

import numpy as np

from sorter.checking import wander
from sorter.checking.align import FRAMED
from sorter.checking.markers import is_marker_beside, sharpest, short_runs
from sorter.checking.summaries import frame_summary
from sorter.model.finding import ProposedSequence, Verdict
from sorter.model.kinds import STACK_KINDS, Kind
from sorter.model.measurement import Measurement

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from sorter.checking.series import Judged

    Parts = NDArray[np.int64]

LEAST_PROPOSED: Final = 2
BACK: Final = 2
BACK_SHARE: Final = 0.25
"""Frames, and share of those before, that focus may fall back by where it still goes on."""
LEAST_STACK: Final = 3
"""Frames of one scene in a row that a marker parts something from: among changing scenes there is none."""


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
    for index, measurement in enumerate(measurements):
        if measurement is None:
            part[index] = part[index - 1] if index else 0
    marker = _markers(judged, part, measurements)
    turn = 0
    for index in range(len(part)):
        turn += bool(index and marker[index - 1] and not marker[index])
        yield "marker" if marker[index] else f"{part[index]} {turn}"


def _markers(
    judged: Judged, part: Parts, measurements: Sequence[Measurement | None]
) -> NDArray[np.bool_]:
    """Frames that show nothing, up to three in a row, right beside a stack."""
    summaries = [frame_summary(each) for each in measurements]
    scenes = _scenes(judged, part)
    best = sharpest(summaries)
    plain = [each is not None and is_marker_beside(each, [best]) for each in summaries]
    marker = np.zeros(len(part), dtype=bool)
    for start, stop in short_runs(plain):
        sides = [
            _stretch(scenes, plain, range(start - 1, -1, -1)),
            _stretch(scenes, plain, range(stop, len(plain))),
        ]
        if max(map(len, sides)) < LEAST_STACK or _goes_on(judged, start, stop):
            continue
        if not all(sides) and _shows_scene(judged, part, start, (sides[0] or sides[1])[0]):
            continue  # The outermost slices of a stack may be as soft.
        neighbours = [sharpest(summaries[n] for n in side) for side in sides]
        run = [each for each in summaries[start:stop] if each is not None]
        marker[start:stop] = all(is_marker_beside(each, neighbours) for each in run)
    return marker


def _shows_scene(judged: Judged, part: Parts, index: int, other: int) -> bool:
    """Whether the frame shows what the other one does. Of a dark one that is not known."""
    return bool(part[index] == part[other]) and index + 1 not in judged.check.dark


def _stretch(scenes: Parts, plain: Sequence[bool], way: range) -> list[int]:
    """The first frames on the way that show one scene, as far as none of them shows nothing."""
    return list(takewhile(lambda n: not plain[n] and scenes[n] == scenes[way[0]], way))


def _scenes(judged: Judged, part: Parts) -> NDArray[np.int64]:
    """The number of the scene of each frame; another framing of it is another one, as of no stack."""
    apart = np.maximum(np.abs(np.diff(judged.places.x)), np.abs(np.diff(judged.places.y)))
    changes = (np.diff(part) != 0) | (apart >= FRAMED * judged.places.side)
    return np.concatenate([[0], np.cumsum(changes)])


def _goes_on(judged: Judged, start: int, stop: int) -> bool:
    """Whether focus goes on behind these frames as it came before them.

    Then what is sharp behind them is most like what was sharp last before them, and not like what began.
    """
    focus = judged.wander.focus
    used = np.flatnonzero(judged.use)
    before, after = np.flatnonzero(used < start), np.flatnonzero(used >= stop)
    if focus is None or not len(before) or not len(after):
        return False
    like = int(wander.apart(judged.wander.sharp)[after[0], before].argmin())
    return len(before) - 1 - like <= max(BACK, BACK_SHARE * len(before))
