"""One file from the card to unfinished copies: read once, hashed and watched on the way, read back."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Final, Self, TypeGuard

from sorter.disk.card import Card
from sorter.disk.files import NewFile
from sorter.disk.shoot import Shoot
from sorter.disk.streams import Measured, Stream
from sorter.model.damage import Damage
from sorter.model.kinds import PICTURE_ROLES
from sorter.model.plan import ContentCheck, Entry
from sorter.model.progress import ByteProgress
from sorter.writing.helping import Done, Helpers, Task
from sorter.writing.integrity import IntegrityCheck
from sorter.writing.notes import DIFFERS, without_failures
from sorter.writing.passing import passed
from sorter.writing.target import Carried, Target

SMALL: Final = 1024 * 1024
"""Files of fewer bytes are small: many of them are forced to the disk at once, which needs no start."""
STOPPED: Final = "stopped"
FEWER: Final = "cannot be read to its end: it gave {count} of {size} bytes"
UNSTEADY: Final = "it gives other bytes each time it is read: try another reader or cable"
MENDED: Final = "the card gave other bytes of it when it was read first"
OTHER_BYTES: Final = "its copy in {shoot} does not hold the bytes any more that were carried"


class Unreadable(Exception):
    """The card did not give the file's bytes; the text says why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One file that is read once, for each target as its ledger knows it.

    origin: the card, or the shoot whose copy is read in its place; that copy is known to it.
    past: it is read past the system's cache.
    """

    wanted: tuple[tuple[Target, Entry], ...]
    origin: Card | Shoot
    copy: Entry | None = None
    past: bool = False

    @property
    def entry(self) -> Entry:
        """What the first of the targets knows of it."""
        return self.wanted[0][1]

    @property
    def path(self) -> str:
        """Where the file is, below its origin."""
        return self.entry.row.source if self.copy is None else self.copy.row.destination

    def opened(self) -> Stream:
        """The file, to be read from its first byte on. Raises OSError, CardGone."""
        return self.origin.stream(self.path, past=self.past)

    def measured(self, progress: ByteProgress) -> Measured:
        """What the file gives when it is read past the system's cache. Raises OSError, CardGone."""
        return self.origin.measured(self.path, progress)

    def expect(self) -> None:
        """Raises CardGone where it was to be read from a card, and that went away."""
        if isinstance(self.origin, Card):
            self.origin.expect()


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """What the card gave: bytes, digest, stamp, and what is to be said of it.

    sure: it came from the card itself, and not perhaps from the system's memory.
    """

    count: int
    sha256: str
    modified_ns: int
    notes: tuple[str, ...] = ()
    sure: bool = False

    def known_of(self, entry: Entry, late: str = "") -> Entry:
        """The entry with all that reading told of its file. late: what is said of one copy alone."""
        placement = entry.placement
        known = set(placement.row.remarks)
        before = without_failures(placement.carrying_notes)
        here = (*self.notes, *((late,) if late else ()))
        notes = dict.fromkeys((*before, *(one for one in here if one not in known)))
        row = replace(placement.row, bytes=self.count, sha256=self.sha256)
        placement = replace(placement, row=row, carrying_notes=tuple(notes))
        return replace(entry, placement=placement, modified_ns=self.modified_ns)


@dataclass(frozen=True, slots=True, kw_only=True)
class Copied:
    """What became of one file in one target: all that is known of it, and what went wrong.

    held, twice, mended: as of Carried.
    """

    target: Target
    entry: Entry
    job: Job
    reason: str = ""
    held: ContentCheck = ContentCheck.NO
    twice: ContentCheck = ContentCheck.NO
    mended: bool = False

    @property
    def carried(self) -> Carried:
        """The same for its target."""
        return Carried(
            entry=self.entry,
            reason=self.reason,
            held=self.held,
            twice=self.twice,
            mended=self.mended,
        )


class Copier:
    """Reads files, and copies them into shoots. Threads may share it.

    rereads: whether each file of a card is read a second time, past the system's cache.
    """

    def __init__(
        self, targets: Sequence[Target], progress: ByteProgress, *, rereads: bool = False
    ) -> None:
        self._targets = targets
        self._progress = progress
        self._rereads = rereads
        self._stopped = threading.Event()
        self._helpers = Helpers()

    def stop(self) -> None:
        """What is being read ends at its next block."""
        self._stopped.set()

    def prepare(self, count: int) -> None:
        """So many other processes are on their way to help."""
        self._helpers.start(count)

    def close(self) -> None:
        """Lets go of what helped; when no thread is at work any more."""
        self._helpers.close()

    def copied(self, job: Job) -> tuple[Copied, ...]:
        """The bytes stand in an unfinished file of each target, on their way to the disk.

        Of a target that fails meanwhile the copy counts for nothing. Raises CardGone.
        """
        with ExitStack() as open_files:
            outlets = [open_files.enter_context(_Outlet(*each)) for each in job.wanted]
            try:
                read = self._passed_on(job, outlets)
            except Unreadable as reason:
                return _unread(job, str(reason))
            return tuple(outlet.finished(read, job) for outlet in outlets)

    def copied_together(self, jobs: Sequence[Job]) -> list[Copied]:
        """Small files, each copied as `copied` does it, by another process where that can."""
        if any(target.failure for target in self._targets):  # copied knows whom to leave out
            return [copied for job in jobs for copied in self.copied(job)]
        known = self._helpers.copied([_task(job) for job in jobs])
        return [
            copied
            for job, done in zip(jobs, known, strict=True)
            for copied in (self.copied(job) if done is None else self._helped(job, done))
        ]

    def _helped(self, job: Job, done: Done) -> tuple[Copied, ...]:
        if job.copy is not None and done.sha256 != job.copy.row.sha256:
            return self.copied(job)  # which says what is wrong with it
        self._progress(done.count)
        notes = (Damage(done.verdict),) if done.verdict else ()
        read = Read(count=done.count, sha256=done.sha256, modified_ns=done.modified_ns, notes=notes)
        return tuple(
            Copied(target=target, entry=read.known_of(entry, late), job=job)
            for (target, entry), late in zip(job.wanted, done.late, strict=True)
        )

    def checked_together(self, copies: Sequence[Copied]) -> list[Copied]:
        """Copies that are on the disk, read back as `checked` does it, by another process."""
        paths = [each.target.unfinished(each.entry) for each in copies]
        known = self._helpers.measured(paths)
        return [
            replace(each, held=ContentCheck.of(same=True, sure=found.sure))
            if not each.reason and _is_as_known(found, each.entry)
            else self.checked(each, forced=True)
            for each, found in zip(copies, known, strict=True)
        ]

    def checked(self, copied: Copied, *, forced: bool = False) -> Copied:
        """The copy is forced to the disk, unless it was, and reads back as what the card gave.

        One that differs is made once more. Raises CardGone.
        """
        target = copied.target
        if copied.reason or target.failure is not None:
            return copied
        with target.failing():
            if held := target.is_on_disk(copied.entry, forced=forced):
                return replace(copied, held=held)
            (again,) = self.copied(replace(copied.job, wanted=((target, copied.entry),)))
            if again.reason:
                return again
            if held := target.is_on_disk(again.entry):
                return replace(again, held=held)
        return replace(copied, reason=DIFFERS)

    def checked_on_card(self, job: Job) -> tuple[Copied, ...]:
        """The card's bytes are known, read past the cache, and stay where they are. Raises CardGone."""
        job = replace(job, past=True)
        try:
            read = self._passed_on(job, ())
        except Unreadable as reason:
            return _unread(job, str(reason))
        held = ContentCheck.of(same=True, sure=read.sure)
        return tuple(
            Copied(target=target, entry=read.known_of(entry), job=job, held=held)
            for target, entry in job.wanted
        )

    # ---- reading the card twice --------------------------------------------------------------

    def reread(
        self, copies: Sequence[Copied], again: Callable[[Job], Iterable[Copied]]
    ) -> list[Copied]:
        """Each file of a card read a second time, where that is asked for, and compared.

        Of one that is not as it was the second reading may be the true one: it is dealt with again, past
        the cache, and then has to give the same once more. Raises CardGone.
        """
        if not self._rereads:
            return list(copies)
        parts = groupby(copies, lambda each: each.entry.number)
        return [one for _, part in parts for one in self._reread(list(part), again)]

    def copied_and_checked(self, job: Job) -> list[Copied]:
        """As `copied`, and then `checked`."""
        return [self.checked(each) for each in self.copied(job)]

    def _reread(
        self, copies: list[Copied], again: Callable[[Job], Iterable[Copied]]
    ) -> list[Copied]:
        good = [each for each in copies if not each.reason and each.target.failure is None]
        if not good or not isinstance(good[0].job.origin, Card):
            return copies
        bad = [each for each in copies if each not in good]
        try:
            twice = self._given_again(good)
            if not twice:
                wanted = tuple((each.target, each.entry) for each in good)
                job = replace(good[0].job, wanted=wanted, past=True)
                good = [_with_note(each, MENDED) for each in again(job)]
                twice = self._given_again(good)
        except OSError as error:
            return [*bad, *(replace(each, reason=_in_words(error)) for each in good)]
        reason = "" if twice else UNSTEADY
        return [*bad, *(replace(e, twice=twice, reason=e.reason or reason) for e in good)]

    def _given_again(self, copies: Sequence[Copied]) -> ContentCheck:
        """Whether the card gives the same bytes now. Raises OSError, CardGone."""
        found = copies[0].job.measured(self._progress)
        same = all(_is_as_known(found, each.entry) for each in copies if not each.reason)
        return ContentCheck.of(same=same, sure=found.sure)

    # ---- reading ---------------------------------------------------------------------------

    def _passed_on(self, job: Job, outlets: Sequence[_Outlet]) -> Read:
        entry = job.entry
        watch = IntegrityCheck(
            entry.placement.container, is_picture=entry.row.role in PICTURE_ROLES
        )
        with _opened(job) as stream:
            found = passed(self._watched(_blocks(job, stream)), watch, outlets)
            if found.count != stream.size:
                raise Unreadable(FEWER.format(count=found.count, size=stream.size))
            stamp, sure = stream.modified_ns, stream.sure
        if job.copy is not None and found.sha256 != job.copy.row.sha256:
            raise Unreadable(OTHER_BYTES.format(shoot=job.origin.root))
        return Read(
            count=found.count,
            sha256=found.sha256,
            modified_ns=stamp,
            notes=(found.verdict,) if found.verdict else (),
            sure=sure,
        )

    def _watched(self, blocks: Iterable[memoryview]) -> Iterator[memoryview]:
        """The blocks, until the work is stopped or no target is left; told of when they have passed."""
        for block in blocks:
            if self._stopped.is_set() or all(each.failure for each in self._targets):
                raise Unreadable(STOPPED)
            yield block
            self._progress(len(block))


class _Outlet:
    """The unfinished file of one target while it is written; where that fails the target has failed."""

    __slots__ = ("_entry", "_file", "_target")

    def __init__(self, target: Target, entry: Entry) -> None:
        self._target = target
        self._entry = entry
        self._file: NewFile | None = None
        if target.failure is None:
            with target.failing():
                self._file = target.shoot.new_file(entry.number)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        if self._file is not None:
            with self._target.failing():
                self._file.close()

    def write(self, block: memoryview) -> None:
        """The block stands in the file, if it can be had."""
        if self._file is not None and self._target.failure is None:
            with self._target.failing():
                self._file.write(block)

    def finished(self, read: Read, job: Job) -> Copied:
        """All is written: the file has the card's time, and is on its way to the disk."""
        late = ""
        if self._file is not None and self._target.failure is None:
            with self._target.failing():
                late = self._file.stamp(read.modified_ns)
                if read.count >= SMALL:
                    self._file.start_writing()
        return Copied(target=self._target, entry=read.known_of(self._entry, late), job=job)


def _task(job: Job) -> Task:
    entry = job.entry
    return Task(
        source=job.origin.at(job.path),
        targets=tuple(target.unfinished(known) for target, known in job.wanted),
        container=entry.placement.container,
        is_picture=entry.row.role in PICTURE_ROLES,
        past=job.past,
    )


def _is_as_known(found: Measured | None, entry: Entry) -> TypeGuard[Measured]:
    known = (entry.row.bytes, entry.row.sha256)
    return found is not None and (found.count, found.sha256) == known


def _with_note(copied: Copied, note: str) -> Copied:
    placement = copied.entry.placement
    notes = tuple(dict.fromkeys((*placement.carrying_notes, note)))
    entry = replace(copied.entry, placement=replace(placement, carrying_notes=notes))
    return replace(copied, entry=entry, mended=True)


def _unread(job: Job, reason: str) -> tuple[Copied, ...]:
    return tuple(
        Copied(target=target, entry=entry, job=job, reason=reason) for target, entry in job.wanted
    )


def _opened(job: Job) -> Stream:
    try:
        return job.opened()
    except OSError as error:
        raise Unreadable(_in_words(error)) from error


def _blocks(job: Job, stream: Stream) -> Iterator[memoryview]:
    """The stream's blocks; what the card has against it is told from what other disks have."""
    blocks = stream.blocks()
    while True:
        try:
            block = next(blocks, None)
        except OSError as error:
            job.expect()
            raise Unreadable(_in_words(error)) from error
        if block is None:
            return
        yield block


def _in_words(error: OSError) -> str:
    reason = os.strerror(error.errno) if error.errno else str(error)
    return f"cannot be read: {reason}"
