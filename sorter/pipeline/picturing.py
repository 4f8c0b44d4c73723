"""The pictures of a report: of every frame a small and a large one, of every stack a trial merge."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from typing import Final

from sorter.disk.permission import Permission, permission_to_work
from sorter.disk.reported import PICTURES, ReportFolder
from sorter.model.finding import Check, FrameFindings
from sorter.model.kinds import STACK_KINDS
from sorter.model.measurement import FrameSource
from sorter.model.progress import CountProgress
from sorter.model.report import Pictured, Trial
from sorter.model.subject import Checked, Subject
from sorter.pipeline.drawing import LEAST, Drawing, Drawn, FrameDrawing, MergeDrawing, draw
from sorter.pipeline.working import AHEAD, Workers, as_they_come

FORMAT_VERSION: Final = 1
"""Grows whenever pictures are made otherwise: those of another format version are made again."""
TOGETHER: Final = 12
"""Frames that are no stack that one worker takes at a time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pictures:
    """What was made, or was there. frames: by the frame's number. trials: by the sequence's.

    names: of every picture that belongs to the page.
    """

    frames: Mapping[int, Pictured]
    trials: Mapping[int, Trial]
    names: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Batch:
    """Frames that are drawn together: a stack with the merge of it, or any others."""

    frames: tuple[tuple[int, FrameSource], ...]
    merge: MergeDrawing | None = None


def make_pictures(
    folder: ReportFolder,
    subjects: Sequence[Subject],
    found: Checked,
    workers: Workers,
    progress: CountProgress,
) -> Pictures:
    """All pictures of the report are there; those that were there are not made again.

    progress: frames done, of all. Raises OSError, and what drawing raises.
    """
    checks = {each.sequence: each for each in found.checks}
    batches = list(_batches(subjects, checks, found.frame_findings))
    with workers.at_work() as executor, permission_to_work(folder.shoot) as permission:
        tasks = list(_tasks(batches, folder, permission))
        drawn: list[Drawn] = []
        total = sum(len(batch.frames) for batch in batches)
        done = total - sum(len(task.frames) for task in tasks)
        progress(done, total)
        coming = as_they_come(executor, draw, tasks, workers.jobs * AHEAD, permission.withdraw)
        with closing(coming):
            for task, outcome in coming:
                drawn.append(outcome)
                done += len(task.frames)
                progress(done, total)
    folder.note(name for each in drawn for name in each.names)
    return _pictures(folder, batches, drawn)


# ---- what is to be drawn -----------------------------------------------------------------------


def _batches(
    subjects: Iterable[Subject],
    checks: Mapping[int, Check],
    frame_findings: Mapping[int, FrameFindings],
) -> Iterator[_Batch]:
    """Each stack by itself, the longest first, so that none is left for the end; other frames in lots."""
    stacks: list[_Batch] = []
    others: list[tuple[int, FrameSource]] = []
    for subject in subjects:
        frames = tuple(zip(subject.numbers, subject.frames, strict=True))
        merge = _merge(subject, checks.get(subject.number), frame_findings.get(subject.number))
        if merge is None:
            others += frames
        else:
            stacks.append(_Batch(frames=frames, merge=merge))
    yield from sorted(stacks, key=lambda batch: -len(batch.frames))
    for start in range(0, len(others), TOGETHER):
        yield _Batch(frames=tuple(others[start : start + TOGETHER]))


def _merge(
    subject: Subject, check: Check | None, frame_findings: FrameFindings | None
) -> MergeDrawing | None:
    """The merge of a stack's slices that are whole and show something; None for what is no stack."""
    if (
        check is None
        or frame_findings is None
        or not (check.is_stack or subject.kind in STACK_KINDS)
    ):
        return None
    out = {*check.dark, *check.odd, *check.unseen, *check.surplus}
    used = [
        n for n, size in enumerate(frame_findings.sizes) if size is not None and n + 1 not in out
    ]
    slices = tuple(used)
    if len(slices) < LEAST:
        return None
    order = tuple(p for p in check.order if p - 1 in slices) or tuple(n + 1 for n in slices)
    return MergeDrawing(
        number=subject.number,
        key="".join(map(_key, subject.frames)),
        slices=slices,
        order=order,
        places=frame_findings.places,
        boxes=check.boxes,
    )


def _key(source: FrameSource) -> str:
    """What a frame's pictures are made of, in sixteen digits."""
    turn = source.previews[0].orientation if source.previews else 0
    return hashlib.sha256(f"{FORMAT_VERSION} {turn} {source.key}\n".encode()).hexdigest()[:16]


def _files(source: FrameSource) -> tuple[str, str]:
    return f"small-{_key(source)}.jpg", f"large-{_key(source)}.jpg"


def _tasks(
    batches: Iterable[_Batch], folder: ReportFolder, permission: Permission
) -> Iterator[Drawing]:
    """What has to be drawn of each batch. Of equal frames, and of equal merges, one is drawn."""
    wanted: set[str] = set()

    def is_wanted(files: tuple[str, str]) -> bool:
        is_there = all(map(folder.has, files)) or files[0] in wanted
        wanted.add(files[0])
        return not is_there

    for batch in batches:
        merge = batch.merge if batch.merge is not None and is_wanted(batch.merge.files) else None
        frames = tuple(
            FrameDrawing(
                number=number, source=source, files=_files(source), wanted=is_wanted(_files(source))
            )
            for number, source in batch.frames
        )
        if merge is not None or any(frame.wanted for frame in frames):
            yield Drawing(
                shoot=folder.shoot.root, permission=permission, frames=frames, merge=merge
            )


# ---- what there is -----------------------------------------------------------------------------


def _pictures(folder: ReportFolder, batches: Iterable[_Batch], drawn: Iterable[Drawn]) -> Pictures:
    """What there is for these lots, now that all is drawn that can be."""
    why = {number: text for each in drawn for number, text in each.why}
    made = {each.merge.key: each.merge for each in drawn if each.merge is not None}
    frames: dict[int, Pictured] = {}
    trials: dict[int, Trial] = {}
    names: set[str] = set()
    for batch in batches:
        for number, source in batch.frames:
            files = _files(source)
            if all(map(folder.has, files)):
                names.update(files)
                frames[number] = Pictured(small=f"{PICTURES}/{files[0]}")
            else:
                frames[number] = Pictured(why=why.get(number, "cannot be decoded"))
        merge = batch.merge and made.get(batch.merge.key, batch.merge)
        if merge is not None and all(map(folder.has, merge.files)):
            names.update(merge.files)
            trials[merge.number] = _trial(merge)
    return Pictures(frames=frames, trials=trials, names=frozenset(names))


def _trial(merge: MergeDrawing) -> Trial:
    picture, depth = merge.files
    return Trial(
        picture=f"{PICTURES}/{picture}",
        depth=f"{PICTURES}/{depth}",
        slices=tuple(index + 1 for index in merge.slices),
        order=merge.order,
    )
