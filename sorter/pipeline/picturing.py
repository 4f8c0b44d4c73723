"""The pictures of a report: of every frame a small and a large one, of every stack a trial merge."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, wait
from dataclasses import dataclass, field
from threading import Event, Lock
from typing import TYPE_CHECKING, Final

from sorter.disk.reported import PICTURES, ReportFolder
from sorter.model.finding import Check, Look
from sorter.model.glance import Seen
from sorter.model.kinds import STACK_KINDS
from sorter.model.report import Pictured, Trial
from sorter.model.subject import Checked, Subject
from sorter.pipeline.scanning import Tick
from sorter.pipeline.working import Workers
from sorter.pixels.decoded import Undecodable
from sorter.pixels.drawn import GOOD, false_colour, jpeg, small
from sorter.pixels.merging import Place, TrialMerge
from sorter.pixels.reduced import COLOUR, reduced

if TYPE_CHECKING:
    from sorter.pixels.merging import Merged
    from sorter.pixels.reduced import Samples

FORM: Final = 1
"""Grows whenever pictures are made otherwise: those of another form are made anew."""
TOGETHER: Final = 12
"""Frames that are no stack that one worker takes at a time."""
LEAST: Final = 2
"""Slices that make a merge."""
_POLL_S: Final = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Pictures:
    """What was made, or was there. frames: by the frame's number. trials: by the sequence's.

    names: of every picture that belongs to the page.
    """

    frames: Mapping[int, Pictured]
    trials: Mapping[int, Trial]
    names: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Merge:
    """A trial merge to be made. slices: indexes of the frames; order: positions as colours go."""

    number: int
    name: str
    slices: tuple[int, ...]
    order: tuple[int, ...]
    places: tuple[tuple[float, float, float] | None, ...]

    @property
    def files(self) -> tuple[str, str]:
        return f"merge-{self.name}.jpg", f"depth-{self.name}.png"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    """Frames of one body of work: their numbers, where they are seen, and the merge of them, if any."""

    frames: tuple[tuple[int, Seen], ...]
    merge: _Merge | None = None


def make_pictures(
    folder: ReportFolder, subjects: Sequence[Subject], found: Checked, workers: Workers, tick: Tick
) -> Pictures:
    """All pictures of the report are there; those that were there are not made again.

    tick: frames done, of all. Raises OSError and what ReportFolder.put raises.
    """
    checks = {each.sequence: each for each in found.checks}
    tasks = list(_tasks(subjects, checks, found.looks))
    work = _Work(folder)
    total = sum(len(task.frames) for task in tasks)
    with workers.at_work() as executor:
        try:
            waiting: set[Future[None]] = {executor.submit(work.do, task) for task in tasks}
            while waiting:
                done, waiting = wait(waiting, timeout=_POLL_S)
                for each in done:
                    each.result()
                tick(work.done, total)
        finally:
            work.stop.set()
    tick(total, total)
    return work.pictures(tasks)


def _tasks(
    subjects: Iterable[Subject], checks: Mapping[int, Check], looks: Mapping[int, Look]
) -> Iterator[_Task]:
    """Each stack by itself, the longest first, so that none is left for the end; other frames in lots."""
    stacks: list[_Task] = []
    others: list[tuple[int, Seen]] = []
    for subject in subjects:
        frames = tuple(zip(subject.numbers, subject.frames, strict=True))
        merge = _merge(subject, checks.get(subject.number), looks.get(subject.number))
        if merge is None:
            others += frames
        else:
            stacks.append(_Task(frames=frames, merge=merge))
    yield from sorted(stacks, key=lambda task: -len(task.frames))
    for start in range(0, len(others), TOGETHER):
        yield _Task(frames=tuple(others[start : start + TOGETHER]))


def _merge(subject: Subject, check: Check | None, look: Look | None) -> _Merge | None:
    """The merge of a stack's slices that are whole and show something; None for what is no stack."""
    if check is None or look is None or not (check.is_stack or subject.kind in STACK_KINDS):
        return None
    out = {*check.dark, *check.odd, *check.unseen, *check.surplus}
    used = [n for n, size in enumerate(look.sizes) if size is not None and n + 1 not in out]
    slices = tuple(n for n in used if look.sizes[n] == look.sizes[used[0]])
    if len(slices) < LEAST:
        return None
    order = tuple(p for p in check.order if p - 1 in slices) or tuple(n + 1 for n in slices)
    hashed = hashlib.sha256(f"{FORM} {slices} {order}\n".encode())
    for seen in subject.frames:
        hashed.update(_key(seen).encode())
    return _Merge(
        number=subject.number,
        name=hashed.hexdigest()[:16],
        slices=slices,
        order=order,
        places=look.places,
    )


def _key(seen: Seen) -> str:
    """What a frame's pictures are made of, in sixteen digits."""
    turn = seen.sights[0].orientation if seen.sights else 0
    return hashlib.sha256(f"{FORM} {turn} {seen.key}\n".encode()).hexdigest()[:16]


def _files(seen: Seen) -> tuple[str, str]:
    return f"small-{_key(seen)}.jpg", f"large-{_key(seen)}.jpg"


@dataclass(slots=True)
class _Work:
    """What the workers share. done: frames. why: of frames without a picture."""

    folder: ReportFolder
    stop: Event = field(default_factory=Event)
    done: int = 0
    why: dict[int, str] = field(default_factory=dict)
    _lock: Lock = field(default_factory=Lock)

    def do(self, task: _Task) -> None:
        """All pictures of these frames are there."""
        import cv2  # noqa: PLC0415  slow to load, and few commands look at pictures

        cv2.setNumThreads(1)  # the workers are as many as there are to be
        merge = task.merge
        if merge is not None and self._have(merge.files):
            merge = None
        trial = TrialMerge() if merge is not None else None
        profile = b""
        for index, (number, seen) in enumerate(task.frames):
            if self.stop.is_set():
                return
            is_slice = merge is not None and index in merge.slices
            if not self._have(_files(seen)) or is_slice:
                place = merge.places[index] if merge is not None else None
                profile = self._frame(number, seen, trial if is_slice else None, place) or profile
            with self._lock:
                self.done += 1
        found = trial.merged() if trial is not None else None
        if merge is not None and found is not None and found.slices >= LEAST:
            self._merged(merge, found, profile)

    def pictures(self, tasks: Sequence[_Task]) -> Pictures:
        """What there is for these tasks, now that they are done."""
        frames: dict[int, Pictured] = {}
        trials: dict[int, Trial] = {}
        names: set[str] = set()
        for task in tasks:
            for number, seen in task.frames:
                files = _files(seen)
                if self._have(files):
                    names.update(files)
                    frames[number] = Pictured(small=f"{PICTURES}/{files[0]}")
                else:
                    frames[number] = Pictured(why=self.why.get(number, "cannot be decoded"))
            if task.merge is not None and self._have(task.merge.files):
                names.update(task.merge.files)
                lost = {n for n, (number, _) in enumerate(task.frames) if number in self.why}
                trials[task.merge.number] = _trial(task.merge, lost)
        return Pictures(frames=frames, trials=trials, names=frozenset(names))

    def _frame(
        self,
        number: int,
        seen: Seen,
        trial: TrialMerge | None,
        place: tuple[float, float, float] | None,
    ) -> bytes:
        """The frame's pictures are there, and it is a part of the merge; returns its ICC profile."""
        try:
            found = reduced(seen, COLOUR)
        except (Undecodable, OSError) as error:
            told = (
                f"cannot be read ({error.strerror})" if isinstance(error, OSError) else str(error)
            )
            with self._lock:
                self.why[number] = told
            return b""
        if not self._have(_files(seen)):
            self._drawn(_files(seen), found.samples, found.profile)
        if trial is not None:
            x, y, growth = place or (0.0, 0.0, 1.0)
            trial.add(found.samples, Place(x=x, y=y, growth=growth) if place else None)
        return found.profile

    def _drawn(self, files: tuple[str, str], samples: Samples, profile: bytes) -> None:
        little = small(samples)
        for name, each in zip(files, (little, samples), strict=True):
            self.folder.put(name, jpeg(each, profile=profile))

    def _merged(self, merge: _Merge, found: Merged, profile: bytes) -> None:
        import numpy as np  # noqa: PLC0415  see above

        rank = {position: place for place, position in enumerate(merge.order)}
        ranks = np.array([rank[index + 1] for index in merge.slices[: found.slices]])
        depth = ranks[found.depth] / max(1, len(ranks) - 1)
        picture, map_ = merge.files
        self.folder.put(picture, jpeg(found.picture, GOOD, profile))
        self.folder.put(map_, false_colour(depth, found.told))

    def _have(self, files: Iterable[str]) -> bool:
        return all(map(self.folder.has, files))


def _trial(merge: _Merge, lost: set[int]) -> Trial:
    picture, depth = merge.files
    gone = {index + 1 for index in lost}
    return Trial(
        picture=f"{PICTURES}/{picture}",
        depth=f"{PICTURES}/{depth}",
        slices=tuple(index + 1 for index in merge.slices if index not in lost),
        order=tuple(position for position in merge.order if position not in gone),
    )
