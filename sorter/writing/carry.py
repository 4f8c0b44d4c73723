"""A plan carried out: each file copied or moved, verified, noted and placed, in that order.

For a copy: written under .sorter while it is hashed, forced to the disk, read back past the system's
cache and compared by count and digest, noted in the ledger, placed by a rename that replaces nothing.
Threads carry a file each, or many small ones with the help of other processes, and while one batch is
noted and placed the next is under way. Where there are two targets, the card's bytes are read once and
go to both; either may fail without the other.

Notes are forced to the disk for a batch of files at a time: that the last batch is in its place, and
that the next is verified, in one commit. A cut between two batches costs work and never a file: what
was only copied is copied again, what was verified is read once more and placed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import groupby
from typing import Final, Self

from sorter.disk.card import Card
from sorter.model.progress import ByteProgress
from sorter.writing.copying import SMALL, Copied, Copier, Job
from sorter.writing.moving import CardRemover
from sorter.writing.target import Target, check_any, frame_of

BATCH_FILES: Final = 256
BATCH_BYTES: Final = 128 * 1024 * 1024
"""Files, or bytes, between two notes in the ledger."""
WORKERS: Final = 3
"""Threads that each carry a file at a time. On two cores three took 3.6 s for 2 GB where two took 4.1
and four no less: one of them mostly waits for the disk. More of them only make a card seek."""
MANY: Final = 16
"""So many files that are small on the average are forced to the disk at once."""

HELPED: Final = 64
"""So many small files in a batch are copied and read back by other processes (see helping.py)."""
HANDFUL: Final = 16
"""Small files that a thread takes up at once: to hand over each alone costs as much as to copy it."""


class Carrier:
    """Carries files into one shoot, or into two; for one call of carry, in a with statement.

    targets: the shoot first, which files of a move are taken into. card: where a move takes them
    from; None where nothing is moved. lacks: another copy is to exist, and cannot be made: then
    nothing leaves the card. rereads: each file of the card is read a second time.
    """

    def __init__(
        self,
        card: Card | None,
        targets: Sequence[Target],
        progress: ByteProgress,
        *,
        lacks: bool = False,
        rereads: bool = False,
    ) -> None:
        self._targets = tuple(targets)
        self._copier = Copier(self._targets, progress, rereads=rereads)
        self._move = None
        if card is not None:
            self._move = CardRemover(card, self._targets, self._copier, progress, lacks=lacks)
        self._workers = ThreadPoolExecutor(WORKERS, thread_name_prefix="carrying")

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._halt()

    def expect(self, sizes: Iterable[int]) -> None:
        """Files of so many bytes are to come, as far as is known: what will help is on its way."""
        if _are_many(sizes, HELPED):
            self._copier.prepare(WORKERS)

    def recover(self) -> None:
        """What a stopped run noted as verified is placed. Raises as carry does."""
        for target in self._targets:
            target.recover(self._move)
        check_any(self._targets)

    def carry(self, jobs: Iterable[Job], *, leaving: frozenset[int] = frozenset()) -> None:
        """Carries all of them, in their order, and removes from the card what was to be moved.

        leaving: the numbers of the files that may leave the card now. Raises CardGone, and what the first target that
        failed has against it where all of them did: NoRoom, ShootNotWritable, LedgerDamaged. All
        that was noted stays good; the next run goes on from there.
        """
        try:
            self._carry_all(jobs)
            check_any(self._targets)
        except BaseException:
            self._halt()
            _tidy_up(self._targets)
            raise
        self._halt()
        _tidy_up(target for target in self._targets if target.failure is not None)
        if self._move:
            self._move.empty_card(leaving)
            check_any(self._targets)

    def _halt(self) -> None:
        """No thread and no helper of ours is at work any more; may be called again."""
        self._copier.stop()
        self._workers.shutdown(wait=True, cancel_futures=True)
        self._copier.close()

    def _carry_all(self, jobs: Iterable[Job]) -> None:
        """Batch by batch; while one is settled the next is copied already."""
        before: list[Future[list[Copied]]] = []
        many = False
        for batch in _batches(jobs):
            begun = self._begin(batch)
            self._settle(before, at_once=many)
            before, many = begun, _are_many(job.entry.row.bytes for job in batch)
        self._settle(before, at_once=many)
        for target in self._targets:
            if target.failure is None:
                target.flush()

    # ---- a batch ---------------------------------------------------------------------------

    def _begin(self, batch: list[Job]) -> list[Future[list[Copied]]]:
        """All files of the batch are written before the first is forced to the disk."""
        near, far = self._parted(batch)
        helped = _are_many((job.entry.row.bytes for job in far), HELPED)
        copy = self._copier.copied_together if helped else self._copied
        copies = [self._workers.submit(copy, part) for part in _handfuls(far)]
        forced = self._workers.submit(self._force, copies)
        check = self._checked_together if helped else self._checked
        checks = [self._workers.submit(check, copy, forced) for copy in copies]
        return checks + [
            self._workers.submit(self._checked_on_card, part) for part in _handfuls(near)
        ]

    def _parted(self, jobs: list[Job]) -> tuple[list[Job], list[Job]]:
        """Those that need no copy, and the others."""
        near, far = list[Job](), list[Job]()
        for job in jobs:
            (near if self._move and self._move.is_near(job) else far).append(job)
        return near, far

    def _copied(self, jobs: list[Job]) -> list[Copied]:
        return [copied for job in jobs for copied in self._copier.copied(job)]

    def _checked_on_card(self, jobs: list[Job]) -> list[Copied]:
        if self._move:
            for job in jobs:
                self._move.see(job.entry)
        seen = [copied for job in jobs for copied in self._copier.checked_on_card(job)]
        return self._copier.reread(seen, self._copier.checked_on_card)

    def _force(self, copies: list[Future[list[Copied]]]) -> frozenset[Target]:
        """Where all of them are on the disk now.

        Many small files go there together: one by one, 4,000 of 100 kB took 7 s and not 5. Large
        ones go each by itself, while the next is read.
        """
        done = [each for copy in copies for each in copy.result()]
        if not _are_many(each.entry.row.bytes for each in done):
            return frozenset()
        return frozenset(target for target in self._targets if _has_forced(target))

    def _checked(
        self, copies: Future[list[Copied]], forced: Future[frozenset[Target]]
    ) -> list[Copied]:
        # Workers take up work in its order, so that what is waited for is done or under way by now.
        done = forced.result()
        seen = [self._copier.checked(copy, forced=copy.target in done) for copy in copies.result()]
        return self._copier.reread(seen, self._copier.copied_and_checked)

    def _checked_together(
        self, copies: Future[list[Copied]], forced: Future[frozenset[Target]]
    ) -> list[Copied]:
        if all(copy.target in forced.result() for copy in copies.result()):
            seen = self._copier.checked_together(copies.result())
            return self._copier.reread(seen, self._copier.copied_and_checked)
        return self._checked(copies, forced)

    def _settle(self, begun: list[Future[list[Copied]]], *, at_once: bool) -> None:
        """All that was begun is verified, noted, placed, and noted as placed, in every target."""
        done = [each for future in begun for each in future.result()]
        copied = sorted(done, key=lambda each: each.entry.number)
        for target in self._targets:
            own = [each.carried for each in copied if each.target is target]
            target.settle(own, self._move, at_once=at_once)
        check_any(self._targets)


def _tidy_up(stopped: Iterable[Target]) -> None:
    """Nothing half-done takes room there."""
    for target in stopped:
        target.tidy_up()


def _are_many(sizes: Iterable[int], many: int = 0) -> bool:
    """Whether these are many small files: so many, or MANY."""
    sizes = list(sizes)
    return len(sizes) >= (many or MANY) and sum(sizes) < len(sizes) * SMALL


def _has_forced(target: Target) -> bool:
    if target.failure is None:
        with target.failing():
            return target.shoot.force_all()
    return False


def _batches(jobs: Iterable[Job]) -> Iterator[list[Job]]:
    """The jobs in their order; the files of one frame are never parted."""
    batch: list[Job] = []
    size = 0
    for _, group in groupby(jobs, lambda job: frame_of(job.entry)):
        frame = list(group)
        batch += frame
        size += sum(job.entry.row.bytes for job in frame)
        if len(batch) >= BATCH_FILES or size >= BATCH_BYTES:
            yield batch
            batch, size = [], 0
    yield batch


def _handfuls(jobs: list[Job]) -> Iterator[list[Job]]:
    """What a thread takes up at once: one large file, or some small ones."""
    handful: list[Job] = []
    size = 0
    for job in jobs:
        handful.append(job)
        size += job.entry.row.bytes
        if len(handful) >= HANDFUL or size >= SMALL:
            yield handful
            handful, size = [], 0
    if handful:
        yield handful
