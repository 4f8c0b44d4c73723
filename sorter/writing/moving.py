"""The card's side of a move: files taken by a rename, or removed once their copies are verified.

What leaves the card was read whole in this run, past the system's cache, and so was every copy of it
that is to exist; and all of them had one digest. What an earlier run saw counts for nothing here.
"""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from pathlib import Path
from typing import Final, TypeAlias

from sorter.disk.card import Card
from sorter.disk.files import force_folder
from sorter.disk.originals import folders_below, identity
from sorter.disk.shoot import remove_from_card
from sorter.model.plan import ContentCheck, Entry, State, WhyNotRemoved
from sorter.writing.copying import Copier, Job
from sorter.writing.notes import DIFFERS
from sorter.writing.reading import readers
from sorter.writing.target import Target, Withheld, frame_of

NOTED: Final = 64
"""Frames between two notes of what is gone: of files that a cut leaves unnoted their copies are read
again."""

CHANGED: Final = "it changed on the card while it was carried"

# Two file systems after all, or a card that lets nothing be taken: then a copy is made.
_NO_RENAME: Final = frozenset({errno.EXDEV, errno.EACCES, errno.EPERM, errno.EROFS})

_Identity: TypeAlias = tuple[int, int, int, int]
"""What tells a file from another, and from itself after a write: number, size, both stamps."""
Judged: TypeAlias = tuple[Entry, WhyNotRemoved | _Identity | None]
"""A file, and why it stays; or what it is, when it may leave. None: it is gone already."""


class CardRemover:
    """Takes files off a card into the first of the targets; for one run.

    One that lies on the shoot's own file system comes by a rename, after its bytes were read and
    noted. The others are copied, and then removed from the card. lacks: as of a Carrier.
    """

    def __init__(
        self,
        card: Card,
        targets: Sequence[Target],
        copier: Copier,
        progress: Callable[[int], None],
        *,
        lacks: bool,
    ) -> None:
        self._card = card
        self._targets = targets
        self._lead = targets[0]
        self._copier = copier
        self._progress = progress
        self._lacks = lacks
        self._copies_own: frozenset[tuple[int, int]] | None = None
        self._seen: dict[int, _Identity] = {}  # what a file was before it was read where it lies

    def is_near(self, job: Job) -> bool:
        """Whether a rename will do: it is a move, and both sides lie on one file system.

        Not where a second target wants it too, which is to have its copy before the card lets go.
        """
        others = self._lacks or len(self._targets) > 1
        if others or not job.entry.moves or self._lead.failure is not None:
            return False
        with self._lead.failing():
            return self._card.device(job.entry.row.source) == self._lead.shoot.device()
        return False

    def see(self, entry: Entry) -> None:
        """The card's file is to be read now, where it lies: a rename takes only what was read."""
        with contextlib.suppress(OSError):  # reading it will say why
            self._seen[entry.number] = _identity(os.lstat(self._card.at(entry.row.source)))

    def take(self, entry: Entry) -> bool:
        """Whether a rename brought it to its place; else its copy is under .sorter now.

        Raises Withheld where the card does not give it as it was, OSError for the shoot's disk.
        """
        is_sure = self._lead.outcome.held.get(entry.number) is ContentCheck.SURE
        if is_sure and frame_of(entry) not in self._lead.halved and self._taken(entry):
            self._lead.outcome.gone.append(entry)
            return True
        self._copy_now(entry)
        return False

    def _taken(self, entry: Entry) -> bool:
        """Whether a rename brought it here; not where it is another file by now, or on another disk."""
        path = self._card.at(entry.row.source)
        try:
            is_same = _identity(os.lstat(path)) == self._seen.get(entry.number)
        except OSError:  # reading it once more will say why
            return False
        if not is_same or self._is_behind_link(entry):
            return False
        try:
            self._lead.shoot.take(path, entry.row.destination)
        except OSError as error:
            if error.errno not in _NO_RENAME:
                raise
            return False
        return True

    def _copy_now(self, entry: Entry) -> None:
        """A copy where a rename was meant to do. Raises as take does."""
        wanted = ((self._lead, entry),)
        (copied,) = self._copier.copied(Job(wanted=wanted, origin=self._card))
        copied = self._copier.checked(copied)
        if copied.reason == DIFFERS:
            raise OSError(errno.EIO, DIFFERS, entry.row.source)
        if copied.reason or copied.entry.row.sha256 != entry.row.sha256:
            raise Withheld(copied.reason or CHANGED)
        self._lead.outcome.held[entry.number] = copied.held

    def is_on_card(self, entry: Entry) -> bool:
        """Whether the card still has something at the file's path."""
        return os.path.lexists(self._card.at(entry.row.source))

    # ---- emptying the card -------------------------------------------------------------------

    def empty_card(self, leaving: frozenset[int]) -> None:
        """Of these files the card's own are removed: those of frames that are whole in every target.

        Raises CardGone.
        """
        lead, moved = self._lead, list[Entry]()
        with lead.failing():
            moved = [
                entry
                for entry in lead.ledger.entries()
                if entry.number in leaving and entry.moves and entry.state is not State.LEFT
            ]
        if lead.failure is None and any(not entry.gone for entry in moved):
            others = self._others() if not self._keeps_all else {}
            with lead.failing():
                self._release([list(frame) for _, frame in groupby(moved, frame_of)], others)

    @property
    def _keeps_all(self) -> bool:
        """Whether another copy is to exist that could not be made."""
        return self._lacks or any(target.failure for target in self._targets[1:])

    def _others(self) -> dict[Target, dict[int, Entry]]:
        """What the ledgers of the other targets know, by number."""
        found: dict[Target, dict[int, Entry]] = {}
        for target in self._targets[1:]:
            with target.failing():
                found[target] = {entry.number: entry for entry in target.ledger.entries()}
        return found

    def _release(self, frames: list[list[Entry]], others: dict[Target, dict[int, Entry]]) -> None:
        """Frame by frame: all its copies, then its own files are read, and those may go that may."""
        with readers() as pool:
            for at in range(0, len(frames), NOTED):
                # All are read before the first goes: a second name of a file changes with the first.
                judged = list(
                    pool.map(lambda frame: self._judged(frame, others), frames[at : at + NOTED])
                )
                self._note_gone([each for frame in judged for each in self._removed(frame)])

    def _judged(self, frame: list[Entry], others: dict[Target, dict[int, Entry]]) -> list[Judged]:
        """Which files of the frame may leave the card now."""
        here = [entry for entry in frame if not entry.gone]
        if self._keeps_all:
            return self._staying(here, WhyNotRemoved.BACKUP)
        copies = min((self._held(entry, others) for entry in frame), default=ContentCheck.NO)
        if copies is not ContentCheck.SURE:
            return self._staying(here, WhyNotRemoved.MEMORY if copies else WhyNotRemoved.LACKING)
        return [(entry, self._own(entry)) for entry in here]

    def _staying(self, entries: Iterable[Entry], reason: WhyNotRemoved) -> list[Judged]:
        """That they stay for this reason; but for what a run took off that was cut before it said so."""
        return [(each, reason if self.is_on_card(each) else None) for each in entries]

    def _held(self, entry: Entry, others: dict[Target, dict[int, Entry]]) -> ContentCheck:
        """Whether every copy that is to exist was read in this run and is as it was carried."""
        copies = [
            (self._lead, entry),
            *((each, own.get(entry.number)) for each, own in others.items()),
        ]
        return min(_held(target, copy, entry) for target, copy in copies)

    def _own(self, entry: Entry) -> WhyNotRemoved | _Identity | None:
        """What the card's own file is where it has the digest of its copies; else why it stays."""
        path = self._card.at(entry.row.source)
        try:
            before = os.lstat(path)
            if self._is_elsewhere(entry):
                return WhyNotRemoved.ELSEWHERE
            found = self._card.measured(entry.row.source, self._progress)
            after = os.lstat(path)
        except FileNotFoundError:
            return None
        except OSError:
            return WhyNotRemoved.LOCKED
        same = _identity(before) == _identity(after) and found.sha256 == entry.row.sha256
        held = ContentCheck.of(same=same, sure=found.sure)
        if held is ContentCheck.SURE:
            return _identity(after)
        return WhyNotRemoved.MEMORY if held else WhyNotRemoved.CHANGED

    def _removed(self, frame: list[Judged]) -> Iterator[Entry]:
        """What is to be noted as gone from the card; what stays is kept, with the reason.

        What was gone already counts for nothing that this run took off.
        """
        for entry, found in frame:
            if found is None:
                yield entry
                continue
            stays = found if isinstance(found, WhyNotRemoved) else self._remove(entry, found)
            if stays is None:
                self._lead.outcome.gone.append(entry)
                yield entry
            else:
                self._lead.outcome.kept.append((entry, stays))

    def _remove(self, entry: Entry, known: _Identity) -> WhyNotRemoved | None:
        """Why the card's file is still there; None where it is gone now."""
        path = self._card.at(entry.row.source)
        try:
            if _identity(os.lstat(path)) != known:  # or a second name of it was taken off just now
                again = self._own(entry)
                if isinstance(again, WhyNotRemoved) or again is None:
                    return again
            if self._is_elsewhere(entry):
                return WhyNotRemoved.ELSEWHERE
            remove_from_card(path)
        except FileNotFoundError:
            return None
        except OSError:
            return WhyNotRemoved.LOCKED
        return None

    def _is_elsewhere(self, entry: Entry) -> bool:
        """Whether its folder is behind a link, or a copy's own by another path: it may be the copy.

        Raises OSError.
        """
        if self._is_behind_link(entry):
            return True
        if self._copies_own is None:
            folders = (each for target in self._targets for each in folders_below(target.shoot))
            self._copies_own = frozenset(folders)
        folder = Path(self._card.at(entry.row.source)).parent
        return identity(folder.stat()) in self._copies_own

    def _is_behind_link(self, entry: Entry) -> bool:
        try:
            self._card.refuse_links(entry.row.source)
        except OSError:
            return True
        return False

    def _note_gone(self, gone: Iterable[Entry]) -> None:
        gone = list(gone)
        folders = {Path(self._card.at(entry.row.source)).parent for entry in gone}
        for folder in sorted(folders):
            force_folder(folder)
        if gone:
            self._lead.ledger.note(replace(entry, gone=True) for entry in gone)


def _held(target: Target, copy: Entry | None, entry: Entry) -> ContentCheck:
    if copy is None or copy.state is not State.PLACED or copy.row.sha256 != entry.row.sha256:
        return ContentCheck.NO
    try:
        return target.held(copy)
    except OSError:
        return ContentCheck.NO


def _identity(about: os.stat_result) -> _Identity:
    return about.st_ino, about.st_size, about.st_mtime_ns, about.st_ctime_ns
