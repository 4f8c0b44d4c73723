"""By how much the best account is better than the second-best: for each kind, and each boundary.

For a kind the other accounts are the other kinds for the same frames. For a boundary they are one candidate
of any kind over it: over the two segments beside it, and where segments are short over up to two on either
side, for three tries may be one short stack.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from sorter.grouping import costs
from sorter.grouping.candidates import Candidate
from sorter.grouping.costs import NEVER
from sorter.grouping.search import SearchInput, Segment, cheapest, cost_of_singles, follow, openings
from sorter.model.kinds import Kind
from sorter.model.sequence import BEYOND_DOUBT

_MOST_REPAIRS = 3
_DUST = 1e-9  # nats: one sum in another order
_SHORT = 12  # frames; a longer stretch is no slip of a boundary any more


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """The second-best account, and by how many nats it is worse; None where there is none.

    joins: the first and the last of the segments that it makes one, for the margin of a boundary.
    """

    kind: Kind | None
    nats: float
    joins: tuple[int, int] | None = None


NO_OTHER: Final = Margin(kind=None, nats=BEYOND_DOUBT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Confidence:
    """How sure a segment is: its kind, and the boundary before it."""

    kind: Margin = NO_OTHER
    boundary: Margin = NO_OTHER


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rivals:
    """A segment as all kinds see it.

    path: what its own kind costs up to each of its frames. own: all of it, the end too. ends: candidates
    of all kinds that account for its frames somehow, still open behind the last.
    """

    segment: Segment
    path: list[float]
    own: float
    ends: list[Candidate]


@dataclass(frozen=True, slots=True, kw_only=True)
class RatedSegment:
    """A segment of the best account, and how sure it is. row: the row of singles that it is one of."""

    segment: Segment
    confidence: Confidence
    row: Segment | None = None


def rated(inputs: SearchInput, segments: tuple[Segment, ...]) -> tuple[RatedSegment, ...]:
    """How sure each segment is; where another account turns out cheaper, that one.

    The search drops what falls far behind. Now and then that would have come out best in the end,
    and the margins, which follow a candidate for longer, find it.
    """
    confidence = tuple(confidences(inputs, segments))
    for _ in range(_MOST_REPAIRS):
        better = tuple(_repaired(segments, confidence))
        if better == segments:
            break
        segments, confidence = better, tuple(confidences(inputs, better))
    return tuple(
        RatedSegment(segment=segment, confidence=each)
        for segment, each in zip(segments, confidence, strict=True)
    )


def _repaired(
    segments: tuple[Segment, ...], confidence: tuple[Confidence, ...]
) -> Iterator[Segment]:
    """The segments with what is cheaper in place of what the margins found beaten."""
    index = 0
    while index < len(segments):
        first, last, kind = index, index, segments[index].kind
        for ahead in range(index, min(index + 3, len(segments))):
            margin = confidence[ahead].boundary
            if margin.nats < -_DUST and margin.joins and margin.joins[0] == index:
                (first, last), kind = margin.joins, margin.kind or kind
        if last == index and confidence[index].kind.nats < -_DUST:
            kind = confidence[index].kind.kind or kind
        yield from _as_kind(segments[first], segments[last], kind)
        index = last + 1


def _as_kind(first: Segment, last: Segment, kind: Kind) -> Iterator[Segment]:
    if kind is not Kind.SINGLE or last.stop - first.start >= costs.ROW.shortest:
        yield replace(first, stop=last.stop, kind=kind)
        return
    for start in range(first.start, last.stop):
        yield replace(first, start=start, stop=start + 1, kind=kind)


def confidences(inputs: SearchInput, segments: tuple[Segment, ...]) -> Iterator[Confidence]:
    """How sure each segment of the best account is, in their order."""
    near: dict[int, _Rivals] = {}
    for index, segment in enumerate(segments):
        for ahead in range(index, min(index + 2, len(segments))):
            if ahead not in near:
                near[ahead] = _rivals(inputs, segments[ahead])
        near.pop(index - 3, None)
        yield Confidence(
            kind=_of_kind(inputs, near[index]) if segment.stop - segment.start > 1 else NO_OTHER,
            boundary=_of_boundary(inputs, near, index),
        )


def _rivals(inputs: SearchInput, segment: Segment) -> _Rivals:
    candidates = list(openings(inputs, segment.start, segment.previous))
    path: list[float] = []
    cost, ends = NEVER, []
    if segment.kind is Kind.SINGLE:
        path = cost_of_singles(inputs, segment.start, segment.stop)
        cost = path[-1]
        if len(path) == 1:
            return _Rivals(segment=segment, path=path, own=cost, ends=candidates)
    for candidate in (
        candidate for candidate in candidates if candidate.habits.kind is segment.kind
    ):
        opening, taken = candidate.cost, follow(inputs, candidate, segment.stop)
        if taken is not None:
            ends.append(candidate)
            closed = candidate.cost + candidate.closing_cost()
            if closed < cost:
                path, cost = [opening, *taken], closed
    others = [candidate for candidate in candidates if candidate.habits.kind is not segment.kind]
    ends += [
        candidate
        for candidate in others
        if follow(inputs, candidate, segment.stop, path[1:]) is not None
    ]
    return _Rivals(segment=segment, path=path, own=cost, ends=ends)


def _of_kind(inputs: SearchInput, found: _Rivals) -> Margin:
    """The margin over the best other kind for the same frames."""
    segment = found.segment
    kind, cost = cheapest(
        candidate for candidate in found.ends if candidate.habits.kind is not segment.kind
    )
    if segment.kind is not Kind.SINGLE:
        singles = cost_of_singles(inputs, segment.start, segment.stop)[-1]
        if singles < cost and singles < found.own + costs.GIVE_UP_BEHIND:
            kind, cost = Kind.SINGLE, singles
    return Margin(kind=kind, nats=min(BEYOND_DOUBT, cost - found.own))


def _of_boundary(inputs: SearchInput, near: dict[int, _Rivals], index: int) -> Margin:
    """The margin over the best account that joins the segment at the index to what is before it."""
    best = NO_OTHER
    for first, last in _stretches(near, index):
        path, apart = _apart(inputs, [near[each] for each in range(first, last + 1)])
        candidates = [candidate.fork() for candidate in near[first].ends]
        stop = near[last].segment.stop
        joined = [
            candidate
            for candidate in candidates
            if follow(inputs, candidate, stop, path) is not None
        ]
        kind, cost = cheapest(joined)
        if cost - apart < best.nats:
            best = Margin(kind=kind, nats=cost - apart, joins=(first, last))
    return best


def _stretches(near: dict[int, _Rivals], index: int) -> Iterator[tuple[int, int]]:
    """First and last segment of every stretch over the boundary that is worth a look."""
    if index == 0:
        return
    yield index - 1, index
    for first in (index - 2, index - 1):
        for last in (index, index + 1):
            if first not in near or last not in near or (first, last) == (index - 1, index):
                continue
            if near[last].segment.stop - near[first].segment.start <= _SHORT:
                yield first, last


def _apart(inputs: SearchInput, segments: list[_Rivals]) -> tuple[list[float], float]:
    """What the segments cost one after the other: up to each frame behind the first, and altogether."""
    done, path = segments[0].own, []
    for each in segments[1:]:
        done += inputs.transitions[each.segment.start - 1].boundary
        path += [done + cost for cost in each.path]
        done += each.own
    return path, done
