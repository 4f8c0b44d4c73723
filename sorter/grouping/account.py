"""A whole reading accounted for: every frame in exactly one sequence, in order of capture."""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from sorter.grouping.corrections import stretches_of
from sorter.grouping.drafts import Draft, draft_sequences
from sorter.grouping.missing import places
from sorter.grouping.relations import Series, related
from sorter.grouping.timeline import clock_us, timelines
from sorter.model.correction import Correction
from sorter.model.frame import Frame, Reading
from sorter.model.knobs import GroupingKnobs
from sorter.model.sequence import Account, Relation, Sequence


def account_for(
    reading: Reading,
    knobs: GroupingKnobs | None = None,
    corrections: Iterable[Correction] = (),
) -> Account:
    """The best account of all frames of a card; what is no frame is handed through.

    One timeline a body; the frames of all bodies are merged by time, and sequences come in the
    order of their first frames. A correction makes its frames one sequence, which is cut out of
    those that they lay in; all others stay what they were.
    Raises Misfit where a correction does not fit the card.
    """
    knobs = knobs or GroupingKnobs()
    lines = timelines(reading.frames)
    in_utc = all(line.in_utc for line in lines)
    asked = stretches_of(corrections, lines, reading)
    loose = places(reading.loose)
    drafted = [
        draft_sequences(line, knobs, stated, loose)
        for line, stated in zip(lines, asked, strict=True)
    ]
    order = tuple(heapq.merge(*(_keyed(drafts, in_utc=in_utc) for drafts in drafted)))
    place = {keyed.frame.path: index for index, keyed in enumerate(order)}
    return Account(
        sequences=_numbered(drafted, place),
        order=tuple(keyed.frame for keyed in order),
        loose=reading.loose,
        system_files=reading.system_files,
        folders_closed=reading.folders_closed,
        thrown_away=reading.thrown_away,
        shoots=reading.shoots,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Keyed:
    """A frame with a time that never falls, so that a clock set back keeps its body's order."""

    at_us: int
    frame: Frame

    def __lt__(self, other: _Keyed) -> bool:
        return self.at_us < other.at_us


def _keyed(drafts: list[Draft], *, in_utc: bool) -> Iterator[_Keyed]:
    frames = [frame for d in drafts for frame in (*d.sequence.frames, *d.results)]
    times = (clock_us(frame, in_utc=in_utc) for frame in frames)
    for frame, latest in zip(frames, itertools.accumulate(times, max), strict=True):
        yield _Keyed(at_us=latest, frame=frame)


def _numbered(drafted: list[list[Draft]], place: dict[str, int]) -> tuple[Sequence, ...]:
    """All sequences in the order of their first frames, with their results and relations."""

    def first(draft: Draft) -> int:
        return place[draft.sequence.frames[0].path]

    drafts = sorted((draft for body in drafted for draft in body), key=first)
    index = {first(draft): number for number, draft in enumerate(drafts)}
    found: dict[int, tuple[Relation, ...]] = {}
    for body in drafted:
        found |= related(tuple(_series(draft, index[first(draft)]) for draft in body))
    return tuple(
        replace(draft.sequence, results=tuple(draft.results), relations=found.get(number, ()))
        for number, draft in enumerate(drafts)
    )


def _series(draft: Draft, index: int) -> Series:
    return Series(
        index=index,
        observations=draft.observations,
        kind=draft.sequence.kind,
        pause_s=draft.pause_s,
        stopped=draft.stopped,
        merged=None if draft.observations else draft.sequence.frames[0],
    )
