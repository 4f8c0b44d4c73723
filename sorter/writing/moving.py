"""The card's side of a move: files taken by a rename, or removed once their copies are verified.

What leaves the card was read whole in this run, past the system's cache, and so was every copy of it
that is to exist; and all of them had one digest. What an earlier run saw counts for nothing here.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from pathlib import Path
from typing import Final, TypeAlias

from sorter.disk.card import Card
from sorter.disk.files import force_folder
from sorter.disk.shoot import remove_from_card
from sorter.model.plan import Entry, Held, State, Stays
from sorter.writing.copying import Copier, Job
from sorter.writing.notes import DIFFERS
from sorter.writing.reading import readers
from sorter.writing.target import Target, frame_of

NOTED: Final = 64
"""Frames between two notes of what is gone: of files that a cut leaves unnoted their copies are read
again."""

# Two file systems after all, or a card that lets nothing be taken: then a copy is made.
_NO_RENAME: Final = frozenset({errno.EXDEV, errno.EACCES, errno.EPERM, errno.EROFS})

_Identity: TypeAlias = tuple[int, int, int, int]
"""What tells a file from another, and from itself after a write: number, size, both stamps."""
Judged: TypeAlias = tuple[Entry, Stays | _Identity | None]
"""A file, and why it stays; or what it is, when it may leave. None: it is gone already."""


class Move:
    """Takes files off a card into the first of the targets; for one run.

    One that lies on the shoot's own file system comes by a rename, after its bytes were read and
    noted. The others are copied, and then removed from the card. lacks: as of a Carrier.
    """

    def __init__(
        self,
        card: Card,
        targets: Sequence[Target],
        copier: Copier,
        tick: Callable[[int], None],
        *,
        lacks: bool,
    ) -> None:
        self._card = card
        self._targets = targets
        self._lead = targets[0]
        self._copier = copier
        self._tick = tick
        self._lacks = lacks

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

    def take(self, entry: Entry) -> bool:
        """Whether a rename brought it to its place; else its copy is under .sorter now.

        Raises OSError where it is neither.
        """
        is_sure = self._lead.outcome.held.get(entry.number) is Held.SURE
        if is_sure and frame_of(entry) not in self._lead.halved and self._taken(entry):
            self._lead.outcome.gone.append(entry)
            return True
        self._copy_now(entry)
        return False

    def _taken(self, entry: Entry) -> bool:
        """Whether a rename brought it here; not where it is another file by now, or on another disk."""
        path = self._card.at(entry.row.source)
        about = os.lstat(path)
        if (about.st_size, about.st_mtime_ns) != (entry.row.bytes, entry.modified_ns):
            return False
        try:
            self._lead.shoot.take(path, entry.row.destination)
        except OSError as error:
            if error.errno not in _NO_RENAME:
                raise
            return False
        return True

    def _copy_now(self, entry: Entry) -> None:
        """A copy where a rename was meant to do. Raises OSError where it comes out wrong."""
        wanted = ((self._lead, entry),)
        (copied,) = self._copier.copied(Job(wanted=wanted, origin=self._card))
        copied = self._copier.checked(copied)
        if copied.reason or copied.entry.row.sha256 != entry.row.sha256:
            raise OSError(errno.EIO, copied.reason or DIFFERS, entry.row.source)
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
                judged = pool.map(
                    lambda frame: self._judged(frame, others), frames[at : at + NOTED]
                )
                self._note_gone([each for frame in judged for each in self._removed(frame)])

    def _judged(self, frame: list[Entry], others: dict[Target, dict[int, Entry]]) -> list[Judged]:
        """Which files of the frame may leave the card now."""
        here = [entry for entry in frame if not entry.gone]
        if self._keeps_all:
            return self._staying(here, Stays.SECOND)
        copies = min((self._held(entry, others) for entry in frame), default=Held.NO)
        if copies is not Held.SURE:
            return self._staying(here, Stays.MEMORY if copies else Stays.LACKING)
        return [(entry, self._own(entry)) for entry in here]

    def _staying(self, entries: list[Entry], reason: Stays) -> list[Judged]:
        """Those that an earlier run took off the card already stay nowhere."""
        return [(entry, reason) for entry in entries if self.is_on_card(entry)]

    def _held(self, entry: Entry, others: dict[Target, dict[int, Entry]]) -> Held:
        """Whether every copy that is to exist was read in this run and is as it was carried."""
        copies = [
            (self._lead, entry),
            *((each, own.get(entry.number)) for each, own in others.items()),
        ]
        return min(_held(target, copy, entry) for target, copy in copies)

    def _own(self, entry: Entry) -> Stays | _Identity | None:
        """What the card's own file is where it has the digest of its copies; else why it stays."""
        path = self._card.at(entry.row.source)
        try:
            before = os.lstat(path)
            found = self._card.measured(entry.row.source, self._tick)
            after = os.lstat(path)
        except FileNotFoundError:
            return None  # gone already, and noted now
        except OSError:
            return Stays.LOCKED
        same = _identity(before) == _identity(after) and found.sha256 == entry.row.sha256
        held = Held.of(same=same, sure=found.sure)
        if held is Held.SURE:
            return _identity(after)
        return Stays.MEMORY if held else Stays.CHANGED

    def _removed(self, frame: list[Judged]) -> Iterator[Entry]:
        """What is gone from the card now; what stays is kept, with the reason."""
        for entry, found in frame:
            stays = found if isinstance(found, Stays) else self._remove(entry, found)
            if stays is None:
                self._lead.outcome.gone.append(entry)
                yield entry
            else:
                self._lead.outcome.kept.append((entry, stays))

    def _remove(self, entry: Entry, known: _Identity | None) -> Stays | None:
        """Why the card's file is still there; None where it is gone now."""
        path = self._card.at(entry.row.source)
        try:
            if _identity(os.lstat(path)) != known:
                return Stays.CHANGED  # since it was read
            remove_from_card(path)
        except FileNotFoundError:
            return None
        except OSError:
            return Stays.LOCKED
        return None

    def _note_gone(self, gone: Iterable[Entry]) -> None:
        gone = list(gone)
        folders = {Path(self._card.at(entry.row.source)).parent for entry in gone}
        for folder in sorted(folders):
            force_folder(folder)
        if gone:
            self._lead.ledger.note(replace(entry, gone=True) for entry in gone)


def _held(target: Target, copy: Entry | None, entry: Entry) -> Held:
    if copy is None or copy.state is not State.PLACED or copy.row.sha256 != entry.row.sha256:
        return Held.NO
    try:
        return target.held(copy)
    except OSError:
        return Held.NO


def _identity(about: os.stat_result) -> _Identity:
    return about.st_ino, about.st_size, about.st_mtime_ns, about.st_ctime_ns
