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
from sorter.disk.looked import Kept
from sorter.model.glance import Measured, Seen
from sorter.model.judgement import Judgement, Thumb
from sorter.model.kinds import Kind
from sorter.model.subject import Run
from sorter.pipeline.working import AHEAD, Workers, in_order
from sorter.pixels.measuring import Chain, joined, look_at
from sorter.pixels.shifts import likeness
from sorter.pixels.store import restored, stored
from sorter.pixels.threads import on_one_thread

if TYPE_CHECKING:
    from sorter.model.glance import Grey

STRETCH: Final = 12
LEAST_STRETCH: Final = 4
Told: TypeAlias = Callable[[int], None]


def judged(
    runs: Sequence[Run], workers: Workers, kept: Kept, told: Told
) -> Generator[tuple[Run, Judgement], None, None]:
    """Each run with what its pictures say, those first of which measurements are kept.

    told: of frames that are measured, or need not be. Where the caller stops, all that was measured is
    kept. No more than one series waits to be judged: a long one has more than ten megabytes.
    """
    begun: deque[Run] = deque()

    def series() -> Iterator[Series]:
        for run, found in measured:
            begun.append(run)
            yield _series(run, found)

    with (
        workers.at_work() as executor,
        closing(_measured(runs, executor, workers, kept, told)) as measured,
        closing(in_order(executor, judgement, series(), workers.jobs + 1)) as judgements,
    ):
        for found in judgements:
            yield begun.popleft(), found


def _series(run: Run, measured: Measured) -> Series:
    first = run.first
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
    runs: Sequence[Run], executor: Executor, workers: Workers, kept: Kept, told: Told
) -> Generator[tuple[Run, Measured], None, None]:
    """Each run with its measurements: those that are kept, then those that have to be made."""
    missing = []
    for run in runs:
        data = kept.get(run.key)
        found = None if data is None else restored(data)
        if found is None:
            missing.append(run)
        else:
            told(len(run.frames))
            yield run, found
    yield from _measured_anew(missing, executor, workers, kept, told)


def _measured_anew(
    runs: Sequence[Run], executor: Executor, workers: Workers, kept: Kept, told: Told
) -> Generator[tuple[Run, Measured], None, None]:
    """The stretches of all runs are one stream, so that no worker waits for the end of a stack."""
    frames = sum(len(run.frames) for run in runs)
    length = max(LEAST_STRETCH, min(STRETCH, frames // (workers.jobs * AHEAD * 2)))
    cut = (part for run in runs for part in _parts(run, length))
    with closing(in_order(executor, look_at, cut, workers.jobs * AHEAD)) as stretches:
        for run in runs:
            chain = Chain()
            for part in _parts(run, length):
                joined(chain, next(stretches))
                told(len(part))
            yield run, _as_kept(run, chain.measured, kept)


def _parts(run: Run, length: int) -> Iterator[tuple[Seen, ...]]:
    frames = run.frames
    yield from (frames[start : start + length] for start in range(0, len(frames), length))


def _as_kept(run: Run, measured: Measured, kept: Kept) -> Measured:
    """What comes out of the store is what the rules see, the first time too."""
    if not run.key:
        return measured
    data = stored(measured)
    kept.put(run.key, data)
    return restored(data) or measured


# ---- pairs -------------------------------------------------------------------------------------


@on_one_thread
def likenesses(pairs: Sequence[tuple[Thumb, Thumb]]) -> tuple[float, ...]:
    """How like the small pictures of each pair are (-1 to 1)."""
    return tuple(likeness(_grey(one), _grey(two)) for one, two in pairs)


def _grey(thumb: Thumb) -> Grey:
    return np.frombuffer(thumb.data, np.uint8).reshape(thumb.rows, thumb.columns)
