"""Random shoots come out as they were shot (invented data; the figures are bars, not goals)."""

from __future__ import annotations

import itertools

import pytest

from grouping.shoots import BODIES, Shoot, shoot
from sorter.grouping.account import account_for
from sorter.model.kinds import Kind

SEEDS = range(20000, 20012)  # not among the seeds that the costs were set with
Span = tuple[int, int]


def _spans(lengths: list[int]) -> list[Span]:
    ends = list(itertools.accumulate(lengths, initial=0))
    return list(itertools.pairwise(ends))


def _found(made: Shoot) -> dict[Span, Kind]:
    sequences = account_for(made.reading()).sequences
    spans = _spans([len(sequence.frames) for sequence in sequences])
    return {span: s.kind for span, s in zip(spans, sequences, strict=True)}


@pytest.mark.parametrize(
    ("body", "whole_bar", "kind_bar"),
    [
        ("planner", 0.985, 0.99),
        ("stepper", 0.975, 0.99),
        ("counter", 0.965, 0.99),
        # These two hide their focus: a focus bracket beside a burst of the same rhythm, seconds
        # apart and with the same settings, cannot be told from one longer burst.
        ("hider", 0.94, 0.95),
        ("silent", 0.90, 0.95),
    ],
)
def test_series_of_several_frames_are_found_whole(
    body: str, whole_bar: float, kind_bar: float
) -> None:
    total = whole = right = 0
    for seed in SEEDS:
        made = shoot(seed, BODIES[body])
        found = _found(made)
        truth = zip(_spans([count for _, count in made.truth]), made.truth, strict=True)
        for span, (kind, count) in truth:
            if count > 1:
                total += 1
                whole += span in found
                right += found.get(span) is kind
    assert total > 100
    assert whole / total >= whole_bar
    assert right / max(1, whole) >= kind_bar
