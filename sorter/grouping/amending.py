"""The best account as a user corrected it: what becomes of its pieces, and the words for that."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from operator import attrgetter
from typing import Final, TypeVar

from sorter.grouping.search import Ground, Piece, cheapest, follow, openings
from sorter.model.correction import PICTURES_SHOW, USER_SAID
from sorter.model.kinds import Kind, Who
from sorter.model.sequence import BEYOND_DOUBT, Grounds
from sorter.model.stretches import Stretch

CUT_BEFORE: Final = "the corrections file cut off the frames before"
_START: Final = attrgetter("start")
_Part = TypeVar("_Part", Piece, Stretch)
_OPEN: Final = " and does not name its kind"


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A sequence that a correction made."""

    piece: Piece
    grounds: Grounds
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """What the corrections left of the best account's piece with this index: all of it, or a part."""

    piece: Piece
    index: int


def amended(
    ground: Ground, pieces: tuple[Piece, ...], stretches: tuple[Stretch, ...]
) -> tuple[Made | Left, ...]:
    """Every stretch as one piece and what is left of the others, in order of capture.

    What is left of a piece keeps its kind; where it is one frame of several it is a single.
    """
    parts: list[Made | Left] = [_made(ground, pieces, each) for each in stretches]
    for index, piece in enumerate(pieces):
        parts += _left(piece, index, stretches)
    return tuple(sorted(parts, key=lambda part: part.piece.start))


def _near(parts: tuple[_Part, ...], start: int, stop: int) -> tuple[_Part, ...]:
    """Those of the parts that may have a frame from start to stop; they are in order, and apart.

    Looked for, and not gone through: of a card of a hundred thousand frames there may be as many.
    """
    first = bisect_right(parts, start, key=_START) - 1
    return parts[max(first, 0) : bisect_left(parts, stop, key=_START)]


def _left(piece: Piece, index: int, stretches: tuple[Stretch, ...]) -> Iterator[Left]:
    near = _near(stretches, piece.start, piece.stop)
    cuts = [each for each in near if each.meets(piece.start, piece.stop)]
    edges = [piece.start, *(edge for cut in cuts for edge in (cut.start, cut.stop)), piece.stop]
    for start, stop in list(pairwise(edges))[::2]:
        if start < stop:
            kind = Kind.SINGLE if stop - start == 1 else piece.kind
            yield Left(piece=replace(piece, start=start, stop=stop, kind=kind), index=index)


def _made(ground: Ground, pieces: tuple[Piece, ...], stretch: Stretch) -> Made:
    kind, why = _kind(ground, pieces, stretch)
    count = stretch.stop - stretch.start
    these = "this frame is a" if count == 1 else f"these {count} frames are one"
    grounds = Grounds(
        begins=PICTURES_SHOW if stretch.why else f"{USER_SAID} so",
        kind=stretch.why or f"{USER_SAID} that {these} sequence{why}",
        margin=BEYOND_DOUBT,
        begins_margin=BEYOND_DOUBT,
        said_by=Who.PICTURES if stretch.why else Who.USER,
    )
    piece = Piece(start=stretch.start, stop=stretch.stop, kind=kind)
    return Made(piece=piece, grounds=grounds, name=stretch.name)


def _kind(ground: Ground, pieces: tuple[Piece, ...], stretch: Stretch) -> tuple[Kind, str]:
    """The stretch's kind, and where it comes from.

    Where the correction leaves it open: a single for one frame; the kind of the one sequence in
    which all frames lay; else the series that accounts best for them. Where none can (the pause was
    too long, the lens was changed) it is the kind that most of them had, but no single: whoever
    joins two halves of a stack has a stack. Where all were singles it is a burst, the kind that
    claims least about its frames.
    """
    if stretch.kind is not None:
        return stretch.kind, f": {stretch.kind}"
    near = _near(pieces, stretch.start, stretch.stop)
    touched = [piece for piece in near if stretch.meets(piece.start, piece.stop)]
    if stretch.stop - stretch.start == 1:
        return Kind.SINGLE, f"{_OPEN}: one frame is a single"
    if len(touched) == 1:
        return touched[0].kind, f"{_OPEN}: {touched[0].kind} as before"
    fits = _best_series(ground, stretch)
    if fits is not None:
        return fits, f"{_OPEN}: {fits} fits best"
    had = _most_had(touched, stretch)
    if had is None:
        return Kind.BURST, f"{_OPEN}: none accounts for it, and burst claims least"
    return had, f"{_OPEN}: none accounts for it, {had} as most of it was"


def _best_series(ground: Ground, stretch: Stretch) -> Kind | None:
    runs = openings(ground, stretch.start, None)
    kind, _ = cheapest(run for run in runs if follow(ground, run, stretch.stop) is not None)
    return kind


def _most_had(touched: list[Piece], stretch: Stretch) -> Kind | None:
    had: Counter[Kind] = Counter()
    for piece in touched:
        if piece.kind is not Kind.SINGLE:
            had[piece.kind] += min(piece.stop, stretch.stop) - max(piece.start, stretch.start)
    return had.most_common(1)[0][0] if had else None


def left_words(left: Left, whole: Piece) -> str:
    """Why what is left of the piece is of its kind."""
    count, of = left.piece.stop - left.piece.start, whole.stop - whole.start
    return (
        f"{count} of the {of} frames of one {whole.kind}, the rest was cut off by the "
        "corrections file"
    )
