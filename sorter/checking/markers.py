"""What a marker looks like: a hand, a cap or a card held before the lens, beside the pictures around it.

It is so near that nothing of it is in focus: no fine detail, and next to none that is coarse. Each is held
against its neighbours', for a soft lens makes all pictures of a card soft. How bright it is tells nothing by
itself: a grey card may be as bright as the scene.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from typing import Final

from sorter.model.judgement import FrameSummary

MOST_MARKERS: Final = 3
"""Frames in a row: more are a series of their own, and nobody marks with that many."""
FINE: Final = 0.12
"""Of a neighbour's fine detail (energy) that a marker has at the most …"""
COARSE: Final = 0.1
"""… and of its coarse detail (grey levels). Hands and cards drawn out of focus, with noise, had up to 0.1 and
0.05 of usual pictures' in nine of ten; of 14 real pictures the smoothest had 0.005 and 0.12 of the most
textured one's."""
FINE_UNLIT: Final = 1.0
COARSE_UNLIT: Final = 0.25
"""The same where it is black or white: there noise and JPEG's steps are all that there is."""
BLACK: Final = 16.0
WHITE: Final = 240.0
"""Mean grey levels (0 to 255) of a frame with the cap on, or of a white card."""
OTHERWISE_LIT: Final = 2.0
"""Times as bright, or as far from white, a neighbour is at the least of what is black or white."""


def sharpest(summaries: Iterable[FrameSummary | None]) -> FrameSummary | None:
    """The frame with most fine detail: that a stack's outermost slices are soft makes it no marker."""
    known = [each for each in summaries if each is not None]
    return max(known, key=lambda each: each.fine, default=None)


def is_marker_beside(own: FrameSummary, neighbours: Iterable[FrameSummary | None]) -> bool:
    """Whether it shows nothing where each of these shows something."""
    known = [each for each in neighbours if each is not None]
    return bool(known) and all(_shows_less(own, each) for each in known)


def _shows_less(own: FrameSummary, other: FrameSummary) -> bool:
    is_unlit = _is_unlit(own, other)
    fine, coarse = (FINE_UNLIT, COARSE_UNLIT) if is_unlit else (FINE, COARSE)
    return own.fine <= fine * other.fine and own.coarse <= coarse * other.coarse


def _is_unlit(own: FrameSummary, other: FrameSummary) -> bool:
    """Whether it is black or white, and the other one is not."""
    if own.light < BLACK:
        return other.light > OTHERWISE_LIT * own.light
    white = 255.0
    return own.light > WHITE and white - other.light > OTHERWISE_LIT * (white - own.light)


def short_runs(flags: Sequence[bool]) -> Iterator[tuple[int, int]]:
    """First index, and the one behind the last, of each run of flags that is no longer than a marker's."""
    for flag, run in groupby(range(len(flags)), lambda index: bool(flags[index])):
        indexes = list(run)
        if flag and len(indexes) <= MOST_MARKERS:
            yield indexes[0], indexes[-1] + 1
