"""What the pictures suggest, as corrections of a card and as regroupings of a shoot."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from sorter.model.change import Regrouping
from sorter.model.correction import PICTURES_SHOW, Correction
from sorter.model.finding import ProposedSequence
from sorter.model.kinds import Who
from sorter.model.subject import Subject


class Suggested:
    """A frame is suggested once, and none of a sequence of which the user said what it is."""

    def __init__(self) -> None:
        self.corrections: list[Correction] = []
        self.regroupings: list[Regrouping] = []
        self._taken: set[tuple[int, int]] = set()

    def add(self, found: Iterable[ProposedSequence], owners: Sequence[Subject]) -> None:
        """The pieces of a series of frames. owners: of each frame, the sequence that it is in."""
        each_once = [next(same) for _, same in groupby(owners, lambda subject: subject.number)]
        paths = [path for subject in each_once for path in subject.paths]
        numbers = [number for subject in each_once for number in subject.numbers]
        places = [(each.number, n) for each in each_once for n in range(len(each.paths))]
        for proposed in found:
            span = slice(proposed.first, proposed.last + 1)
            if self._taken.isdisjoint(places[span]) and not any(o.is_known for o in owners[span]):
                self._taken.update(places[span])
                self._add(proposed, paths, numbers[span])

    def _add(
        self, proposed: ProposedSequence, paths: Sequence[str], numbers: Sequence[int]
    ) -> None:
        first, last, why = paths[proposed.first], paths[proposed.last], proposed.grounds
        self.corrections.append(
            Correction(first=first, last=last, kind=str(proposed.kind), why=why)
        )
        if numbers:
            self.regroupings.append(
                Regrouping(
                    frames=tuple(numbers),
                    kind=proposed.kind,
                    grounds=f"{why}; begins here: {PICTURES_SHOW}",
                    said_by=Who.PICTURES,
                )
            )
