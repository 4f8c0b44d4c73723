"""A whole reading accounted for: every frame in exactly one sequence, in order of capture."""

from __future__ import annotations

import bisect
import heapq
import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace

from sorter.grouping import margins, notes, relations, results, words
from sorter.grouping.amending import CUT_BEFORE, Left, Made, amended, left_words
from sorter.grouping.corrections import Stretch, stretches
from sorter.grouping.evidence import Evidence, gather
from sorter.grouping.margins import NO_OTHER, Judged
from sorter.grouping.relations import Series
from sorter.grouping.search import Piece, best_account
from sorter.grouping.timeline import Timeline, clock_us, timelines
from sorter.model.correction import Correction
from sorter.model.frame import Frame, Reading
from sorter.model.kinds import Kind
from sorter.model.knobs import GroupingKnobs
from sorter.model.sequence import BEYOND_DOUBT, Account, Grounds, Relation, Sequence
from sorter.model.values import MICROSECONDS


@dataclass(slots=True, kw_only=True)
class _Draft:
    """A sequence of one timeline before it has its number.

    corrected: a correction made it, so it is nobody's result.
    """

    series: Series
    sequence: Sequence
    results: list[Frame] = field(default_factory=list)
    corrected: bool = False


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
    asked = stretches(corrections, lines, reading)
    drafted = [_drafts(line, knobs, said) for line, said in zip(lines, asked, strict=True)]
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


def _drafts(line: Timeline, knobs: GroupingKnobs, asked: tuple[Stretch, ...]) -> list[_Draft]:
    shots = results.shots(line)
    evidence = gather(replace(line, frames=shots))
    pieces = best_account(evidence, knobs) if shots else ()
    found = tuple(margins.judged(evidence, piece, knobs) for piece in pieces)
    best = [_draft(evidence, found, index, knobs) for index in range(len(found))]
    drafts = [
        _made(evidence, part)
        if isinstance(part, Made)
        else best[part.index]
        if part.piece == pieces[part.index]
        else _left(evidence, found, part, knobs)
        for part in amended(evidence, pieces, asked, knobs)
    ]
    return _with_marked(_with_unmarked(drafts, _unmarked(best)), line)


def _draft(
    evidence: Evidence, found: tuple[Judged, ...], index: int, knobs: GroupingKnobs
) -> _Draft:
    piece = found[index].piece
    before = found[index - 1].piece if index else None
    kind = margins.of_kind(found[index])
    boundary = margins.of_boundary(evidence, found, index, knobs)
    grounds = Grounds(
        begins=words.begins(evidence, piece, before),
        kind=words.kind_of(evidence, piece),
        runner_up=kind.kind,
        margin=kind.nats,
        begins_margin=boundary.nats,
    )
    return _of_piece(evidence, piece, grounds, notes.unsure(piece, kind, boundary, knobs))


def _left(
    evidence: Evidence, found: tuple[Judged, ...], part: Left, knobs: GroupingKnobs
) -> _Draft:
    """What corrections left of a piece: what was doubtful about it still is."""
    whole, piece = found[part.index].piece, part.piece
    kind, boundary = NO_OTHER, NO_OTHER
    if piece.kind is whole.kind:
        kind = margins.of_kind(found[part.index])
    if piece.start == whole.start:
        boundary = margins.of_boundary(evidence, found, part.index, knobs)
    before = found[part.index - 1].piece if part.index else None
    uncut = words.begins(evidence, whole, before)
    grounds = Grounds(
        begins=uncut if piece.start == whole.start else CUT_BEFORE,
        kind=left_words(part, whole),
        runner_up=kind.kind,
        margin=kind.nats,
        begins_margin=boundary.nats,
    )
    return _of_piece(evidence, piece, grounds, notes.unsure(piece, kind, boundary, knobs))


def _made(evidence: Evidence, part: Made) -> _Draft:
    draft = _of_piece(evidence, part.piece, part.grounds)
    return replace(draft, sequence=replace(draft.sequence, name=part.name), corrected=True)


def _of_piece(
    evidence: Evidence, piece: Piece, grounds: Grounds, unsure: Iterable[str] = ()
) -> _Draft:
    looks = evidence.looks[piece.start : piece.stop]
    sequence = Sequence(
        kind=piece.kind,
        frames=tuple(look.frame for look in looks),
        grounds=grounds,
        planned=looks[0].facts.planned,
        notes=(*notes.for_piece(evidence, piece), *unsure),
    )
    pause = evidence.links[piece.start - 1].pause_s if piece.start else 0.0
    return _Draft(series=Series(looks=looks, kind=piece.kind, pause_s=pause), sequence=sequence)


def _unmarked(drafts: list[_Draft]) -> set[str]:
    """The frames of the best account that are unmarked results of what is before them."""
    found: set[str] = set()
    before: _Draft | None = None
    for draft in drafts:
        if before and _is_unmarked(before, draft):
            found.add(draft.sequence.frames[0].path)
        else:
            before = draft
    return found


def _with_unmarked(drafts: list[_Draft], unmarked: set[str]) -> list[_Draft]:
    """Unmarked results go to what is before them, if that is still a series that they may be of."""
    kept: list[_Draft] = []
    for draft in drafts:
        free = not draft.corrected and draft.sequence.frames[0].path in unmarked
        if kept and free and _is_unmarked(kept[-1], draft):
            kept[-1].results += draft.sequence.frames
        else:
            kept.append(draft)
    return kept


def _is_unmarked(before: _Draft, draft: _Draft) -> bool:
    frame, sources = draft.sequence.frames[0], before.sequence.frames
    if len(draft.sequence.frames) > 1:
        return False
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
