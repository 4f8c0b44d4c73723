"""The sequences of one body before they have their numbers.

Pieces of the best account, what corrections make of them, and the pictures that the camera merged
out of them.
"""

from __future__ import annotations

import bisect
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from sorter.grouping import margins, notes, reasons, results
from sorter.grouping.amending import CUT_BEFORE, Corrected, Remainder, amended, remainder_reason
from sorter.grouping.evidence import Evidence, Observation, gather
from sorter.grouping.margins import NO_OTHER, Confidence, RatedSegment
from sorter.grouping.missing import Place, missing
from sorter.grouping.search import Segment, best_account, search_input
from sorter.grouping.timeline import Timeline
from sorter.model.frame import Frame
from sorter.model.kinds import Kind
from sorter.model.knobs import GroupingKnobs
from sorter.model.sequence import BEYOND_DOUBT, Grounds, Sequence
from sorter.model.stretches import Stretch
from sorter.model.values import MICROSECONDS

_OFF_BEAT: Final = 1.5  # times the usual pause


@dataclass(slots=True, kw_only=True)
class Draft:
    """A sequence of one timeline before it has its number.

    observations: its frames as the models saw them; none for a picture that the camera merged, whose
    sources are not right before it. pause_s: since the sequence before. stopped: frames that were
    planned were not taken. corrected: a correction made it, so it is nobody's result.
    """

    sequence: Sequence
    observations: tuple[Observation, ...] = ()
    pause_s: float = 0.0
    stopped: bool = False
    results: list[Frame] = field(default_factory=list)
    corrected: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """What is judged of one timeline, and by what; edges: where its best account cuts it."""

    evidence: Evidence
    knobs: GroupingKnobs
    loose: Mapping[Place, Kind]
    edges: frozenset[int]


def draft_sequences(
    line: Timeline,
    knobs: GroupingKnobs,
    asked: tuple[Stretch, ...],
    loose: Mapping[Place, Kind],
) -> list[Draft]:
    """The best account of a timeline as the corrections amend it, in order of capture.

    asked: what corrections make of its shots. loose: where files lie that are no frame.
    """
    shots = results.shots(line)
    evidence = gather(replace(line, frames=shots))
    inputs = search_input(evidence, knobs)
    best_found = margins.rated(inputs, best_account(inputs))
    found = tuple(_one_by_one(_without_results(evidence, best_found)))
    segments = tuple(each.segment for each in found)
    edges = frozenset(segment.start for segment in segments) | {len(shots)}
    case = _Case(evidence=evidence, knobs=knobs, loose=loose, edges=edges)
    best = [_draft(case, found, index) for index in range(len(found))]
    drafts = [
        _corrected_draft(case, part)
        if isinstance(part, Corrected)
        else best[part.index]
        if part.segment == segments[part.index]
        else _remainder_draft(case, found, part)
        for part in amended(inputs, segments, asked)
    ]
    return _with_marked(_with_unmarked(drafts, _unmarked(best)), line)


def _without_results(evidence: Evidence, found: tuple[RatedSegment, ...]) -> Iterator[RatedSegment]:
    """The segments, with the unmarked result at the end of one as a segment of its own."""
    for each in found:
        segment, last = each.segment, each.segment.stop - 1
        if _ends_in_a_result(evidence, segment):
            yield replace(each, segment=replace(segment, stop=last))
            alone = Segment(start=last, stop=segment.stop, kind=Kind.SINGLE)
            yield RatedSegment(segment=alone, confidence=Confidence())
        else:
            yield each


def _one_by_one(found: Iterable[RatedSegment]) -> Iterator[RatedSegment]:
    """The segments, with each frame of a row of singles as a segment of its own.

    What is doubtful about the row is the boundary before each of its frames but the first.
    """
    for each in found:
        row = each.segment
        if row.kind is not Kind.SINGLE or row.stop - row.start == 1:
            yield each
            continue
        for start in range(row.start, row.stop):
            segment = replace(row, start=start, stop=start + 1)
            first = start == row.start
            boundary = each.confidence.boundary if first else each.confidence.kind
            yield RatedSegment(segment=segment, confidence=Confidence(boundary=boundary), row=row)


def _ends_in_a_result(evidence: Evidence, segment: Segment) -> bool:
    """The last picture came off the beat: a camera needs longer to merge than to shoot."""
    pauses = [
        transition.pause_s for transition in evidence.transitions[segment.start : segment.stop - 1]
    ]
    if not pauses or pauses[-1] <= _OFF_BEAT * sorted(pauses)[len(pauses) // 2]:
        return False
    *sources, last = (
        observation.frame for observation in evidence.observations[segment.start : segment.stop]
    )
    return results.is_unmarked(last, sources, segment.kind, pauses[-1])


def _draft(case: _Case, found: tuple[RatedSegment, ...], index: int) -> Draft:
    evidence, knobs = case.evidence, case.knobs
    segment = found[index].segment
    before = found[index - 1].segment if index else None
    kind, boundary = found[index].confidence.kind, found[index].confidence.boundary
    row = found[index].row
    grounds = Grounds(
        begins=reasons.begins(evidence, segment, before),
        kind=reasons.row_of(evidence, row) if row else reasons.kind_of(evidence, segment),
        runner_up=kind.kind,
        margin=kind.nats,
        begins_margin=boundary.nats,
        row=reasons.row_name(evidence, row) if row else "",
    )
    if row and segment.start > row.start:
        # The row's doubt is told once, with its first frame.
        return _of_segment(case, segment, grounds)
    stated = notes.unsure(segment, kind, boundary, knobs)
    if row:
        stated += notes.unsure_row(row, found[index + 1].confidence.boundary, knobs)
    return _of_segment(case, segment, grounds, stated)


def _remainder_draft(case: _Case, found: tuple[RatedSegment, ...], part: Remainder) -> Draft:
    """What corrections left of a segment: what was doubtful about it still is."""
    evidence, knobs = case.evidence, case.knobs
    whole, segment = found[part.index].segment, part.segment
    kind, boundary = NO_OTHER, NO_OTHER
    if segment.kind is whole.kind:
        kind = found[part.index].confidence.kind
    if segment.start == whole.start:
        boundary = found[part.index].confidence.boundary
    before = found[part.index - 1].segment if part.index else None
    uncut = reasons.begins(evidence, whole, before)
    grounds = Grounds(
        begins=uncut if segment.start == whole.start else CUT_BEFORE,
        kind=remainder_reason(part, whole),
        runner_up=kind.kind,
        margin=kind.nats,
        begins_margin=boundary.nats,
    )
    return _of_segment(case, segment, grounds, notes.unsure(segment, kind, boundary, knobs))


def _corrected_draft(case: _Case, part: Corrected) -> Draft:
    draft = _of_segment(case, part.segment, part.grounds)
    return replace(draft, sequence=replace(draft.sequence, name=part.name), corrected=True)


def _of_segment(
    case: _Case, segment: Segment, grounds: Grounds, unsure: Iterable[str] = ()
) -> Draft:
    evidence = case.evidence
    observations = evidence.observations[segment.start : segment.stop]
    lack = missing(
        evidence, segment, case.loose, cut=not case.edges >= {segment.start, segment.stop}
    )
    sequence = Sequence(
        kind=segment.kind,
        frames=tuple(observation.frame for observation in observations),
        grounds=grounds,
        planned=observations[0].facts.planned,
        notes=(*notes.for_segment(evidence, segment, lack), *unsure),
    )
    return Draft(
        observations=observations,
        pause_s=_pause_before(evidence, segment),
        stopped=lack.stopped,
        sequence=sequence,
    )


def _pause_before(evidence: Evidence, segment: Segment) -> float:
    """Seconds since the frame before; where the clock was set back nobody knows: infinite."""
    if not segment.start:
        return 0.0
    transition = evidence.transitions[segment.start - 1]
    return math.inf if transition.clock_back else transition.pause_s


def _unmarked(drafts: list[Draft]) -> set[str]:
    """The frames of the best account that are unmarked results of what is before them."""
    found: set[str] = set()
    before: Draft | None = None
    for draft in drafts:
        if before and _is_unmarked(before, draft):
            found.add(draft.sequence.frames[0].path)
        else:
            before = draft
    return found


def _with_unmarked(drafts: list[Draft], unmarked: set[str]) -> list[Draft]:
    """Unmarked results go to what is before them, if that is still a series that they may be of."""
    kept: list[Draft] = []
    for draft in drafts:
        free = not draft.corrected and draft.sequence.frames[0].path in unmarked
        if kept and free and _is_unmarked(kept[-1], draft):
            kept[-1].results += draft.sequence.frames
        else:
            kept.append(draft)
    return kept


def _is_unmarked(before: Draft, draft: Draft) -> bool:
    frame, sources = draft.sequence.frames[0], before.sequence.frames
    if len(draft.sequence.frames) > 1:
        return False
    return results.is_unmarked(frame, sources, before.sequence.kind, draft.pause_s)


def _with_marked(drafts: list[Draft], line: Timeline) -> list[Draft]:
    """Marked results go to the sequence right before them; without sources they are singles."""
    place = {frame.path: index for index, frame in enumerate(line.frames)}
    starts = [place[draft.sequence.frames[0].path] for draft in drafts]
    orphans: list[Draft] = []
    for index, frame in enumerate(line.frames):
        if not results.is_marked(frame):
            continue
        before = bisect.bisect_left(starts, index)
        if before and _merges(frame, drafts[before - 1], line):
            drafts[before - 1].results.append(frame)
        else:
            orphans.append(_orphan(frame))
    return sorted(drafts + orphans, key=lambda draft: place[draft.sequence.frames[0].path])


def _merges(frame: Frame, draft: Draft, line: Timeline) -> bool:
    last = draft.sequence.frames[-1]
    pause = (line.start_us(frame) - line.start_us(last)) / MICROSECONDS
    return results.fits(frame, draft.sequence.kind, draft.sequence.frames, pause)


def _orphan(frame: Frame) -> Draft:
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
    return Draft(sequence=alone)
