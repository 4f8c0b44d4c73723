"""What the pictures suggest, as corrections of a card and as regroupings of a shoot."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from sorter.model.correction import PICTURES_SHOW, Correction
from sorter.model.finding import Piece
from sorter.model.kinds import Who
from sorter.model.regrouping import Regrouping
from sorter.model.subject import Subject


class Suggested:
    """A frame is suggested once, and none of a sequence of which the user said what it is."""

    def __init__(self) -> None:
        self.corrections: list[Correction] = []
        self.regroupings: list[Regrouping] = []

    def add(self, found: Iterable[Piece], owners: Sequence[Subject]) -> None:
        """The pieces of a series of frames. owners: of each frame, the sequence that it is in."""
        each_once = [next(same) for _, same in groupby(owners, lambda subject: subject.number)]
        paths = [path for subject in each_once for path in subject.paths]
        numbers = [number for subject in each_once for number in subject.numbers]
        taken: set[int] = set()
        for piece in found:
            span = range(piece.first, piece.last + 1)
            if taken.isdisjoint(span) and not any(owners[index].is_said for index in span):
                taken.update(span)
                self._add(piece, paths, numbers[piece.first : piece.last + 1])

    def _add(self, piece: Piece, paths: Sequence[str], numbers: Sequence[int]) -> None:
        first, last, why = paths[piece.first], paths[piece.last], piece.grounds
        self.corrections.append(Correction(first=first, last=last, kind=str(piece.kind), why=why))
        if numbers:
            self.regroupings.append(
                Regrouping(
                    frames=tuple(numbers),
                    kind=piece.kind,
                    grounds=f"{why}; begins here: {PICTURES_SHOW}",
                    said_by=Who.PICTURES,
                )
            )
