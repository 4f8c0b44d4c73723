"""Frames that a series should have and the card has not: deleted, or never taken."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from sorter.grouping.evidence import Evidence
from sorter.grouping.search import Segment
from sorter.grouping.timeline import WRAP, file_number, last_number, number_of
from sorter.model.frame import Frame, ReadFile
from sorter.model.kinds import Kind

_PLANNED: Final = frozenset({Kind.FOCUS_BRACKET, Kind.EXPOSURE_BRACKET, Kind.BURST})
_PICTURES: Final = frozenset({Kind.UNREADABLE, Kind.UNDATED})

Place = tuple[str, int]
"""A folder of the card and a file number in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """What a series of `length` frames lacks.

    planned: how many the camera was set to take, where that says something of its kind. spans: the
    first and last of file numbers that are not on the card. count: how many frames these are.
    unsorted: numbers in its gaps of pictures that are no frame, each with its kind. cut: a
    correction cut it out of a longer series, so what is planned says nothing of where it stopped.
    at_infinity: the last frame is focused there, so the lens had nowhere to go on to.
    """

    length: int
    planned: int | None = None
    spans: tuple[tuple[int, int], ...] = ()
    count: int = 0
    unsorted: tuple[tuple[int, Kind], ...] = ()
    cut: bool = False
    at_infinity: bool = False

    @property
    def stopped(self) -> bool:
        """Frames that were planned were not taken, though they could have been."""
        short = self.planned is not None and self._taken < self.planned
        return short and not self.cut and not self.at_infinity

    @property
    def incomplete(self) -> bool:
        """Frames that were planned are not there, for whatever reason."""
        return self.planned is not None and self.length < self.planned

    @property
    def _taken(self) -> int:
        return self.length + self.count + len(self.unsorted)


def places(loose: Iterable[tuple[Kind, ReadFile]]) -> dict[Place, Kind]:
    """Where files that are no frame have numbers: such a number is not missing."""
    found = {}
    for kind, file in loose:
        number = number_of(file)
        if number is not None:
            found[file.file.folder, number] = kind
    return found


def missing(
    evidence: Evidence, segment: Segment, loose: Mapping[Place, Kind], *, cut: bool = False
) -> Missing:
    """What the segment lacks, by its file numbers, the camera's shot numbers and its plan.

    Within it every number that was passed over counts; before it those that the first shot number
    says; behind it those up to the next frame, if together with them the plan comes out exactly.
    """
    planned = (
        evidence.observations[segment.start].facts.planned if segment.kind in _PLANNED else None
    )
    found = _Found(loose)
    found.note(_before(evidence, segment))
    for index in range(segment.start, segment.stop - 1):
        found.note(_between(evidence, index))
    length = segment.stop - segment.start
    behind = (
        list(_between(evidence, segment.stop - 1))
        if segment.stop < len(evidence.observations)
        else []
    )
    if behind and planned == length + found.total + len(behind):
        found.note(behind)
    return Missing(
        length=length,
        planned=planned,
        spans=tuple(found.spans),
        count=found.count,
        unsorted=tuple(found.unsorted),
        cut=cut,
        at_infinity=evidence.observations[segment.stop - 1].facts.focus_near_m == math.inf,
    )


class _Found:
    """Numbers passed over, as they are found."""

    def __init__(self, loose: Mapping[Place, Kind]) -> None:
        self.loose = loose
        self.spans: list[tuple[int, int]] = []
        self.count = 0
        self.unsorted: list[tuple[int, Kind]] = []

    @property
    def total(self) -> int:
        return self.count + len(self.unsorted)

    def note(self, gap: Iterable[Place]) -> None:
        """Takes in the numbers of one gap."""
        last: int | None = None
        for place in gap:
            kind = self.loose.get(place)
            if kind is None:
                self.count += 1
                first = self.spans.pop()[0] if last is not None else place[1]
                self.spans.append((first, place[1]))
            elif kind in _PICTURES:
                self.unsorted.append((place[1], kind))
            last = None if kind is not None else place[1]


def _between(evidence: Evidence, index: int) -> Iterator[Place]:
    """The numbers that were passed over between two neighbours."""
    transition = evidence.transitions[index]
    before, after = evidence.observations[index].frame, evidence.observations[index + 1].frame
    number, step = last_number(before), transition.number_step
    if number is None or step is None or transition.counted_on:
        return
    for ahead in range(1, step):
        one = (number + ahead - 1) % WRAP + 1
        yield (_folder(before if one > number else after), one)


def _before(evidence: Evidence, segment: Segment) -> Iterator[Place]:
    """The numbers of the frames that the first shot number says were there before it."""
    first = evidence.observations[segment.start]
    number, late = file_number(first.frame), (first.shot or 1) - 1
    if number is None or not late or segment.kind is Kind.SINGLE:
        return
    transition = evidence.transitions[segment.start - 1] if segment.start else None
    if transition is not None and (
        transition.number_step is None or transition.number_step <= late
    ):
        return
    for back in range(late, 0, -1):
        if number > back:
            yield (_folder(first.frame), number - back)


def _folder(frame: Frame) -> str:
    return frame.files[0].file.folder
