"""A whole reading accounted for: every frame in exactly one sequence, in order of capture."""

from __future__ import annotations

import bisect
import heapq
import itertools
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from sorter.grouping import margins, notes, relations, results, words
from sorter.grouping.evidence import Evidence, gather
from sorter.grouping.margins import Judged
from sorter.grouping.relations import Series
from sorter.grouping.search import best_account
from sorter.grouping.timeline import Timeline, clock_us, timelines
from sorter.model.frame import Frame, Reading
from sorter.model.kinds import Kind
from sorter.model.knobs import GroupingKnobs
from sorter.model.sequence import BEYOND_DOUBT, Account, Grounds, Relation, Sequence
from sorter.model.values import MICROSECONDS


@dataclass(slots=True, kw_only=True)
class _Draft:
    """A sequence of one timeline before it has its number."""

    series: Series
    sequence: Sequence
    results: list[Frame] = field(default_factory=list)


def account_for(reading: Reading, knobs: GroupingKnobs | None = None) -> Account:
    """The best account of all frames of a card; what is no frame is handed through.

    One timeline a body; the frames of all bodies are merged by time, and sequences
    come in the order of their first frames.
    """
    knobs = knobs or GroupingKnobs()
    lines = timelines(reading.frames)
    in_utc = all(line.in_utc for line in lines)
    drafted = [_drafts(line, knobs) for line in lines]
    order = tuple(heapq.merge(*(_keyed(drafts, in_utc=in_utc) for drafts in drafted)))
    place = {keyed.frame.path: index for index, keyed in enumerate(order)}
    drafts = sorted(
        (draft for drafts in drafted for draft in drafts),
        key=lambda draft: place[draft.sequence.frames[0].path],
    )
    return Account(
        sequences=_related(drafts),
        order=tuple(keyed.frame for keyed in order),
        loose=reading.loose,
        litter=reading.litter,
        folders_closed=reading.folders_closed,
    )


def _drafts(line: Timeline, knobs: GroupingKnobs) -> list[_Draft]:
    shots = tuple(frame for frame in line.frames if not results.is_marked(frame))
    evidence = gather(replace(line, frames=shots))
    pieces = best_account(evidence, knobs) if shots else ()
    found = tuple(margins.judged(evidence, piece, knobs) for piece in pieces)
    drafts = [_draft(evidence, found, index, knobs) for index in range(len(found))]
    drafts = _with_unmarked(drafts)
    return _with_marked(drafts, line)


def _draft(
    evidence: Evidence, found: tuple[Judged, ...], index: int, knobs: GroupingKnobs
) -> _Draft:
    piece = found[index].piece
    before = found[index - 1].piece if index else None
    kind = margins.of_kind(found[index])
    boundary = margins.of_boundary(evidence, found, index, knobs)
    looks = evidence.looks[piece.start : piece.stop]
    sequence = Sequence(
        kind=piece.kind,
        frames=tuple(look.frame for look in looks),
        grounds=Grounds(
            begins=words.begins(evidence, piece, before),
            kind=words.kind_of(evidence, piece),
            runner_up=kind.kind,
            margin=kind.nats,
            begins_margin=boundary.nats,
        ),
        planned=looks[0].facts.planned,
        notes=(*notes.for_piece(evidence, piece), *notes.unsure(piece, kind, boundary, knobs)),
    )
    pause = evidence.links[piece.start - 1].pause_s if piece.start else 0.0
    return _Draft(series=Series(looks=looks, kind=piece.kind, pause_s=pause), sequence=sequence)


def _with_unmarked(drafts: list[_Draft]) -> list[_Draft]:
    kept: list[_Draft] = []
    for draft in drafts:
        single = len(draft.sequence.frames) == 1
        if kept and single and _is_unmarked(kept[-1], draft):
            kept[-1].results += draft.sequence.frames
        else:
            kept.append(draft)
    return kept


def _is_unmarked(before: _Draft, draft: _Draft) -> bool:
    frame, sources = draft.sequence.frames[0], before.sequence.frames
    return results.is_unmarked(frame, sources, before.sequence.kind, draft.series.pause_s)


def _with_marked(drafts: list[_Draft], line: Timeline) -> list[_Draft]:
    """Marked results go to the sequence right before them; without sources they are singles."""
    place = {frame.path: index for index, frame in enumerate(line.frames)}
    starts = [place[draft.sequence.frames[0].path] for draft in drafts]
    orphans: list[_Draft] = []
    for index, frame in enumerate(line.frames):
        if not results.is_marked(frame):
            continue
        before = bisect.bisect_left(starts, index)
        if before and _merges(frame, drafts[before - 1], line):
            drafts[before - 1].results.append(frame)
        else:
            orphans.append(_orphan(frame))
    return sorted(drafts + orphans, key=lambda draft: place[draft.sequence.frames[0].path])


def _merges(frame: Frame, draft: _Draft, line: Timeline) -> bool:
    last = draft.sequence.frames[-1]
    pause = (line.start_us(frame) - line.start_us(last)) / MICROSECONDS
    return results.fits(frame, draft.sequence.kind, len(draft.sequence.frames), pause)


def _orphan(frame: Frame) -> _Draft:
    alone = Sequence(
        kind=Kind.SINGLE,
        frames=(frame,),
        grounds=Grounds(
            begins="no sequence of its sources right before it",
            kind="one frame that the camera merged",
            margin=BEYOND_DOUBT,
            begins_margin=BEYOND_DOUBT,
        ),
        notes=("merged in the camera; its sources are not on the card",),
    )
    return _Draft(series=Series(looks=(), kind=Kind.SINGLE, pause_s=0.0), sequence=alone)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Keyed:
    """A frame with a time that never falls, so that a clock set back keeps its body's order."""

    at_us: int
    frame: Frame

    def __lt__(self, other: _Keyed) -> bool:
        return self.at_us < other.at_us


def _keyed(drafts: list[_Draft], *, in_utc: bool) -> Iterator[_Keyed]:
    frames = [frame for d in drafts for frame in (*d.sequence.frames, *d.results)]
    times = (clock_us(frame, in_utc=in_utc) for frame in frames)
    for frame, latest in zip(frames, itertools.accumulate(times, max), strict=True):
        yield _Keyed(at_us=latest, frame=frame)


def _related(drafts: list[_Draft]) -> tuple[Sequence, ...]:
    """The sequences with their results, and their relations to the one before on the same body."""
    last: dict[tuple[str, str], tuple[int, Series]] = {}
    done: list[Sequence] = []
    for index, draft in enumerate(drafts):
        facts, series = draft.sequence.frames[0].facts, draft.series
        body = (facts.camera, facts.serial)
        found: tuple[Relation, ...] = ()
        if body in last and series.looks:
            index_before, before = last[body]
            found = relations.relations(before, series, index_before)
        if series.looks:
            last[body] = (index, series)
        done.append(replace(draft.sequence, results=tuple(draft.results), relations=found))
    return tuple(done)
