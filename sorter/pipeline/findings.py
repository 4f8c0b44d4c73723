"""Sequences to findings: what was judged before comes out of its store, all else is looked at."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import replace

from sorter.checking.neighbours import markers_in, thumbs_of, to_compare, with_attempts
from sorter.checking.suggesting import Suggested
from sorter.disk.looked import Kept
from sorter.model.finding import Look
from sorter.model.glance import Seen
from sorter.model.judgement import Judgement
from sorter.model.subject import Checked, Run, Subject
from sorter.pipeline.scanning import Tick
from sorter.pipeline.wishes import Counted
from sorter.pipeline.working import Workers
from sorter.pixels.store import FORM
from sorter.writing import judgements


def findings(subjects: Sequence[Subject], workers: Workers, looking: Tick, kept: Kept) -> Checked:
    """What the pictures of these sequences say. looking: in frames."""
    runs = list(_runs(subjects))
    counted = Counted(looking, sum(len(each.frames) for each in subjects))
    found = _judged(runs, workers, counted, kept)
    judged = {
        run.first.number: _numbered(found[index], run.first.number)
        for index, run in enumerate(runs)
        if not run.first.is_lone
    }
    likeness = _likeness(runs, subjects, judged, kept)
    suggested = _suggested(runs, found, judged, subjects)
    looks: dict[int, Look] = {}
    for index, run in enumerate(runs):
        looks |= _looks(run, found[index].look)
    return Checked(
        checks=tuple(with_attempts(subjects, judged, likeness)),
        suggested=tuple(suggested.corrections),
        regroupings=tuple(suggested.regroupings),
        looks=looks,
    )


def _runs(subjects: Iterable[Subject]) -> Iterator[Run]:
    """Each sequence by itself; lone frames of one body that follow each other together."""
    run: list[Subject] = []
    for subject in subjects:
        if run and not (subject.is_lone and run[-1].body == subject.body):
            yield _run(run)
            run = []
        if subject.is_lone:
            run.append(subject)
        else:
            yield _run([subject])
    if run:
        yield _run(run)


def _run(subjects: Sequence[Subject]) -> Run:
    return Run(
        subjects=tuple(subjects),
        key=_key([frame for subject in subjects for frame in subject.frames]),
    )


def _key(frames: Sequence[Seen]) -> str:
    """One text for these contents in this order; empty where they are not known."""
    if not all(frame.key for frame in frames):
        return ""
    hashed = hashlib.sha256(f"{FORM}\n".encode())
    for frame in frames:
        turn = frame.sights[0].orientation if frame.sights else 0
        hashed.update(f"{turn} {frame.key}\n".encode())
    return hashed.hexdigest()


# ---- judgements --------------------------------------------------------------------------------


def _judged(
    runs: Sequence[Run], workers: Workers, counted: Counted, kept: Kept
) -> dict[int, Judgement]:
    """The judgement on each run, by its index."""
    found, missing = {}, {}
    for index, run in enumerate(runs):
        data = kept.get(judgements.key_of(run))
        judgement = None if data is None else judgements.restored(data)
        if judgement is None:
            missing[run.first.number] = index
        else:
            kept.use(run.key)
            counted.add(len(run.frames))
            found[index] = judgement
    if missing:
        # Imported here: a check that finds all judged has no need of NumPy, nor of what decodes.
        from sorter.pipeline.looking import judged  # noqa: PLC0415

        looked = judged([runs[n] for n in missing.values()], workers, kept, counted.add)
        with closing(looked):
            for run, judgement in looked:
                found[missing[run.first.number]] = _as_kept(run, judgement, kept)
    return found


def _as_kept(run: Run, judgement: Judgement, kept: Kept) -> Judgement:
    kept.put(judgements.key_of(run), judgements.stored(judgement))
    return judgement


def _numbered(judgement: Judgement, number: int) -> Judgement:
    check = judgement.check
    return replace(judgement, check=check and replace(check, sequence=number))


def _likeness(
    runs: Sequence[Run], subjects: Sequence[Subject], judged: Mapping[int, Judgement], kept: Kept
) -> dict[tuple[int, int], float]:
    """How like the stacks are that may show one subject, by the numbers of each pair."""
    pairs = to_compare(subjects, judged)
    keys = {run.first.number: run.key for run in runs}
    key = judgements.key_of_pairs([(keys[one], keys[two]) for one, two in pairs])
    data = kept.get(key)
    known = None if data is None else judgements.restored_likeness(data, len(pairs))
    if known is None and pairs:
        from sorter.pipeline.looking import likenesses  # noqa: PLC0415  see above

        known = likenesses(list(thumbs_of(pairs, judged)))
        kept.put(key, judgements.stored_likeness(known))
    return dict(zip(pairs, known or (), strict=True))


# ---- findings ----------------------------------------------------------------------------------


def _suggested(
    runs: Sequence[Run],
    found: Mapping[int, Judgement],
    judged: Mapping[int, Judgement],
    subjects: Sequence[Subject],
) -> Suggested:
    """What the pictures say of the grouping, of sequences first and then of lone frames."""
    suggested = Suggested()
    for index, run in enumerate(runs):
        if not run.first.is_lone:
            suggested.add(found[index].pieces, run.owners)
    for index, run in enumerate(runs):
        if run.first.is_lone:
            markers = markers_in(run.subjects, found[index], judged, subjects)
            suggested.add((*found[index].pieces, *markers), run.owners)
    return suggested


def _looks(run: Run, look: Look) -> Iterator[tuple[int, Look]]:
    """The look of the run, cut by its sequences: each with its number."""
    start = 0
    for subject in run.subjects:
        own = slice(start, start + len(subject.frames))
        start = own.stop
        yield (
            subject.number,
            Look(
                use=look.use[own],
                shares=look.shares[own],
                places=look.places[own],
                sizes=look.sizes[own],
            ),
        )
