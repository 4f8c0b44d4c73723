"""Exposure sets by their pictures: what metadata cut though it shows one view, and what it joined though not.

What is one set has to show one view, each exposure once, and exposures in even steps. Two of these are in
metadata: only frames that may be of one set by these are looked at.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from sorter.model.finding import ProposedSequence
from sorter.model.kinds import Kind
from sorter.model.subject import Subject

SAME_VIEW: Final = 0.7
"""Likeness from which on two frames show one view."""
SURELY_SAME_VIEW: Final = 0.8
"""The same where no metadata say that either is of a set: walls of brick are like themselves, and reach 0.73."""
WIDE_EV: Final = 1.9
"""Between neighbours of which as much as of a set is asked: metering changes by less from frame to frame."""
OTHER_VIEW: Final = 0.3
"""Likeness below which they show two. Between them metadata stand. pixels/views.py says on what it was seen."""
KINDS: Final = frozenset({Kind.EXPOSURE_BRACKET, Kind.SINGLE, Kind.BURST})
"""What frames of a set may have been taken for."""
FEWEST: Final = 3
MOST: Final = 9
"""Frames of a set; bodies make 3, 5, 7 and 9."""
LEAST_STEP_EV: Final = 0.25
"""Between two exposures of a set: bodies step by thirds at the least, and round them."""
LEAST_OF_SINGLES_EV: Final = 0.5
"""The same where metadata say of none of the frames that it is of a set: automatic exposure drifts by less."""
UNEVEN_EV: Final = 0.3
"""How far steps may differ: nominal times and sensitivities are rounded, both at times."""
CLOSE_EV: Final = 3.1
"""Between frames of one view up to that: what is farther apart may have too little in common that is neither
dark nor clipped."""
LONGEST_PAUSE_S: Final = 120.0
"""From one frame to the next of a set; as grouping has it for a ladder that is set by hand."""
_JOINED: Final = "by the pictures: one view in even steps of exposure, each once"
_CUT: Final = "by the pictures: it shows another view than the frames before it or behind it"


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One frame of a row that may hold sets. index: its place in its sequence, from 0."""

    subject: Subject
    index: int

    @property
    def ev(self) -> float | None:
        """Its exposure, brighter is larger."""
        known = self.subject.exposures
        return known[self.index] if self.index < len(known) else None

    @property
    def at_s(self) -> float | None:
        """When it was taken."""
        known = self.subject.taken_s
        return known[self.index] if self.index < len(known) else None


Row = tuple[Shot, ...]


def rows(subjects: Iterable[Subject]) -> list[Row]:
    """Frames of one body in order of capture, as far as they may be of sets by kind, exposure and pauses."""
    found: list[list[Shot]] = []
    by_body: dict[str, list[Subject]] = {}
    for subject in subjects:
        by_body.setdefault(subject.body, []).append(subject)
    for own in by_body.values():
        row: list[Shot] = []
        for subject in own:
            for index in range(len(subject.frames)):
                shot = Shot(subject=subject, index=index)
                if not (row and _follows(row[-1], shot)):
                    found.append(row)
                    row = []
                if _may_be(shot):
                    row.append(shot)
        found.append(row)
    return [tuple(row) for row in found if len(row) > 1]


def _may_be(shot: Shot) -> bool:
    subject = shot.subject
    return subject.kind in KINDS and not subject.is_known and shot.ev is not None


def _follows(before: Shot, shot: Shot) -> bool:
    if before.subject is shot.subject:
        return _may_be(shot)
    if not _may_be(shot) or before.at_s is None or shot.at_s is None:
        return False
    return 0 <= shot.at_s - before.at_s <= LONGEST_PAUSE_S


# ---- what is to be looked at -------------------------------------------------------------------


def seams(row: Row) -> list[int]:
    """Where views are to be held against each other: the index of the frame before each seam.

    Within what metadata call a set, and between frames that may be one by their exposures.
    """
    found = {
        at
        for at, (one, two) in enumerate(pairwise(row))
        if one.subject is two.subject and one.subject.kind is Kind.EXPOSURE_BRACKET
    }
    for start in range(len(row)):
        for stop in range(start + FEWEST, min(len(row), start + MOST) + 1):
            if row[start].subject is not row[stop - 1].subject and _is_ladder(row[start:stop]):
                found.update(range(start, stop - 1))
    return sorted(found)


def _is_ladder(row: Sequence[Shot]) -> bool:
    """Whether these may be one set by their exposures: each once, in even steps."""
    exposures = sorted(shot.ev for shot in row if shot.ev is not None)
    steps = [after - before for before, after in pairwise(exposures)]
    of_set = any(shot.subject.kind is Kind.EXPOSURE_BRACKET for shot in row)
    least = LEAST_STEP_EV if of_set else LEAST_OF_SINGLES_EV
    is_even = min(steps) >= least and max(steps) - min(steps) <= UNEVEN_EV
    return is_even and _is_ordered([shot.ev for shot in row if shot.ev is not None])


def _is_ordered(exposures: Sequence[float]) -> bool:
    """Whether bodies and hands set them so: up, down, or from the middle outward on both sides in turn.

    Of three any order is one.
    """
    ways = [after > before for before, after in pairwise(exposures)]
    if len(exposures) <= FEWEST or len(set(ways)) == 1:
        return True
    apart = [abs(each - exposures[0]) for each in exposures]
    outward = all(after >= before - UNEVEN_EV for before, after in pairwise(apart))
    return outward and len(exposures) % 2 == 1 and len(set(ways[::2])) == len(set(ways[1::2])) == 1


# ---- what follows ------------------------------------------------------------------------------


def sets_in(row: Row, likeness: Mapping[int, float]) -> Iterator[ProposedSequence]:
    """How the row is to be cut and joined, where that is otherwise than it is now.

    likeness: at each seam that was looked at, of the frames before it and those behind; NaN: not known.
    """
    parts: list[tuple[int, int]] = []
    start = 0
    for stop in range(1, len(row) + 1):
        if stop == len(row) or not _goes_on(row, stop - 1, likeness):
            parts += [(start + first, start + last) for first, last in _sets(row[start:stop])]
            start = stop
    for index, (first, stop) in enumerate(parts):
        is_joined = row[first].subject is not row[stop - 1].subject
        found = _proposed(row, first, stop - 1)
        if found and not (is_joined and _may_lie_beside(row, parts, index, likeness)):
            yield found


def _goes_on(row: Row, at: int, likeness: Mapping[int, float]) -> bool:
    """Whether what is behind this frame may be of its set."""
    like = likeness.get(at)
    if row[at].subject is not row[at + 1].subject:
        return like is not None and like >= _least_likeness(row[at], row[at + 1])
    return like is None or not (like < OTHER_VIEW and _is_close(row, at))


def _least_likeness(one: Shot, two: Shot) -> float:
    """From where on both show one view. Of frames that only pictures join more is asked."""
    of_set = Kind.EXPOSURE_BRACKET in (one.subject.kind, two.subject.kind)
    return SAME_VIEW if of_set or _apart_ev(one, two) >= WIDE_EV else SURELY_SAME_VIEW


def _apart_ev(one: Shot, two: Shot) -> float:
    return abs(one.ev - two.ev) if one.ev is not None and two.ev is not None else 0.0


def _is_close(row: Row, at: int) -> bool:
    """Whether exposures at the seam are near enough for pictures to be unlike for their view."""
    return _apart_ev(row[at], row[at + 1]) <= CLOSE_EV


def _sets(shots: Row) -> Iterator[tuple[int, int]]:
    """First index of each part and the one behind: as many frames in sets as can be, of as few as can be."""
    if shots[0].subject is shots[-1].subject:
        yield 0, len(shots)
        return
    best: list[tuple[float, int]] = [(0.0, 0)]
    for stop in range(1, len(shots) + 1):
        options = [
            (best[start][0] + worth, start)
            for start in range(stop)
            if (worth := _worth(shots, start, stop)) is not None
        ]
        best.append(max(options))
    parts, stop = [], len(shots)
    while stop:
        start = best[stop][1]
        parts.append((start, stop))
        stop = start
    yield from reversed(parts)


def _worth(shots: Row, start: int, stop: int) -> float | None:
    """Frames in sets count one each, and each set a half less; what stays as it is counts a little."""
    part, subject = shots[start:stop], shots[start].subject
    if shots[stop - 1].subject is subject:
        beside = (*shots[max(0, start - 1) : start], *shots[stop : stop + 1])
        if any(shot.subject is subject for shot in beside):
            return -0.25
        return len(part) - 0.4 if subject.kind is Kind.EXPOSURE_BRACKET else 0.0
    fits = FEWEST <= len(part) <= MOST and _is_ladder(part)
    return len(part) - 0.5 if fits else None


def _is_set(row: Row, first: int, stop: int) -> bool:
    """Whether these frames are one set, by metadata or by the pictures."""
    subject = row[first].subject
    return row[stop - 1].subject is not subject or subject.kind is Kind.EXPOSURE_BRACKET


def _may_lie_beside(
    row: Row, parts: Sequence[tuple[int, int]], index: int, likeness: Mapping[int, float]
) -> bool:
    """Whether a set may as well lie a frame earlier or later: of two sets of one view some seams are unsure."""
    first, stop = parts[index]
    before = parts[index - 1 : index] or [(first - 1, first)]
    after = parts[index + 1 : index + 2] or [(stop, stop + 1)]
    earlier = first and not _is_set(row, *before[0]) and _is_open(likeness, first - 1)
    later = stop < len(row) and not _is_set(row, *after[0]) and _is_open(likeness, stop - 1)
    return bool(
        (earlier and _is_ladder(row[first - 1 : stop - 1]))
        or (later and _is_ladder(row[first + 1 : stop + 1]))
    )


def _is_open(likeness: Mapping[int, float], at: int) -> bool:
    """Whether frames at the seam may show one view after all."""
    like = likeness.get(at)
    return like is not None and not like < OTHER_VIEW


def _proposed(row: Row, first: int, last: int) -> ProposedSequence | None:
    part = row[first : last + 1]
    owners = {shot.subject.number: shot.subject for shot in part}
    if len(owners) > 1:
        return ProposedSequence(first=first, last=last, kind=Kind.EXPOSURE_BRACKET, grounds=_JOINED)
    subject = part[0].subject
    if subject.kind is not Kind.EXPOSURE_BRACKET or len(part) == len(subject.frames):
        return None
    kind = Kind.EXPOSURE_BRACKET if len(part) > 1 else Kind.SINGLE
    return ProposedSequence(first=first, last=last, kind=kind, grounds=_CUT)
