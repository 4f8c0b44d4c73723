"""The pictures of a report: of every frame a small and a large one, of every stack a trial merge."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from typing import Final

from sorter.disk.leave import Leave, leave_to_work
from sorter.disk.reported import PICTURES, ReportFolder
from sorter.model.finding import Check, Look
from sorter.model.glance import Seen
from sorter.model.kinds import STACK_KINDS
from sorter.model.report import Pictured, Trial
from sorter.model.subject import Checked, Subject
from sorter.pipeline.drawing import LEAST, Drawing, Drawn, Frame, Merge, draw
from sorter.pipeline.scanning import Tick
from sorter.pipeline.working import AHEAD, Workers, as_they_come

FORM: Final = 1
"""Grows whenever pictures are made otherwise: those of another form are made anew."""
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
class _Lot:
    """Frames that are drawn together: a stack with the merge of it, or any others."""

    frames: tuple[tuple[int, Seen], ...]
    merge: Merge | None = None


def make_pictures(
    folder: ReportFolder,
    subjects: Sequence[Subject],
    found: Checked,
    workers: Workers,
    tick: Tick,
) -> Pictures:
    """All pictures of the report are there; those that were there are not made again.

    tick: frames done, of all. Raises OSError, and what drawing raises.
    """
    checks = {each.sequence: each for each in found.checks}
    lots = list(_lots(subjects, checks, found.looks))
    with workers.at_work() as executor, leave_to_work(folder.shoot) as leave:
        tasks = list(_tasks(lots, folder, leave))
        drawn: list[Drawn] = []
        total = sum(len(lot.frames) for lot in lots)
        done = total - sum(len(task.frames) for task in tasks)
        tick(done, total)
        coming = as_they_come(executor, draw, tasks, workers.jobs * AHEAD, leave.withdraw)
        with closing(coming):
            for task, outcome in coming:
                drawn.append(outcome)
                done += len(task.frames)
                tick(done, total)
    folder.note(name for each in drawn for name in each.names)
    return _pictures(folder, lots, drawn)


# ---- what is to be drawn -----------------------------------------------------------------------


def _lots(
    subjects: Iterable[Subject], checks: Mapping[int, Check], looks: Mapping[int, Look]
) -> Iterator[_Lot]:
    """Each stack by itself, the longest first, so that none is left for the end; other frames in lots."""
    stacks: list[_Lot] = []
    others: list[tuple[int, Seen]] = []
    for subject in subjects:
        frames = tuple(zip(subject.numbers, subject.frames, strict=True))
        merge = _merge(subject, checks.get(subject.number), looks.get(subject.number))
        if merge is None:
            others += frames
        else:
            stacks.append(_Lot(frames=frames, merge=merge))
    yield from sorted(stacks, key=lambda lot: -len(lot.frames))
    for start in range(0, len(others), TOGETHER):
        yield _Lot(frames=tuple(others[start : start + TOGETHER]))


def _merge(subject: Subject, check: Check | None, look: Look | None) -> Merge | None:
    """The merge of a stack's slices that are whole and show something; None for what is no stack."""
    if check is None or look is None or not (check.is_stack or subject.kind in STACK_KINDS):
        return None
    out = {*check.dark, *check.odd, *check.unseen, *check.surplus}
    used = [n for n, size in enumerate(look.sizes) if size is not None and n + 1 not in out]
    slices = tuple(n for n in used if look.sizes[n] == look.sizes[used[0]])
    if len(slices) < LEAST:
        return None
    order = tuple(p for p in check.order if p - 1 in slices) or tuple(n + 1 for n in slices)
    return Merge(
        number=subject.number,
        key="".join(map(_key, subject.frames)),
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


def _tasks(lots: Iterable[_Lot], folder: ReportFolder, leave: Leave) -> Iterator[Drawing]:
    """What has to be drawn of each lot. Of equal frames, and of equal merges, one is drawn."""
    wanted: set[str] = set()

    def is_wanted(files: tuple[str, str]) -> bool:
        is_there = all(map(folder.has, files)) or files[0] in wanted
        wanted.add(files[0])
        return not is_there

    for lot in lots:
        merge = lot.merge if lot.merge is not None and is_wanted(lot.merge.files) else None
        frames = tuple(
            Frame(number=number, seen=seen, files=_files(seen), wanted=is_wanted(_files(seen)))
            for number, seen in lot.frames
        )
        if merge is not None or any(frame.wanted for frame in frames):
            yield Drawing(shoot=folder.shoot.root, leave=leave, frames=frames, merge=merge)


# ---- what there is -----------------------------------------------------------------------------


def _pictures(folder: ReportFolder, lots: Iterable[_Lot], drawn: Iterable[Drawn]) -> Pictures:
    """What there is for these lots, now that all is drawn that can be."""
    why = {number: text for each in drawn for number, text in each.why}
    made = {each.merge.key: each.merge for each in drawn if each.merge is not None}
    frames: dict[int, Pictured] = {}
    trials: dict[int, Trial] = {}
    names: set[str] = set()
    for lot in lots:
        for number, seen in lot.frames:
            files = _files(seen)
            if all(map(folder.has, files)):
                names.update(files)
                frames[number] = Pictured(small=f"{PICTURES}/{files[0]}")
            else:
                frames[number] = Pictured(why=why.get(number, "cannot be decoded"))
        merge = lot.merge and made.get(lot.merge.key, lot.merge)
        if merge is not None and all(map(folder.has, merge.files)):
            names.update(merge.files)
            trials[merge.number] = _trial(merge)
    return Pictures(frames=frames, trials=trials, names=frozenset(names))


def _trial(merge: Merge) -> Trial:
    picture, depth = merge.files
    return Trial(
        picture=f"{PICTURES}/{picture}",
        depth=f"{PICTURES}/{depth}",
        slices=tuple(index + 1 for index in merge.slices),
        order=merge.order,
    )
