"""By how much the best account is better than the second-best: for each kind, and each boundary.

For a kind the other accounts are the other kinds for the same frames. For a boundary they are one run
of any kind over it: over the two pieces beside it, and where pieces are short over up to two on either
side, for three tries may be one short stack.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from sorter.grouping.costs import NEVER
from sorter.grouping.evidence import Evidence
from sorter.grouping.runs import anew_cost
from sorter.grouping.search import Judgement, Piece, judge, own_path
from sorter.model.kinds import Kind
from sorter.model.knobs import GroupingKnobs
from sorter.model.sequence import BEYOND_DOUBT

_SHORT = 12  # frames; a longer stretch is no slip of a boundary any more


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """A piece with what all kinds make of it, the best first, and what its own kind costs.

    path: that cost up to each of its frames. own: all of it, the end too.
    """

    piece: Piece
    judgements: tuple[Judgement, ...]
    path: tuple[float, ...]
    own: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """The second-best account, and by how many nats it is worse; None where there is none."""

    kind: Kind | None
    nats: float


NO_OTHER: Final = Margin(kind=None, nats=BEYOND_DOUBT)


def judged(evidence: Evidence, piece: Piece, knobs: GroupingKnobs) -> Judged:
    """The piece as all kinds see it."""
    *path, own = own_path(evidence, piece, knobs)
    judgements = judge(evidence, piece, knobs, tuple(path))
    return Judged(piece=piece, judgements=judgements, path=tuple(path), own=own)


def of_kind(found: Judged) -> Margin:
    """The margin over the best other kind for the same frames; a single frame has no other."""
    others = [j for j in found.judgements if j.kind is not found.piece.kind and j.cost < NEVER]
    if not others or found.piece.stop - found.piece.start == 1:
        return NO_OTHER
    return Margin(kind=others[0].kind, nats=_capped(others[0].cost - found.own))


def of_boundary(
    evidence: Evidence, pieces: tuple[Judged, ...], index: int, knobs: GroupingKnobs
) -> Margin:
    """The margin over the best account that joins the piece at the index to what is before it."""
    best = NO_OTHER
    for first, last in _stretches(pieces, index):
        *path, apart = _apart(evidence, pieces[first : last + 1])
        together = replace(pieces[first].piece, stop=pieces[last].piece.stop)
        judgements = judge(evidence, together, knobs, tuple(path))
        joined = next(j for j in judgements if j.kind is not Kind.SINGLE)
        nats = _capped(joined.cost - apart)
        if nats < best.nats:
            best = Margin(kind=joined.kind, nats=nats)
    return best


def _stretches(pieces: tuple[Judged, ...], index: int) -> Iterator[tuple[int, int]]:
    """First and last piece of every stretch over the boundary that is worth a look."""
    if index == 0:
        return
    yield index - 1, index
    for first in (index - 2, index - 1):
        for last in (index, index + 1):
            if first < 0 or last >= len(pieces) or (first, last) == (index - 1, index):
                continue
            if pieces[last].piece.stop - pieces[first].piece.start <= _SHORT:
                yield first, last


def _apart(evidence: Evidence, pieces: tuple[Judged, ...]) -> tuple[float, ...]:
    """What the pieces cost one after the other: up to each frame, and at last altogether."""
    done, path = 0.0, []
    for each in pieces:
        if each is not pieces[0]:
            done += anew_cost(evidence.links[each.piece.start - 1])
        path += [done + cost for cost in each.path]
        done += each.own
    return (*path, done)


def _capped(nats: float) -> float:
    return min(BEYOND_DOUBT, nats)
