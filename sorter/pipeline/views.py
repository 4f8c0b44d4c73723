"""The views of frames that may be of one exposure set, held against each other seam by seam."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from sorter.checking.exposures import Row, Shot, rows, seams, sets_in
from sorter.checking.suggesting import Suggested
from sorter.disk.measurements import MeasurementStore
from sorter.model.finding import ProposedSequence
from sorter.model.subject import Subject, SubjectSeries
from sorter.writing import judgements

if TYPE_CHECKING:
    from sorter.model.measurement import Grey, MeasuredSeries

BESIDE = 2
"""Frames on either side of a seam: where the exposures of neighbours lie far apart, others do less."""


class Views:
    """The small pictures that are asked for, as they are measured; and what follows from them.

    They come out of the store where nothing was measured now. What of a picture is in neither is not known.
    """

    def __init__(self, subjects: Sequence[Subject], all_series: Sequence[SubjectSeries]) -> None:
        self._rows = rows(subjects)
        self._seams = [(n, at) for n, row in enumerate(self._rows) for at in seams(row)]
        self._wanted = {_name(shot) for n, at in self._seams for shot in _around(self._rows[n], at)}
        numbers = {number for number, _ in self._wanted}
        self._series = {
            each.number: series
            for series in all_series
            for each in series.subjects
            if each.number in numbers
        }
        self._seen: dict[tuple[int, int], Grey] = {}

    def keep(self, series: SubjectSeries, measured: MeasuredSeries) -> None:
        """What is wanted of these frames is kept until it is asked for."""
        names = [(each.number, n) for each in series.subjects for n in range(len(each.frames))]
        for name, found in zip(names, measured.measurements, strict=True):
            if name in self._wanted and found is not None:
                self._seen[name] = found.thumb

    def suggest(self, suggested: Suggested, store: MeasurementStore) -> None:
        """Adds how exposure sets are to be cut and joined."""
        likeness: dict[int, dict[int, float]] = {}
        for (number, at), like in zip(self._seams, self._likenesses(store), strict=True):
            likeness.setdefault(number, {})[at] = like
        for number, own in likeness.items():
            row = self._rows[number]
            whole = {shot.subject.number: shot.subject for shot in row}.values()
            owners = [subject for subject in whole for _ in subject.frames]
            suggested.add(_moved(sets_in(row, own), row[0].index), owners)

    def _likenesses(self, store: MeasurementStore) -> tuple[float, ...]:
        """At each seam, out of the store where the same frames were asked about before."""
        asked = [(self._rows[number], at) for number, at in self._seams]
        key = judgements.key_of_views([_key(row, at) for row, at in asked])
        data = store.get(key)
        known = None if data is None else judgements.restored_likeness(data, len(asked))
        if known is not None or not asked:
            return known or ()
        from sorter.pipeline.looking import view_likenesses  # noqa: PLC0415  see findings.py

        self._restore(store)
        found = view_likenesses([self._pictures(row, at) for row, at in asked])
        store.put(key, judgements.stored_likeness(found))
        return found

    def _restore(self, store: MeasurementStore) -> None:
        """What was not measured now comes out of what was kept of it."""
        from sorter.pixels.store import restored  # noqa: PLC0415  see findings.py

        missing = {number for number, _ in self._wanted - self._seen.keys()}
        for series in {
            self._series[number].key: self._series[number] for number in missing
        }.values():
            data = store.get(series.key)
            measured = None if data is None else restored(data)
            if measured is not None:
                self.keep(series, measured)

    def _pictures(self, row: Row, at: int) -> tuple[list[Grey | None], list[Grey | None]]:
        before, after = row[max(0, at + 1 - BESIDE) : at + 1][::-1], row[at + 1 : at + 1 + BESIDE]
        return [self._seen.get(_name(each)) for each in before], [
            self._seen.get(_name(each)) for each in after
        ]


def _moved(found: Iterable[ProposedSequence], by: int) -> Iterator[ProposedSequence]:
    """The same where so many frames stand before the row."""
    for each in found:
        yield replace(each, first=each.first + by, last=each.last + by)


def _around(row: Row, at: int) -> Row:
    return row[max(0, at + 1 - BESIDE) : at + 1 + BESIDE]


def _name(shot: Shot) -> tuple[int, int]:
    return shot.subject.number, shot.index


def _key(row: Row, at: int) -> tuple[str, ...]:
    """The frames around a seam by their contents; which of them are before it, too."""
    keys = [shot.subject.frames[shot.index].key for shot in _around(row, at)]
    return (str(min(at + 1, BESIDE)), *(key.replace(" ", "+") for key in keys))
