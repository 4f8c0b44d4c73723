"""Markers among real pictures: none of a panorama, a walk or a flight is one; a hand, a card and a cap are."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest

from examples import share_of
from outside import walks
from sorter.checking.judging import Series, judgement
from sorter.checking.neighbours import markers_in
from sorter.model.judgement import Judgement
from sorter.model.kinds import Kind
from sorter.model.measurement import FrameSource
from sorter.model.subject import Subject
from sorter.pixels.measuring import chained
from sorter.pixels.shifts import Placeable

SHOWN = {"walk": walks.walk, "panorama": walks.panorama, "flight": walks.flight}
HELD = {"hand": walks.hand, "card": walks.card, "cap": walks.cap}
FRAMES = 11
"""Each of the three kinds of pictures six times, and that many frames each time: 198."""
TIMES = share_of(6)


def judged(frames: Sequence[Placeable], kind: Kind = Kind.MANUAL_STACK) -> Judgement:
    return judgement(Series(kind=kind, is_lone=kind is Kind.SINGLE, measured=chained(list(frames))))


def in_sequence(frames: Sequence[Placeable]) -> list[int]:
    """Markers in frames that metadata took for one stack."""
    found = (each for each in judged(frames).proposed if each.kind is Kind.MARKER)
    return [index for each in found for index in range(each.first, each.last + 1)]


def alone(
    before: Sequence[Placeable], singles: Sequence[Placeable], after: Sequence[Placeable]
) -> list[int]:
    """Markers among singles between two stacks."""
    numbers = range(2, 2 + len(singles))
    series = [_subject(number, Kind.SINGLE, 1) for number in numbers]
    last = len(singles) + 2
    subjects = [
        _subject(1, Kind.MANUAL_STACK, len(before)),
        *series,
        _subject(last, Kind.MANUAL_STACK, len(after)),
    ]
    stacks = {1: judged(before), last: judged(after)}
    found = markers_in(series, judged(singles, Kind.SINGLE), stacks, subjects)
    return [each.first for each in found]


def _subject(number: int, kind: Kind, frames: int) -> Subject:
    sources = (FrameSource(previews=()),) * frames
    return Subject(number=number, kind=kind, frames=sources, paths=("",) * frames)


@pytest.mark.parametrize("shown", SHOWN)
def test_no_frame_of_changing_scenes_is_a_marker(shown: str) -> None:
    """By themselves, behind a stack in one sequence with it, and as singles between two."""
    dice = np.random.default_rng(2027)
    for _ in range(TIMES):
        frames = SHOWN[shown](dice, FRAMES)
        assert in_sequence(frames) == []
        assert in_sequence([*walks.stack(dice), *frames]) == []
        assert alone(walks.stack(dice), frames, walks.stack(dice)) == []


@pytest.mark.parametrize(("held", "least"), [("hand", 8), ("card", 9), ("cap", 9)])
def test_what_is_held_before_the_lens_is_one(held: str, least: int) -> None:
    """At least so many of ten; what is missed is beside pictures that are nearly as smooth."""
    dice = np.random.default_rng(2028)
    make: Callable[[np.random.Generator], Placeable] = HELD[held]
    in_one = beside = 0
    for _ in range(10):
        before, marker, after = walks.stack(dice), make(dice), walks.stack(dice)
        count = int(dice.integers(1, 4))
        in_one += in_sequence([*before, *[marker] * count, *after]) == [*range(7, 7 + count)]
        singles = [*[marker] * count, *walks.walk(dice, 3)]
        beside += alone(before, singles, after) == [*range(count)]
    assert min(in_one, beside) >= least, (in_one, beside)


def test_four_in_a_row_and_one_among_changing_scenes_are_none() -> None:
    dice = np.random.default_rng(2029)
    stack, card = walks.stack(dice), walks.card(dice)
    assert in_sequence([*stack, *[card] * 3, *stack]) == [7, 8, 9]
    assert in_sequence([*stack, *[card] * 4, *stack]) == []
    assert in_sequence([*walks.walk(dice, 4), card, *walks.walk(dice, 4)]) == []
    singles = [*walks.walk(dice, 2), card, *walks.walk(dice, 2)]
    assert alone(stack, singles, stack) == [], "it stands beside no stack"
