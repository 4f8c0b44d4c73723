"""By how much the best account is better than the second-best: for each kind, and each boundary.

For a kind the other accounts are the other kinds for the same frames. For a boundary they are one run
of any kind over it: over the two pieces beside it, and where pieces are short over up to two on either
side, for three tries may be one short stack.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from sorter.grouping import costs
from sorter.grouping.costs import NEVER
from sorter.grouping.runs import Run
from sorter.grouping.search import Ground, Piece, cheapest, cost_of_singles, follow, openings
from sorter.model.kinds import Kind
from sorter.model.sequence import BEYOND_DOUBT

_MOST_REPAIRS = 3
_DUST = 1e-9  # nats: one sum in another order
_SHORT = 12  # frames; a longer stretch is no slip of a boundary any more


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """The second-best account, and by how many nats it is worse; None where there is none.

    joins: the first and the last of the pieces that it makes one, for the margin of a boundary.
    """

    kind: Kind | None
    nats: float
    joins: tuple[int, int] | None = None


NO_OTHER: Final = Margin(kind=None, nats=BEYOND_DOUBT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """How sure a piece is: its kind, and the boundary before it."""

    kind: Margin = NO_OTHER
    boundary: Margin = NO_OTHER


@dataclass(frozen=True, slots=True, kw_only=True)
class _Judged:
    """A piece as all kinds see it.

    path: what its own kind costs up to each of its frames. own: all of it, the end too. ends: runs
    of all kinds that account for its frames somehow, still open behind the last.
    """

    piece: Piece
    path: list[float]
    own: float
    ends: list[Run]


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A piece of the best account, and how sure it is."""

    piece: Piece
    sure: Weighed


def settled(ground: Ground, pieces: tuple[Piece, ...]) -> tuple[Found, ...]:
    """How sure each piece is; where another account turns out cheaper, that one.

    The search drops what falls far behind. Now and then that would have come out best in the end,
    and the margins, which follow a run for longer, find it.
    """
    sure = tuple(weighed(ground, pieces))
    for _ in range(_MOST_REPAIRS):
        better = tuple(_repaired(pieces, sure))
        if better == pieces:
            break
        pieces, sure = better, tuple(weighed(ground, better))
    return tuple(Found(piece=piece, sure=each) for piece, each in zip(pieces, sure, strict=True))


def _repaired(pieces: tuple[Piece, ...], sure: tuple[Weighed, ...]) -> Iterator[Piece]:
    """The pieces with what is cheaper in place of what the margins found beaten."""
    index = 0
    while index < len(pieces):
        first, last, kind = index, index, pieces[index].kind
        for ahead in range(index, min(index + 3, len(pieces))):
            margin = sure[ahead].boundary
            if margin.nats < -_DUST and margin.joins and margin.joins[0] == index:
                (first, last), kind = margin.joins, margin.kind or kind
        if last == index and sure[index].kind.nats < -_DUST:
            kind = sure[index].kind.kind or kind
        yield from _as_kind(pieces[first], pieces[last], kind)
        index = last + 1


def _as_kind(first: Piece, last: Piece, kind: Kind) -> Iterator[Piece]:
    if kind is not Kind.SINGLE:
        yield replace(first, stop=last.stop, kind=kind)
        return
    for start in range(first.start, last.stop):
        yield replace(first, start=start, stop=start + 1, kind=kind)


def weighed(ground: Ground, pieces: tuple[Piece, ...]) -> Iterator[Weighed]:
    """How sure each piece of the best account is, in their order."""
    near: dict[int, _Judged] = {}
    for index, piece in enumerate(pieces):
        for ahead in range(index, min(index + 2, len(pieces))):
            if ahead not in near:
                near[ahead] = _judged(ground, pieces[ahead])
        near.pop(index - 3, None)
        yield Weighed(
            kind=_of_kind(ground, near[index]) if piece.stop - piece.start > 1 else NO_OTHER,
            boundary=_of_boundary(ground, near, index),
        )


def _judged(ground: Ground, piece: Piece) -> _Judged:
    runs = list(openings(ground, piece.start, piece.before))
    if piece.kind is Kind.SINGLE:
        path = cost_of_singles(ground, piece.start, piece.stop)
        return _Judged(piece=piece, path=path, own=path[-1], ends=runs)
    path, cost, ends = [], NEVER, []
    for run in (run for run in runs if run.habits.kind is piece.kind):
        opening, taken = run.cost, follow(ground, run, piece.stop)
        if taken is not None:
            ends.append(run)
            closed = run.cost + run.closing_cost()
            if closed < cost:
                path, cost = [opening, *taken], closed
    others = [run for run in runs if run.habits.kind is not piece.kind]
    ends += [run for run in others if follow(ground, run, piece.stop, path[1:]) is not None]
    return _Judged(piece=piece, path=path, own=cost, ends=ends)


def _of_kind(ground: Ground, found: _Judged) -> Margin:
    """The margin over the best other kind for the same frames."""
    piece = found.piece
    kind, cost = cheapest(run for run in found.ends if run.habits.kind is not piece.kind)
    if piece.kind is not Kind.SINGLE:
        singles = cost_of_singles(ground, piece.start, piece.stop)[-1]
        if singles < cost and singles < found.own + costs.GIVE_UP_BEHIND:
            kind, cost = Kind.SINGLE, singles
    return Margin(kind=kind, nats=min(BEYOND_DOUBT, cost - found.own))


def _of_boundary(ground: Ground, near: dict[int, _Judged], index: int) -> Margin:
    """The margin over the best account that joins the piece at the index to what is before it."""
    best = NO_OTHER
    for first, last in _stretches(near, index):
        path, apart = _apart(ground, [near[each] for each in range(first, last + 1)])
        runs = [run.fork() for run in near[first].ends]
        stop = near[last].piece.stop
        joined = [run for run in runs if follow(ground, run, stop, path) is not None]
        kind, cost = cheapest(joined)
        if cost - apart < best.nats:
            best = Margin(kind=kind, nats=cost - apart, joins=(first, last))
    return best


def _stretches(near: dict[int, _Judged], index: int) -> Iterator[tuple[int, int]]:
    """First and last piece of every stretch over the boundary that is worth a look."""
    if index == 0:
        return
    yield index - 1, index
    for first in (index - 2, index - 1):
        for last in (index, index + 1):
            if first not in near or last not in near or (first, last) == (index - 1, index):
                continue
            if near[last].piece.stop - near[first].piece.start <= _SHORT:
                yield first, last


def _apart(ground: Ground, pieces: list[_Judged]) -> tuple[list[float], float]:
    """What the pieces cost one after the other: up to each frame behind the first, and altogether."""
    done, path = pieces[0].own, []
    for each in pieces[1:]:
        done += ground.steps[each.piece.start - 1].anew
        path += [done + cost for cost in each.path]
        done += each.own
    return path, done
