"""The card's side of a move: files taken by a rename, or removed once their copies are verified."""

from __future__ import annotations

import errno
import os
from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby
from pathlib import Path
from typing import Final

from sorter.disk.card import Card
from sorter.disk.files import force_folder
from sorter.disk.shoot import remove_from_card
from sorter.model.plan import Entry, State
from sorter.writing.copying import Copier, Job
from sorter.writing.notes import DIFFERS
from sorter.writing.target import Target, frame_of

# Two file systems after all, or a card that lets nothing be taken: then a copy is made.
_NO_RENAME: Final = frozenset({errno.EXDEV, errno.EACCES, errno.EPERM, errno.EROFS})


class Move:
    """Takes files off a card into the first of the targets; for one run.

    One that lies on the shoot's own file system comes by a rename, after its bytes were read and
    noted. The others are copied, and then removed from the card.
    """

    def __init__(self, card: Card, targets: Sequence[Target], copier: Copier) -> None:
        self._card = card
        self._targets = targets
        self._lead = targets[0]
        self._copier = copier

    def is_near(self, job: Job) -> bool:
        """Whether a rename will do: it is a move, and both sides lie on one file system.

        Not where a second target wants it too, which is to have its copy before the card lets go.
        """
        if len(self._targets) > 1 or not job.entry.moves or self._lead.failure is not None:
            return False
        with self._lead.failing():
            return self._card.device(job.entry.row.source) == self._lead.shoot.device()
        return False

    def take(self, entry: Entry) -> bool:
        """Whether a rename brought it to its place; else its copy is under .sorter now.

        Raises OSError where it is neither.
        """
        if frame_of(entry) not in self._lead.halved and self._taken(entry):
            return True
        self._copy_now(entry)
        return False

    def _taken(self, entry: Entry) -> bool:
        """Whether a rename brought it here; not where the two are different disks after all."""
        try:
            self._lead.shoot.take(self._card.at(entry.row.source), entry.row.destination)
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

    def is_on_card(self, entry: Entry) -> bool:
        """Whether the card still has something at the file's path."""
        return os.path.lexists(self._card.at(entry.row.source))

    def empty_card(self, runs: frozenset[int]) -> None:
        """Of frames that were moved and are whole in every target, the card's own files are removed."""
        lead, moved = self._lead, list[Entry]()
        with lead.failing():
            if any(run.moves for run in lead.ledger.runs() if run.run in runs):
                moved = [e for e in lead.ledger.entries() if e.run in runs and e.moves]
        lacking = self._lacking() if moved else frozenset()
        if not any(target.failure for target in self._targets):
            with lead.failing():
                self._release(moved, lacking)

    def _release(self, moved: list[Entry], lacking: frozenset[int]) -> None:
        gone: list[Entry] = []
        for _, frame in groupby(moved, frame_of):
            files = [entry for entry in frame if entry.state is not State.LEFT]
            if all(e.state is State.PLACED and e.number not in lacking for e in files):
                gone += [e for e in files if not e.gone and self._is_released(e)]
        if gone:
            for folder in {Path(self._card.at(e.row.source)).parent for e in gone}:
                force_folder(folder)
            self._lead.ledger.note(replace(entry, gone=True) for entry in gone)

    def _lacking(self) -> frozenset[int]:
        """The numbers of the files that another target has not got."""
        lacking: set[int] = set()
        for target in self._targets[1:]:
            with target.failing():
                entries = target.ledger.entries()
                lacking |= {e.number for e in entries if e.state is not State.PLACED}
        return frozenset(lacking)

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
            self._lead.outcome.kept.append(entry)
        return same
