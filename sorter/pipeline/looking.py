"""Series of frames measured and judged, over an executor.

The unit of measuring is a stretch of a dozen frames: few enough that all workers have some of one
long stack, and many enough that nearly every frame is held against its neighbour where both are
decoded. What comes back is a fifth of a megabyte a frame. The unit of judging is a series, of which all
measurements are needed at once: they go there (70 kB a frame), and a page of findings comes back.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import closing
from typing import TYPE_CHECKING, Final, TypeAlias

import numpy as np

from sorter.checking.judging import Series, judgement
from sorter.disk.measurements import MeasurementStore
from sorter.model.judgement import Judgement, Thumb
from sorter.model.kinds import Kind
from sorter.model.measurement import FrameSource, MeasuredSeries
from sorter.model.subject import SubjectSeries
from sorter.pipeline.working import AHEAD, Workers, in_order
from sorter.pixels.measuring import Chain, joined, measure_frames
from sorter.pixels.shifts import likeness
from sorter.pixels.store import restored, stored
from sorter.pixels.threads import on_one_thread
from sorter.pixels.views import likeness_over

if TYPE_CHECKING:
    from sorter.model.measurement import Grey

STRETCH: Final = 12
LEAST_STRETCH: Final = 4
Measuring: TypeAlias = Callable[[int], None]
Seen: TypeAlias = Callable[[SubjectSeries, MeasuredSeries], None]


def judged(
    runs: Sequence[SubjectSeries],
    workers: Workers,
    kept: MeasurementStore,
    known: Measuring,
    measured_as: Seen,
) -> Generator[tuple[SubjectSeries, Judgement], None, None]:
    """Each run with what its pictures say, those first of which measurements are kept.

    progress: of frames that are measured, or need not be. Where the caller stops, all that was measured is
    kept. No more than one series waits to be judged: a long one has more than ten megabytes. measured_as: is
    given what was measured of each.
    """
    begun: deque[SubjectSeries] = deque()

    def series() -> Iterator[Series]:
        for subject_series, found in measured:
            begun.append(subject_series)
            measured_as(subject_series, found)
            yield _series(subject_series, found)

    with (
        workers.at_work() as executor,
        closing(_measured(runs, executor, workers, kept, known)) as measured,
        closing(in_order(executor, judgement, series(), workers.jobs + 1)) as judgements,
    ):
        for found in judgements:
            yield begun.popleft(), found


def _series(series: SubjectSeries, measured: MeasuredSeries) -> Series:
    first = series.first
    if first.is_lone:
        return Series(kind=Kind.SINGLE, is_lone=True, measured=measured)
    return Series(
        kind=first.kind,
        is_lone=False,
        measured=measured,
        nearward=first.nearward,
        step_of_depth=first.step_of_depth,
    )


# ---- measuring ---------------------------------------------------------------------------------


def _measured(
    runs: Sequence[SubjectSeries],
    executor: Executor,
    workers: Workers,
    kept: MeasurementStore,
    known: Measuring,
) -> Generator[tuple[SubjectSeries, MeasuredSeries], None, None]:
    """Each run with its measurements: those that are kept, then those that have to be made."""
    missing = []
    for series in runs:
        data = kept.get(series.key)
        found = None if data is None else restored(data)
        if found is None:
            missing.append(series)
        else:
            known(len(series.frames))
            yield series, found
    yield from _measured_now(missing, executor, workers, kept, known)


def _measured_now(
    runs: Sequence[SubjectSeries],
    executor: Executor,
    workers: Workers,
    kept: MeasurementStore,
    known: Measuring,
) -> Generator[tuple[SubjectSeries, MeasuredSeries], None, None]:
    """The stretches of all runs are one stream, so that no worker waits for the end of a stack."""
    frames = sum(len(series.frames) for series in runs)
    length = max(LEAST_STRETCH, min(STRETCH, frames // (workers.jobs * AHEAD * 2)))
    cut = (part for series in runs for part in _parts(series, length))
    with closing(in_order(executor, measure_frames, cut, workers.jobs * AHEAD)) as stretches:
        for series in runs:
            chain = Chain()
            for part in _parts(series, length):
                joined(chain, next(stretches))
                known(len(part))
            yield series, _as_kept(series, chain.measured, kept)


def _parts(series: SubjectSeries, length: int) -> Iterator[tuple[FrameSource, ...]]:
    frames = series.frames
    yield from (frames[start : start + length] for start in range(0, len(frames), length))


def _as_kept(
    series: SubjectSeries, measured: MeasuredSeries, kept: MeasurementStore
) -> MeasuredSeries:
    """What comes out of the store is what the rules see, the first time too."""
    if not series.key:
        return measured
    data = stored(measured)
    kept.put(series.key, data)
    return restored(data) or measured


# ---- pairs -------------------------------------------------------------------------------------


@on_one_thread
def likenesses(pairs: Sequence[tuple[Thumb, Thumb]]) -> tuple[float, ...]:
    """How like the small pictures of each pair are (-1 to 1)."""
    return tuple(likeness(_grey(one), _grey(two)) for one, two in pairs)


@on_one_thread
def view_likenesses(
    seams: Sequence[tuple[Sequence[Grey | None], Sequence[Grey | None]]],
) -> tuple[float, ...]:
    """How like the views before and behind each seam are (-1 to 1); NaN where that is not known."""
    return tuple(likeness_over(before, after) for before, after in seams)


def _grey(thumb: Thumb) -> Grey:
    return np.frombuffer(thumb.data, np.uint8).reshape(thumb.rows, thumb.columns)
