"""Sequences to findings: what was judged before comes out of its store, all else is looked at."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import replace

from sorter.checking.neighbours import markers_in, thumbs_of, to_compare, with_attempts
from sorter.checking.suggesting import Suggested
from sorter.disk.measurements import MeasurementStore
from sorter.model.finding import FrameFindings
from sorter.model.judgement import Judgement
from sorter.model.measurement import MOST_PIXELS, FrameSource
from sorter.model.progress import CountProgress
from sorter.model.subject import Checked, Subject, SubjectSeries
from sorter.pipeline.ingest_options import SharedCount
from sorter.pipeline.views import Views
from sorter.pipeline.working import Workers
from sorter.pixels.store import FORMAT_VERSION
from sorter.writing import judgements


def findings(
    subjects: Sequence[Subject], workers: Workers, looking: CountProgress, store: MeasurementStore
) -> Checked:
    """What the pictures of these sequences say. looking: in frames."""
    all_series = list(_series(subjects))
    counted = SharedCount(looking, sum(len(each.frames) for each in subjects))
    views = Views(subjects, all_series)
    found = _judged(all_series, workers, counted, store, views)
    judged = {
        series.first.number: _numbered(found[index], series.first.number)
        for index, series in enumerate(all_series)
        if not series.first.is_lone
    }
    likeness = _likeness(all_series, subjects, judged, store)
    suggested = Suggested()
    views.suggest(suggested, store)
    _suggest(suggested, all_series, found, judged, subjects)
    frame_findings: dict[int, FrameFindings] = {}
    for index, series in enumerate(all_series):
        frame_findings |= _frame_findings(series, found[index].frame_findings)
    return Checked(
        checks=tuple(with_attempts(subjects, judged, likeness)),
        suggested=tuple(suggested.corrections),
        regroupings=tuple(suggested.regroupings),
        frame_findings=frame_findings,
    )


def _series(subjects: Iterable[Subject]) -> Iterator[SubjectSeries]:
    """Each sequence by itself; lone frames of one body that follow each other together."""
    series: list[Subject] = []
    for subject in subjects:
        if series and not (subject.is_lone and series[-1].body == subject.body):
            yield _one_series(series)
            series = []
        if subject.is_lone:
            series.append(subject)
        else:
            yield _one_series([subject])
    if series:
        yield _one_series(series)


def _one_series(subjects: Sequence[Subject]) -> SubjectSeries:
    return SubjectSeries(
        subjects=tuple(subjects),
        key=_key([frame for subject in subjects for frame in subject.frames]),
    )


def _key(frames: Sequence[FrameSource]) -> str:
    """One text for these contents in this order; empty where they are not known."""
    if not all(frame.key for frame in frames):
        return ""
    hashed = hashlib.sha256(f"{FORMAT_VERSION}\n".encode())
    for frame in frames:
        turn = frame.previews[0].orientation if frame.previews else 0
        most = "" if frame.most_pixels == MOST_PIXELS else f" {frame.most_pixels}"
        hashed.update(f"{turn} {frame.key}{most}\n".encode())
    return hashed.hexdigest()


# ---- judgements --------------------------------------------------------------------------------


def _judged(
    all_series: Sequence[SubjectSeries],
    workers: Workers,
    counted: SharedCount,
    store: MeasurementStore,
    views: Views,
) -> dict[int, Judgement]:
    """The judgement on each run, by its index. views: is given what is measured."""
    found, missing = {}, {}
    for index, series in enumerate(all_series):
        data = store.get(judgements.key_of(series))
        judgement = None if data is None else judgements.restored(data)
        if judgement is None:
            missing[series.first.number] = index
        else:
            store.use(series.key)
            counted.add(len(series.frames))
            found[index] = judgement
    if missing:
        # Imported here: a check that finds all judged has no need of NumPy, nor of what decodes.
        from sorter.pipeline.looking import judged  # noqa: PLC0415

        runs = [all_series[n] for n in missing.values()]
        looked = judged(runs, workers, store, counted.add, views.keep)
        with closing(looked):
            for series, judgement in looked:
                found[missing[series.first.number]] = _as_kept(series, judgement, store)
    return found


def _as_kept(series: SubjectSeries, judgement: Judgement, store: MeasurementStore) -> Judgement:
    store.put(judgements.key_of(series), judgements.stored(judgement))
    return judgement


def _numbered(judgement: Judgement, number: int) -> Judgement:
    check = judgement.check
    return replace(judgement, check=check and replace(check, sequence=number))


def _likeness(
    all_series: Sequence[SubjectSeries],
    subjects: Sequence[Subject],
    judged: Mapping[int, Judgement],
    store: MeasurementStore,
) -> dict[tuple[int, int], float]:
    """How like the stacks are that may show one subject, by the numbers of each pair."""
    pairs = to_compare(subjects, judged)
    keys = {series.first.number: series.key for series in all_series}
    key = judgements.key_of_pairs([(keys[one], keys[two]) for one, two in pairs])
    data = store.get(key)
    known = None if data is None else judgements.restored_likeness(data, len(pairs))
    if known is None and pairs:
        from sorter.pipeline.looking import likenesses  # noqa: PLC0415  see above

        known = likenesses(list(thumbs_of(pairs, judged)))
        store.put(key, judgements.stored_likeness(known))
    return dict(zip(pairs, known or (), strict=True))


# ---- findings ----------------------------------------------------------------------------------


def _suggest(
    suggested: Suggested,
    all_series: Sequence[SubjectSeries],
    found: Mapping[int, Judgement],
    judged: Mapping[int, Judgement],
    subjects: Sequence[Subject],
) -> None:
    """What the pictures say of the grouping, of sequences first and then of lone frames."""
    for index, series in enumerate(all_series):
        if not series.first.is_lone:
            suggested.add(found[index].proposed, series.owners)
    for index, series in enumerate(all_series):
        if series.first.is_lone:
            markers = markers_in(series.subjects, found[index], judged, subjects)
            suggested.add((*found[index].proposed, *markers), series.owners)


def _frame_findings(
    series: SubjectSeries, frame_findings: FrameFindings
) -> Iterator[tuple[int, FrameFindings]]:
    """The look of the run, cut by its sequences: each with its number."""
    start = 0
    for subject in series.subjects:
        own = slice(start, start + len(subject.frames))
        start = own.stop
        yield (
            subject.number,
            FrameFindings(
                use=frame_findings.use[own],
                shares=frame_findings.shares[own],
                places=frame_findings.places[own],
                sizes=frame_findings.sizes[own],
            ),
        )
