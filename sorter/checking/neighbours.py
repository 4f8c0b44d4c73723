"""What judgements say of each other: markers beside stacks, and attempts at one subject."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

from sorter.checking.attempts import attempts
from sorter.checking.markers import is_marker_beside, sharpest, short_runs
from sorter.model.finding import Check, ProposedSequence
from sorter.model.judgement import FrameSummary, Judgement, Thumb
from sorter.model.kinds import STACK_KINDS, Kind
from sorter.model.subject import Subject

NEIGHBOURS: Final = 6
"""Stacks that lie no farther apart in their order are held against each other as attempts."""
SAME: Final = 0.8
"""Likeness of two small pictures from which on two stacks show one subject in one framing."""
_ALONE: Final = "by its picture: it shows nothing, beside a stack"
_TWO: Final = 2


# ---- markers -----------------------------------------------------------------------------------


def markers_in(
    series: Sequence[Subject],
    own: Judgement,
    judged: Mapping[int, Judgement],
    subjects: Sequence[Subject],
) -> Iterator[ProposedSequence]:
    """Markers among lone frames that follow each other: right behind a stack, or right before one.

    own: the judgement on them. judged: that on each sequence, by its number. subjects: all of them.
    """
    beside = _beside(series, subjects)
    around = [None if each is None else _sharpest(each, judged) for each in beside]
    behind, before = (each is not None and each.kind in STACK_KINDS for each in beside)
    stacks = [each for each, is_stack in zip(around, (behind, before), strict=True) if is_stack]
    named = [each.kind is Kind.MARKER for each in series]
    plain = [
        known or (each is not None and any(is_marker_beside(each, [stack]) for stack in stacks))
        for known, each in zip(named, own.summaries, strict=True)
    ]
    all_of_them = (around[0], *own.summaries, around[1])
    for start, stop in short_runs(plain):
        is_beside = (start == 0 and behind) or (stop == len(series) and before)
        for index in range(start, stop) if is_beside else ():
            if not named[index] and _is_marker(all_of_them[start : stop + 2], index - start + 1):
                yield ProposedSequence(first=index, last=index, kind=Kind.MARKER, grounds=_ALONE)


def _is_marker(run: Sequence[FrameSummary | None], index: int) -> bool:
    """Whether the frame is a marker. run: frames that show nothing, with the one on either side of them."""
    own, first, behind = run[index], run[1], run[-1]
    if any(each is not None and each.goes_on for each in (first, behind)):
        return False
    return own is not None and is_marker_beside(own, (run[0], behind))


def _sharpest(subject: Subject, judged: Mapping[int, Judgement]) -> FrameSummary | None:
    """The frame of a sequence that shows most."""
    found = judged.get(subject.number)
    most = sharpest(found.summaries) if found is not None else None
    return most and replace(most, goes_on=False)


def _beside(
    series: Sequence[Subject], subjects: Sequence[Subject]
) -> tuple[Subject | None, Subject | None]:
    """The sequences of the same body right before and right behind the run."""
    own = [each for each in subjects if each.body == series[0].body]
    numbers = [each.number for each in own]
    first, last = numbers.index(series[0].number), numbers.index(series[-1].number)
    return own[first - 1] if first else None, own[last + 1] if last + 1 < len(own) else None


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
