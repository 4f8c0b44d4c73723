"""The best account as a user corrected it: what becomes of its segments, and the words for that."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from operator import attrgetter
from typing import Final, TypeVar

from sorter.grouping.search import SearchInput, Segment, cheapest, follow, openings
from sorter.model.correction import PICTURES_SHOW, USER_SAID
from sorter.model.kinds import Kind, Who
from sorter.model.sequence import BEYOND_DOUBT, Grounds
from sorter.model.stretches import Stretch

CUT_BEFORE: Final = "the corrections file cut off the frames before"
_START: Final = attrgetter("start")
_Part = TypeVar("_Part", Segment, Stretch)
_OPEN: Final = " and does not name its kind"


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrected:
    """A sequence that a correction made."""

    segment: Segment
    grounds: Grounds
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Remainder:
    """What the corrections left of the best account's segment with this index: all of it, or a part."""

    segment: Segment
    index: int


def amended(
    inputs: SearchInput, segments: tuple[Segment, ...], stretches: tuple[Stretch, ...]
) -> tuple[Corrected | Remainder, ...]:
    """Every stretch as one segment and what is left of the others, in order of capture.

    What is left of a segment keeps its kind; where it is one frame of several it is a single.
    """
    parts: list[Corrected | Remainder] = [_made(inputs, segments, each) for each in stretches]
    for index, segment in enumerate(segments):
        parts += _left(segment, index, stretches)
    return tuple(sorted(parts, key=lambda part: part.segment.start))


def _near(parts: tuple[_Part, ...], start: int, stop: int) -> tuple[_Part, ...]:
    """Those of the parts that may have a frame from start to stop; they are in order, and apart.

    Looked for, and not gone through: of a card of a hundred thousand frames there may be as many.
    """
    first = bisect_right(parts, start, key=_START) - 1
    return parts[max(first, 0) : bisect_left(parts, stop, key=_START)]


def _left(segment: Segment, index: int, stretches: tuple[Stretch, ...]) -> Iterator[Remainder]:
    near = _near(stretches, segment.start, segment.stop)
    cuts = [each for each in near if each.meets(segment.start, segment.stop)]
    edges = [segment.start, *(edge for cut in cuts for edge in (cut.start, cut.stop)), segment.stop]
    for start, stop in list(pairwise(edges))[::2]:
        if start < stop:
            kind = Kind.SINGLE if stop - start == 1 else segment.kind
            yield Remainder(
                segment=replace(segment, start=start, stop=stop, kind=kind), index=index
            )


def _made(inputs: SearchInput, segments: tuple[Segment, ...], stretch: Stretch) -> Corrected:
    kind, why = _kind(inputs, segments, stretch)
    count = stretch.stop - stretch.start
    these = "this frame is a" if count == 1 else f"these {count} frames are one"
    grounds = Grounds(
        begins=PICTURES_SHOW if stretch.why else f"{USER_SAID} so",
        kind=stretch.why or f"{USER_SAID} that {these} sequence{why}",
        margin=BEYOND_DOUBT,
        begins_margin=BEYOND_DOUBT,
        said_by=Who.PICTURES if stretch.why else Who.USER,
    )
    segment = Segment(start=stretch.start, stop=stretch.stop, kind=kind)
    return Corrected(segment=segment, grounds=grounds, name=stretch.name)


def _kind(inputs: SearchInput, segments: tuple[Segment, ...], stretch: Stretch) -> tuple[Kind, str]:
    """The stretch's kind, and where it comes from.

    Where the correction leaves it open: a single for one frame; the kind of the one sequence in
    which all frames lay; else the series that accounts best for them. Where none can (the pause was
    too long, the lens was changed) it is the kind that most of them had, but no single: whoever
    joins two halves of a stack has a stack. Where all were singles it is a burst, the kind that
    claims least about its frames.
    """
    if stretch.kind is not None:
        return stretch.kind, f": {stretch.kind}"
    near = _near(segments, stretch.start, stretch.stop)
    touched = [segment for segment in near if stretch.meets(segment.start, segment.stop)]
    if stretch.stop - stretch.start == 1:
        return Kind.SINGLE, f"{_OPEN}: one frame is a single"
    if len(touched) == 1:
        return touched[0].kind, f"{_OPEN}: {touched[0].kind} as before"
    fits = _best_series(inputs, stretch)
    if fits is not None:
        return fits, f"{_OPEN}: {fits} fits best"
    had = _most_had(touched, stretch)
    if had is None:
        return Kind.BURST, f"{_OPEN}: none accounts for it, and burst claims least"
    return had, f"{_OPEN}: none accounts for it, {had} as most of it was"


def _best_series(inputs: SearchInput, stretch: Stretch) -> Kind | None:
    candidates = (
        each
        for each in openings(inputs, stretch.start, None)
        if each.habits.kind is not Kind.SINGLE
    )
    kind, _ = cheapest(
        each for each in candidates if follow(inputs, each, stretch.stop) is not None
    )
    return kind


def _most_had(touched: list[Segment], stretch: Stretch) -> Kind | None:
    had: Counter[Kind] = Counter()
    for segment in touched:
        if segment.kind is not Kind.SINGLE:
            had[segment.kind] += min(segment.stop, stretch.stop) - max(segment.start, stretch.start)
    return had.most_common(1)[0][0] if had else None


def remainder_reason(left: Remainder, whole: Segment) -> str:
    """Why what is left of the segment is of its kind."""
    count, of = left.segment.stop - left.segment.start, whole.stop - whole.start
    return (
        f"{count} of the {of} frames of one {whole.kind}, the rest was cut off by the "
        "corrections file"
    )
