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

from sorter.grouping import margins, notes, results, words
from sorter.grouping.amending import CUT_BEFORE, Left, Made, amended, left_words
from sorter.grouping.evidence import Evidence, Look, gather
from sorter.grouping.margins import NO_OTHER, Found, Weighed
from sorter.grouping.missing import Place, missing
from sorter.grouping.search import Piece, best_account, ground_of
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

    looks: its frames as the models saw them; none for a picture that the camera merged, whose
    sources are not right before it. pause_s: since the sequence before. stopped: frames that were
    planned were not taken. corrected: a correction made it, so it is nobody's result.
    """

    sequence: Sequence
    looks: tuple[Look, ...] = ()
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


def drafts_of(
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
    ground = ground_of(evidence, knobs)
    found = tuple(_without_results(evidence, margins.settled(ground, best_account(ground))))
    pieces = tuple(each.piece for each in found)
    edges = frozenset(piece.start for piece in pieces) | {len(shots)}
    case = _Case(evidence=evidence, knobs=knobs, loose=loose, edges=edges)
    best = [_draft(case, found, index) for index in range(len(found))]
    drafts = [
        _made(case, part)
        if isinstance(part, Made)
        else best[part.index]
        if part.piece == pieces[part.index]
        else _left(case, found, part)
        for part in amended(ground, pieces, asked)
    ]
    return _with_marked(_with_unmarked(drafts, _unmarked(best)), line)


def _without_results(evidence: Evidence, found: tuple[Found, ...]) -> Iterator[Found]:
    """The pieces, with the unmarked result at the end of one as a piece of its own."""
    for each in found:
        piece, last = each.piece, each.piece.stop - 1
        if _ends_in_a_result(evidence, piece):
            yield replace(each, piece=replace(piece, stop=last))
            alone = Piece(start=last, stop=piece.stop, kind=Kind.SINGLE)
            yield Found(piece=alone, sure=Weighed())
        else:
            yield each


def _ends_in_a_result(evidence: Evidence, piece: Piece) -> bool:
    """The last picture came off the beat: a camera needs longer to merge than to shoot."""
    pauses = [link.pause_s for link in evidence.links[piece.start : piece.stop - 1]]
    if not pauses or pauses[-1] <= _OFF_BEAT * sorted(pauses)[len(pauses) // 2]:
        return False
    *sources, last = (look.frame for look in evidence.looks[piece.start : piece.stop])
    return results.is_unmarked(last, sources, piece.kind, pauses[-1])


def _draft(case: _Case, found: tuple[Found, ...], index: int) -> Draft:
    evidence, knobs = case.evidence, case.knobs
    piece = found[index].piece
    before = found[index - 1].piece if index else None
    kind, boundary = found[index].sure.kind, found[index].sure.boundary
    grounds = Grounds(
        begins=words.begins(evidence, piece, before),
        kind=words.kind_of(evidence, piece),
        runner_up=kind.kind,
        margin=kind.nats,
        begins_margin=boundary.nats,
    )
    return _of_piece(case, piece, grounds, notes.unsure(piece, kind, boundary, knobs))


def _left(case: _Case, found: tuple[Found, ...], part: Left) -> Draft:
    """What corrections left of a piece: what was doubtful about it still is."""
    evidence, knobs = case.evidence, case.knobs
    whole, piece = found[part.index].piece, part.piece
    kind, boundary = NO_OTHER, NO_OTHER
    if piece.kind is whole.kind:
        kind = found[part.index].sure.kind
    if piece.start == whole.start:
        boundary = found[part.index].sure.boundary
    before = found[part.index - 1].piece if part.index else None
    uncut = words.begins(evidence, whole, before)
    grounds = Grounds(
        begins=uncut if piece.start == whole.start else CUT_BEFORE,
        kind=left_words(part, whole),
        runner_up=kind.kind,
        margin=kind.nats,
        begins_margin=boundary.nats,
    )
    return _of_piece(case, piece, grounds, notes.unsure(piece, kind, boundary, knobs))


def _made(case: _Case, part: Made) -> Draft:
    draft = _of_piece(case, part.piece, part.grounds)
    return replace(draft, sequence=replace(draft.sequence, name=part.name), corrected=True)


def _of_piece(case: _Case, piece: Piece, grounds: Grounds, unsure: Iterable[str] = ()) -> Draft:
    evidence = case.evidence
    looks = evidence.looks[piece.start : piece.stop]
    lack = missing(evidence, piece, case.loose, cut=not case.edges >= {piece.start, piece.stop})
    sequence = Sequence(
        kind=piece.kind,
        frames=tuple(look.frame for look in looks),
        grounds=grounds,
        planned=looks[0].facts.planned,
        notes=(*notes.for_piece(evidence, piece, lack), *unsure),
    )
    return Draft(
        looks=looks, pause_s=_pause_before(evidence, piece), stopped=lack.stopped, sequence=sequence
    )


def _pause_before(evidence: Evidence, piece: Piece) -> float:
    """Seconds since the frame before; where the clock was set back nobody knows: infinite."""
    if not piece.start:
        return 0.0
    link = evidence.links[piece.start - 1]
    return math.inf if link.clock_back else link.pause_s


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
    return results.fits(frame, draft.sequence.kind, len(draft.sequence.frames), pause)


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
