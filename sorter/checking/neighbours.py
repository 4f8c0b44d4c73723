"""What judgements say of each other: markers beside stacks, and attempts at one subject."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

from sorter.checking.attempts import attempts
from sorter.model.finding import Check, ProposedSequence
from sorter.model.judgement import FrameSummary, Judgement, Thumb
from sorter.model.kinds import STACK_KINDS, Kind
from sorter.model.subject import Subject

NEIGHBOURS: Final = 6
"""Stacks that lie no farther apart in their order are held against each other as attempts."""
SAME: Final = 0.8
"""Likeness of two small pictures from which on two stacks show one subject in one framing."""
SOFT: Final = 0.12
"""Of its neighbours' sharpness: a hand or a card held before the lens is out of focus altogether."""
_ALONE: Final = "by its picture: it shows nothing, beside a stack"
_TWO: Final = 2


# ---- markers -----------------------------------------------------------------------------------


def markers_in(
    series: Sequence[Subject],
    own: Judgement,
    judged: Mapping[int, Judgement],
    subjects: Sequence[Subject],
) -> Iterator[ProposedSequence]:
    """Markers among lone frames that follow each other.

    own: the judgement on them. judged: that on each sequence, by its number. subjects: all of them.
    """
    nearby = [each for each in _beside(series, subjects) if each.kind in STACK_KINDS]
    if not nearby:
        return
    known = (judged[each.number].summaries for each in nearby if each.number in judged)
    neighbours = [summary for summaries in known for summary in summaries]
    for index, (subject, summary) in enumerate(zip(series, own.summaries, strict=True)):
        is_named = subject.kind is Kind.MARKER
        if not is_named and summary is not None and is_marker_alone(summary, neighbours):
            yield ProposedSequence(first=index, last=index, kind=Kind.MARKER, grounds=_ALONE)


def is_marker_alone(summary: FrameSummary, neighbours: Iterable[FrameSummary | None]) -> bool:
    """Whether a single beside stacks is a marker: plain all over, or quite out of focus and unlike."""
    if summary.is_plain:
        return True
    nearby = [each.sharpness for each in neighbours if each is not None]
    told = [each for each in nearby if each is not None]
    return (
        bool(told) and summary.sharpness is not None and summary.sharpness < SOFT * SOFT * min(told)
    )


def _beside(series: Sequence[Subject], subjects: Sequence[Subject]) -> Iterator[Subject]:
    """The sequences of the same body right before and right behind the run."""
    own = [each for each in subjects if each.body == series[0].body]
    numbers = [each.number for each in own]
    first, last = numbers.index(series[0].number), numbers.index(series[-1].number)
    yield from own[max(0, first - 1) : first]
    yield from own[last + 1 : last + 2]


# ---- attempts ----------------------------------------------------------------------------------


def to_compare(
    subjects: Iterable[Subject], judged: Mapping[int, Judgement]
) -> list[tuple[int, int]]:
    """Pairs of stacks whose pictures may show one subject, by their numbers."""
    stacks = [
        each for each in subjects if each.number in judged and judged[each.number].thumb is not None
    ]
    return [
        (one.number, two.number)
        for index, one in enumerate(stacks)
        for two in stacks[index + 1 : index + 1 + NEIGHBOURS]
        if one.body == two.body
    ]


def thumbs_of(
    pairs: Iterable[tuple[int, int]], judged: Mapping[int, Judgement]
) -> Iterator[tuple[Thumb, Thumb]]:
    """The small pictures of each pair."""
    for one, two in pairs:
        first, second = judged[one].thumb, judged[two].thumb
        if first is not None and second is not None:
            yield first, second


def with_attempts(
    subjects: Sequence[Subject],
    judged: Mapping[int, Judgement],
    likeness: Mapping[tuple[int, int], float],
) -> Iterator[Check]:
    """The check of each sequence of two or more frames, and which are attempts at one subject.

    likeness: of each pair to compare. Attempts are what grouping says to be taken again, too.
    """
    same = [(each.number, other) for each in subjects for other in each.retakes]
    same += [pair for pair, like in likeness.items() if like >= SAME]
    best = attempts(judged, same)
    for subject in subjects:
        found = judged.get(subject.number)
        if len(subject.frames) >= _TWO and found is not None and found.check is not None:
            yield _with(found.check, best.get(subject.number, ()), judged)


def _with(check: Check, group: tuple[int, ...], judged: Mapping[int, Judgement]) -> Check:
    first = judged[group[0]].check if len(group) >= _TWO else None
    if first is None:
        return check
    return replace(
        check, attempts=group, attempts_verdict=first.verdict, attempts_frames=first.frames
    )
