"""The last ingest taken back: copies removed, moved files put back, all else left as it is."""

from __future__ import annotations

import errno
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

from sorter.disk.shoot import Shoot
from sorter.disk.streams import Stream, digest
from sorter.model.plan import Entry
from sorter.writing.ledger import Ledger
from sorter.writing.target import stopping_clearly


@dataclass(slots=True, kw_only=True)
class Undone:
    """What became of the files.

    removed: how many copies. returned: how many moved files. stay: the paths of those that stay in
    the shoot, with the reason. kept: of those the entries that the ledger goes on to know: moved
    files, which are nowhere else. moved_within: how many files lie in the shoot where they lay before
    a regrouping; None where it was an ingest that was taken back.
    """

    removed: int = 0
    returned: int = 0
    stay: dict[str, str] = field(default_factory=dict)
    kept: set[int] = field(default_factory=set)
    moved_within: int | None = None


CHANGED = "changed since it was carried"
OCCUPIED = "another file is in its place on the card"


def only_here(
    root: Path, entries: Iterable[Entry], tick: Callable[[int], None]
) -> tuple[Entry, ...]:
    """Those of the copies whose originals are not on the card at the root any more, byte by byte."""
    return tuple(entry for entry in entries if not entry.moves and not _is_at(root, entry, tick))


def _is_at(root: Path, entry: Entry, tick: Callable[[int], None]) -> bool:
    try:
        with Stream(f"{root}/{entry.row.source}", past=True) as stream:
            if stream.size != entry.row.bytes:
                return False
            return digest(stream, tick)[1] == entry.row.sha256
    except OSError:
        return False


class Undoing:
    """Takes back the files of one ingest; each step may be cut and is then done again."""

    def __init__(self, shoot: Shoot, ledger: Ledger, root: Path) -> None:
        self._shoot = shoot
        self._ledger = ledger
        self._root = root
        self._undone = Undone()

    def undo(self, run: int, entries: Iterable[Entry], tick: Callable[[int], None]) -> Undone:
        """All files of the ingest are taken back, but for what was changed since.

        root is the card of a move. The ledger still knows them after that. Raises ShootNotWritable,
        NoRoom, what the ledger raises.
        """
        entries = list(entries)
        with stopping_clearly(self._shoot):
            self._ledger.set_state(run, "undoing")
            self._shoot.remove_unfinished()
            for entry in entries:
                self._take_back(entry)
                tick(entry.row.bytes)
            folders = {entry.row.destination.rpartition("/")[0] for entry in entries} - {""}
            self._shoot.force_folders(folders)
            self._shoot.remove_empty(folders)
        return self._undone

    def _take_back(self, entry: Entry) -> None:
        row = entry.row
        if not row.sha256 or self._shoot.size(row.destination) is None:
            return  # never came here, or was taken back before a cut
        if not self._shoot.holds(row.destination, row.bytes, row.sha256):
            self._stays(entry, CHANGED)
        elif entry.gone or (entry.moves and not self._is_on_card(entry)):
            self._return(entry)
        else:
            self._shoot.remove(row.destination)
            self._undone.removed += 1

    def _is_on_card(self, entry: Entry) -> bool:
        return _is_at(self._root, entry, lambda _: None)

    def _return(self, entry: Entry) -> None:
        """Back on the card by a rename, or by a copy that is read back before the file is removed."""
        path, source = entry.row.destination, f"{self._root}/{entry.row.source}"
        try:
            self._bring_back(entry, source)
        except FileExistsError:
            if not self._is_on_card(entry):
                self._stays(entry, OCCUPIED)
                return
            self._shoot.remove(path)
        self._undone.returned += 1

    def _bring_back(self, entry: Entry, source: str) -> None:
        try:
            self._shoot.give_back(entry.row.destination, source)
        except OSError as error:
            if error.errno != errno.EXDEV:
                raise
            self._bring_copy(entry, source)

    def _bring_copy(self, entry: Entry, source: str) -> None:
        known = (entry.row.bytes, entry.row.sha256)
        self._shoot.copy_back(entry.row.destination, source, known)
        self._shoot.remove(entry.row.destination)

    def _stays(self, entry: Entry, reason: str) -> None:
        self._undone.stay[entry.row.destination] = reason
        if entry.gone:
            self._undone.kept.add(entry.number)
