"""The rules on exposure sets by pictures, with exposures, times and likenesses given."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from sorter.checking.exposures import rows, seams, sets_in
from sorter.model.kinds import Kind
from sorter.model.measurement import FrameSource
from sorter.model.subject import Subject

SAME, OTHER, UNSURE = 0.9, 0.1, 0.5


def shoot(
    *pieces: Sequence[float], kind: Kind = Kind.EXPOSURE_BRACKET, pause_s: float = 5.0
) -> list[Subject]:
    """Sequences of frames with these exposures; those of one frame are singles."""
    subjects, now = [], 0.0
    for number, piece in enumerate(pieces, 1):
        taken = [now + pause_s * (n + 1) for n in range(len(piece))]
        now = taken[-1]
        subjects.append(
            Subject(
                number=number,
                kind=kind if len(piece) > 1 else Kind.SINGLE,
                frames=(FrameSource(previews=()),) * len(piece),
                paths=("",) * len(piece),
                exposures=tuple(map(float, piece)),
                taken_s=tuple(taken),
            )
        )
    return subjects


def found(subjects: list[Subject], *likeness: float) -> list[tuple[int, int, Kind]]:
    """What is proposed, by first and last frame. likeness: at every seam; where none is given, one view."""
    proposed = []
    for row in rows(subjects):
        known = dict(enumerate(likeness)) if likeness else dict.fromkeys(range(len(row)), SAME)
        own = {at: known[at] for at in seams(row)}
        proposed += [(each.first, each.last, each.kind) for each in sets_in(row, own)]
    return proposed


SET = Kind.EXPOSURE_BRACKET


@pytest.mark.parametrize(
    "pieces",
    [
        ([0], [-2], [2]),
        ([0, -2], [2]),
        ([0], [-1, 1]),
        ([-2], [-1], [0], [1], [2]),
        ([0], [-1], [1], [-2], [2]),
        ([-3, -2, -1], [0, 1, 2, 3]),
        ([0.06], [-0.91], [1.09]),
    ],
)
def test_pieces_of_one_view_in_even_steps_are_one_set(pieces: Sequence[Sequence[float]]) -> None:
    frames = sum(map(len, pieces))
    assert found(shoot(*pieces)) == [(0, frames - 1, SET)]


@pytest.mark.parametrize(
    "pieces",
    [
        ([0], [-2]),  # two tries at one view
        ([0], [0.1], [-0.2]),  # metered anew each time
        ([0], [-1], [2.2]),  # no even steps
        ([0], [-1], [2], [1]),  # neither up, nor down, nor outward
        ([0, -2, 2], [0, -2, 2]),  # two sets of one view
        ([0, -1, 1, -2, 2], [0]),
    ],
)
def test_what_is_no_set_by_its_exposures_stays(pieces: Sequence[Sequence[float]]) -> None:
    assert found(shoot(*pieces)) == []


def test_two_sets_of_one_view_in_pieces_are_two() -> None:
    both = shoot([0], [-2], [2], [0], [-2], [2])
    assert found(both) == [(0, 2, SET), (3, 5, SET)]
    assert found(shoot([0, -2], [2, 0, -2], [2])) == [(0, 2, SET), (3, 5, SET)]


def test_where_a_seam_is_unsure_sets_that_may_lie_otherwise_are_left() -> None:
    both = shoot([-2], [0], [2], [-2], [0], [2])
    assert found(both, UNSURE, SAME, SAME, SAME, SAME) == []
    assert found(both, UNSURE, SAME, OTHER, SAME, SAME) == [(3, 5, SET)]


@pytest.mark.parametrize("seam", [OTHER, UNSURE, math.nan])
def test_only_what_shows_one_view_beyond_doubt_is_joined(seam: float) -> None:
    assert found(shoot([0], [-2], [2]), SAME, seam) == []
    assert found(shoot([0], [-2], [2]), seam, SAME) == []


def test_of_frames_that_only_pictures_join_more_is_asked() -> None:
    assert found(shoot([0], [-1], [1]), 0.75, 0.75) == []
    assert found(shoot([0, -1], [1]), 0.75, 0.75) == [(0, 2, SET)]


def test_what_metadata_joined_of_other_views_is_cut() -> None:
    walk = shoot([0, -1, 0.6, 1.4])
    assert found(walk, OTHER, OTHER, OTHER) == [(n, n, Kind.SINGLE) for n in range(4)]
    assert found(walk, OTHER, SAME, SAME) == [(0, 0, Kind.SINGLE), (1, 3, SET)]
    assert found(walk, UNSURE, math.nan, SAME) == [], "metadata stand where pictures are unsure"
    assert found(shoot([-3, 3]), OTHER) == [], "so far apart one view may be as unlike"


def test_a_frame_cut_off_joins_its_own_set() -> None:
    assert found(shoot([0, -2, 2, 1.1], [-0.9], [3.1]), SAME, SAME, OTHER, SAME, SAME) == [
        (0, 2, SET),
        (3, 5, SET),
    ]


def test_what_is_long_after_or_of_another_kind_or_told_by_the_user_is_left() -> None:
    assert rows(shoot([0], [-2], [2], pause_s=500)) == []
    assert rows(shoot([0, -2, 2], kind=Kind.FOCUS_BRACKET)) == []
    assert [seams(row) for row in rows(shoot([0, 0, 0, 0], kind=Kind.BURST))] == [[]]
