"""A plan carried out: each file copied or moved, verified, noted and placed, in that order.

For a copy: written under .sorter while it is hashed, forced to the disk, read back past the system's
cache and compared by count and digest, noted in the ledger, placed by a rename that replaces nothing.
Threads carry a file each, and while one batch is noted and placed the next is under way.

Notes are forced to the disk for a batch of files at a time. A cut costs the work on the files of two
batches at most, which are then carried again, and never a file.
"""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from itertools import groupby
from pathlib import Path
from typing import Final, TypeAlias

from sorter.disk.card import Card
from sorter.disk.files import FULL, force_folder
from sorter.disk.shoot import UNFINISHED, Shoot, remove_from_card
from sorter.errors import NoRoom, ShootNotWritable, SorterError
from sorter.model.plan import Entry, State
from sorter.writing.copying import (
    DIFFERS,
    NOT_CARRIED,
    Copied,
    Copier,
    Tick,
    without_failures,
)
from sorter.writing.ledger import Ledger

Renaming: TypeAlias = Callable[[str, int], str]
"""Another destination for one that was taken meanwhile: the path, and the number of the try."""

BATCH_FILES: Final = 256
BATCH_BYTES: Final = 128 * 1024 * 1024
"""Files, or bytes, between two notes in the ledger."""
WORKERS: Final = 3
"""Threads that each carry a file at a time. On two cores three took 3.6 s for 2 GB where two took 4.1
and four no less: one of them mostly waits for the disk. More of them only make a card seek."""
MANY: Final = 16
SMALL: Final = 1024 * 1024
"""So many files that are smaller than so many bytes on the average are forced to the disk at once."""
# Two file systems after all, or a card that lets nothing be taken: then a copy is made.
_NO_RENAME: Final = frozenset({errno.EXDEV, errno.EACCES, errno.EPERM, errno.EROFS})


@dataclass(slots=True, kw_only=True)
class Outcome:
    """What became of the files of one run.

    placed: under their final names, verified. differing: not carried, for their copies came out
    wrong. kept: moved files that stay on the card too.
    """

    placed: list[Entry] = field(default_factory=list)
    differing: list[Entry] = field(default_factory=list)
    kept: list[Entry] = field(default_factory=list)


class Carrier:
    """Carries entries of one card into one shoot; for one call of carry."""

    def __init__(
        self, card: Card, shoot: Shoot, ledger: Ledger, renaming: Renaming, tick: Tick
    ) -> None:
        self._card = card
        self._shoot = shoot
        self._ledger = ledger
        self._renaming = renaming
        self._copier = Copier(card, shoot, tick)
        self._workers = ThreadPoolExecutor(WORKERS, thread_name_prefix="carrying")
        self._placed: list[Entry] = []  # under their final names, and not noted yet
        self._halved: set[int] = set()  # frames of which a file could not be read
        self.outcome = Outcome()

    def carry(self, entries: Iterable[Entry], *, runs: frozenset[int]) -> Outcome:
        """Carries all of them, in their order, and removes from the card what was to be moved.

        runs: the ingests that these entries are of. Raises NoRoom, ShootNotWritable,
        CardGone and what the ledger raises. All that was noted stays good; the next run goes on
        from there.
        """
        with stopping_clearly(self._shoot):
            try:
                self._carry_all(entries)
            except BaseException:
                self._stop()
                self._tidy_up()
                raise
            self._stop()
            self._empty_card(runs)
        return self.outcome

    def _stop(self) -> None:
        """No thread of ours is at work any more."""
        self._copier.stop()
        self._workers.shutdown(wait=True, cancel_futures=True)

    def _tidy_up(self) -> None:
        """Parts of files, and copies that were not noted yet, take no room while we are stopped.

        What is in its place is noted, now that there may be room for that.
        """
        with contextlib.suppress(OSError, SorterError):
            entries = self._ledger.entries()
            kept = frozenset(e.number for e in entries if e.state is State.VERIFIED)
            self._shoot.remove_unfinished(keep=kept)
            self._note_placed()

    def _carry_all(self, entries: Iterable[Entry]) -> None:
        """Batch by batch; while one is settled the next is copied already."""
        before: list[Future[Copied]] = []
        for batch in _batches(entries):
            begun = self._begin(batch)
            self._settle(before)
            before = begun
        self._settle(before)

    # ---- one file --------------------------------------------------------------------------

    def _begin(self, batch: list[Entry]) -> list[Future[Copied]]:
        """All files of the batch are written before the first is forced to the disk."""
        copies = [self._read(entry) for entry in batch]
        written = [copy for near, copy in copies if not near]
        forced = self._workers.submit(self._force, written)
        return [
            copy if near else self._workers.submit(self._checked, copy, forced)
            for near, copy in copies
        ]

    def _force(self, copies: list[Future[Copied]]) -> bool:
        """Whether all of them are on the disk now.

        Many small files go there together: one by one, 4,000 of 100 kB took 7 s and not 5. Large
        ones go each by itself, while the next is read.
        """
        sizes = [copy.result().entry.row.bytes for copy in copies]
        return len(sizes) >= MANY and sum(sizes) < len(sizes) * SMALL and self._shoot.force_all()

    def _read(self, entry: Entry) -> tuple[bool, Future[Copied]]:
        """Whether the file needs no copy, and its reading."""
        near = self._is_near(entry)
        work = self._copier.looked_at if near else self._copier.copied
        return near, self._workers.submit(work, entry)

    def _checked(self, copy: Future[Copied], forced: Future[bool]) -> Copied:
        # Workers take up work in its order, so that what is waited for is done or under way by now.
        return self._copier.checked(copy.result(), forced=forced.result())

    def _is_near(self, entry: Entry) -> bool:
        """Whether a rename will do: it is a move, and both sides lie on one file system."""
        return entry.moves and self._card.device(entry.row.source) == self._shoot.device()

    def _fail(self, entry: Entry, reason: str) -> None:
        """Noted as failed, its reason said; the next run tries it again."""
        noted = failed(entry, reason)
        self._shoot.remove(self._shoot.unfinished(entry.number))
        self._ledger.note([noted])
        self._halved.add(_frame_of(entry))
        if reason == DIFFERS:
            self.outcome.differing.append(noted)

    # ---- a batch ---------------------------------------------------------------------------

    def _settle(self, begun: list[Future[Copied]]) -> None:
        """All that was begun is verified, noted, placed, and noted as placed."""
        copied = [future.result() for future in begun]
        for each in copied:
            if each.reason:
                self._fail(each.entry, each.reason)
        good = [each.entry for each in copied if not each.reason]
        if not good:
            return
        verified = [replace(entry, state=State.VERIFIED) for entry in good]
        self._shoot.force_folders([UNFINISHED])
        self._ledger.note(verified)
        for entry in verified:
            self._placed.append(self.place(entry))
        self._note_placed()

    def _note_placed(self) -> None:
        self._shoot.force_folders(_folders(self._placed))
        self._ledger.note(self._placed)
        self.outcome.placed += self._placed
        self._placed = []

    def place(self, entry: Entry) -> Entry:
        """The verified file under its final name, or the next free one if something came there.

        Raises OSError for the shoot's disk.
        """
        wanted, tries = entry, 1
        while True:
            try:
                gone = self._bring(entry)
            except FileExistsError:
                tries += 1
                entry = self._renamed(wanted, tries)
                self._ledger.note([entry])
            else:
                return replace(entry, state=State.PLACED, gone=gone)

    def _bring(self, entry: Entry) -> bool:
        """Out of .sorter by a rename, or from the card by one; whether it is gone from the card."""
        path = entry.row.destination
        if self._shoot.size(self._shoot.unfinished(entry.number)) is None:
            if _frame_of(entry) not in self._halved and self._taken(entry):
                return True
            self._copy_now(entry)
        self._shoot.place(entry.number, path)
        return False

    def _taken(self, entry: Entry) -> bool:
        """Whether a rename brought it here; not where the two are different disks after all."""
        try:
            self._shoot.take(self._card.at(entry.row.source), entry.row.destination)
        except OSError as error:
            if error.errno not in _NO_RENAME:
                raise
            return False
        return True

    def _copy_now(self, entry: Entry) -> None:
        """A copy where a rename was meant to do. Raises OSError where it comes out wrong."""
        copied = self._copier.checked(self._copier.copied(entry))
        if copied.reason or copied.entry.row.sha256 != entry.row.sha256:
            raise OSError(errno.EIO, copied.reason or DIFFERS, entry.row.source)

    def _renamed(self, entry: Entry, tries: int) -> Entry:
        row = entry.row
        another = self._renaming(row.destination, tries)
        name = another.rpartition("/")[2]
        said = (*entry.placement.said, f"named {name} here: another file came in between")
        placement = replace(entry.placement, row=replace(row, destination=another), said=said)
        return replace(entry, placement=placement)

    # ---- the card of a move ------------------------------------------------------------------

    def _empty_card(self, runs: frozenset[int]) -> None:
        """Of frames that were moved and are whole in the shoot, the card's own files are removed."""
        moved = [e for e in self._ledger.entries() if e.run in runs and e.moves]
        gone: list[Entry] = []
        for _, frame in groupby(moved, _frame_of):
            files = [entry for entry in frame if entry.state is not State.LEFT]
            if all(entry.state is State.PLACED for entry in files):
                gone += [e for e in files if not e.gone and self._is_released(e)]
        if gone:
            for folder in {Path(self._card.at(entry.row.source)).parent for entry in gone}:
                force_folder(folder)
            self._ledger.note(replace(entry, gone=True) for entry in gone)

    def _is_released(self, entry: Entry) -> bool:
        """Whether it is gone from the card now; not where it is another file by now, or locked."""
        path = self._card.at(entry.row.source)
        try:
            same = os.lstat(path).st_mtime_ns == entry.modified_ns
            same = same and self._card.holds(
                entry.row.source, entry.row.bytes, entry.placement.mark
            )
            if same:
                remove_from_card(path)
        except FileNotFoundError:
            return True
        except OSError:
            same = False
        if not same:
            self.outcome.kept.append(entry)
        return same

    # ---- after a cut -------------------------------------------------------------------------

    def recover(self, entries: tuple[Entry, ...]) -> None:
        """What a stopped run noted as verified is placed, or planned anew where it is not there.

        Raises as carry does.
        """
        with stopping_clearly(self._shoot):
            self._shoot.remove_unfinished(keep=frozenset(entry.number for entry in entries))
            found = [self._recovered(entry) for entry in entries]
            self._shoot.force_folders(_folders(found))
            self._ledger.note(found)
            self.outcome.placed += [entry for entry in found if entry.state is State.PLACED]

    def _recovered(self, entry: Entry) -> Entry:
        if self._shoot.size(self._shoot.unfinished(entry.number)) is not None:
            if self._copier.is_on_disk(entry):
                return self.place(entry)
        elif self._shoot.holds(entry.row.destination, entry.row.bytes, entry.row.sha256):
            gone = entry.moves and not os.path.lexists(self._card.at(entry.row.source))
            return replace(entry, state=State.PLACED, gone=gone)
        return replace(entry, state=State.PLANNED)


def failed(entry: Entry, reason: str) -> Entry:
    """The entry of a file that could not be carried, with the reason among what is said of it."""
    said = (*without_failures(entry.placement.said), f"{NOT_CARRIED}{reason}")
    row = replace(entry.row, sha256="")
    placement = replace(entry.placement, row=row, said=said)
    return replace(entry, placement=placement, state=State.FAILED)


def _batches(entries: Iterable[Entry]) -> Iterator[list[Entry]]:
    """The entries in their order; the files of one frame are never parted."""
    batch: list[Entry] = []
    for _, frame in groupby(entries, _frame_of):
        batch += frame
        size = sum(entry.row.bytes for entry in batch)
        if len(batch) >= BATCH_FILES or size >= BATCH_BYTES:
            yield batch
            batch = []
    yield batch


def _frame_of(entry: Entry) -> int:
    """Equal for the files of one frame; a file that is in none goes by itself."""
    return entry.row.frame or -entry.number


def _folders(entries: Iterable[Entry]) -> set[str]:
    return {entry.row.destination.rpartition("/")[0] for entry in entries}


@contextlib.contextmanager
def stopping_clearly(shoot: Shoot) -> Iterator[None]:
    """What the shoot's disk has against it, as a sentence that says what to do."""
    try:
        yield
    except OSError as error:
        if error.errno in FULL:
            raise NoRoom(
                f"{shoot.root}: the disk is full. Nothing is lost: make room and run the same "
                "command again; it goes on where it stopped."
            ) from error
        reason = error.strerror or str(error)
        raise ShootNotWritable(
            f"{shoot.root}: {reason}. Nothing is lost: check the disk and its permissions, and run "
            "the same command again; it goes on where it stopped."
        ) from error
