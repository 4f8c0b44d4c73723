"""The last ingest taken back: copies removed, moved files put back, all else left as it is."""

from __future__ import annotations

import errno
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from sorter.disk.files import FULL
from sorter.disk.originals import Original, Originals
from sorter.disk.shoot import CardRefused, Shoot
from sorter.errors import CardNotWritable, NoRoom, SorterError
from sorter.model.operation import OperationState
from sorter.model.plan import Entry
from sorter.writing.ledger import Ledger
from sorter.writing.target import stopping_clearly


@dataclass(slots=True, kw_only=True)
class Undone:
    """What became of the files.

    removed: how many copies. returned: how many moved files. stay: the paths of those that stay in
    the shoot, with the reason. kept: of those the entries that the ledger goes on to know: moved
    files, which are nowhere else, and what could not be looked at. moved_within: how many files lie
    in the shoot where they lay before a regrouping; None where it was an ingest that was taken back.
    given_up: how many files are said to lie where they lay before an adoption; None where it was none.
    lost: the places of moved files that are not there any more, and not on the card either; kept too.
    """

    removed: int = 0
    returned: int = 0
    stay: dict[str, str] = field(default_factory=dict)
    lost: list[str] = field(default_factory=list)
    kept: set[int] = field(default_factory=set)
    moved_within: int | None = None
    given_up: int | None = None


CHANGED: Final = "changed since it was carried"
OCCUPIED: Final = "another file is in its place on the card"
BEHIND_LINK: Final = "its place on the card is behind a link, and nothing is written through links"
OURS: Final = "its place on the card is a folder of the shoot itself"
NOT_FORCED: Final = (
    "the folder cannot be looked into ({reason}), and what was taken back may lie there yet"
)

_NO_PLACE: Final = {
    Original.OTHER: OCCUPIED,
    Original.LINKED: BEHIND_LINK,
    Original.OURS: OURS,
}
"""Why a moved file cannot go back, by what the card has in its place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedCopies:
    """Copies held against their originals on the card.

    lacking: those that the card does not have byte by byte as files of its own, with what it has.
    unseen: those of which that could not be found out, by number, with the reason.
    """

    lacking: tuple[tuple[Entry, Original], ...]
    unseen: Mapping[int, str]


def compared_copies(
    shoot: Shoot, originals: Originals, entries: Iterable[Entry], progress: Callable[[int], None]
) -> ComparedCopies:
    """The copies among the entries, each original read whole. Raises CardGone.

    Those that cannot be looked at in the shoot stay there anyway, and are passed over.
    """
    lacking, unseen = [], {}
    for entry in entries:
        if entry.moves or not can_see(shoot, entry):
            continue
        try:
            found = _checked(originals, entry, progress)
        except OSError as error:
            unseen[entry.number] = _unseen_on_card(error)
        else:
            if found is not Original.THERE:
                lacking.append((entry, found))
    return ComparedCopies(lacking=tuple(lacking), unseen=unseen)


def is_here(shoot: Shoot, entry: Entry) -> bool:
    """Whether something is in the entry's place that may be the file; so where nobody can look."""
    try:
        return shoot.size(entry.row.destination) is not None
    except OSError:
        return True


def can_see(shoot: Shoot, entry: Entry) -> bool:
    """Whether the system tells what is in the entry's place."""
    try:
        shoot.size(entry.row.destination)
    except OSError:
        return False
    return True


class Undoing:
    """Takes back the files of one ingest; each step may be cut and is then done again.

    unseen: copies of which the originals could not be looked at, by number, with the reason: they stay.
    """

    def __init__(
        self, shoot: Shoot, ledger: Ledger, originals: Originals, unseen: Mapping[int, str]
    ) -> None:
        self._shoot = shoot
        self._ledger = ledger
        self._originals = originals
        self._unseen = unseen
        self._undone = Undone()
        self._left: set[str] = set()  # folders that a file went away from
        self._blind: set[str] = set()  # folders in which a file could not be looked at

    def undo(self, run: int, entries: Iterable[Entry], progress: Callable[[int], None]) -> Undone:
        """All files of the ingest are taken back, but for what was changed or cannot be looked at.

        The ledger still knows them after that. Raises ShootNotWritable, NoRoom, CardNotWritable,
        CardGone, what the ledger raises.
        """
        entries = list(entries)
        with stopping_clearly(self._shoot):
            self._ledger.set_state(run, OperationState.UNDOING)
            self._shoot.remove_unfinished()
            for entry in entries:
                self._take_back(entry)
                progress(entry.row.bytes)
            folders = {_folder(entry) for entry in entries} - {""}
            # A cut run may have taken names away in folders that nothing leaves now.
            self._force(sorted(folders - (self._blind - self._left)))
            self._shoot.remove_empty(folders)
        return self._undone

    def undo_again(self, run: int, found: Iterable[tuple[Entry, Entry]]) -> Undone:
        """The same of files that were not where they were looked for. found: each, before and now."""
        found = list(found)
        for before, _ in found:
            self._undone.stay.pop(before.row.destination, None)
            self._undone.kept.discard(before.number)
        gone = {before.row.destination for before, _ in found}
        self._undone.lost = [path for path in self._undone.lost if path not in gone]
        return self.undo(run, (now for _, now in found), lambda _: None)

    def _force(self, folders: Iterable[str]) -> None:
        """What is gone from these folders is gone for good; those that the disk does not open are named."""
        for folder in folders:
            try:
                self._shoot.force_folders([folder])
            except OSError as error:
                if self._shoot.can_list(folder):
                    raise
                self._undone.stay[f"{folder}/"] = NOT_FORCED.format(reason=error.strerror or error)

    def _take_back(self, entry: Entry) -> None:
        row = entry.row
        if not row.sha256:
            return  # never came here
        if not is_here(self._shoot, entry):
            self._miss(entry)
            return
        if entry.number in self._unseen:
            self._stays(entry, self._unseen[entry.number], known=True)
            return
        try:
            is_unchanged = self._shoot.holds(row.destination, row.bytes, row.sha256)
        except OSError as error:
            self._blind.add(_folder(entry))
            self._stays(entry, _unread(error), known=True)
            return
        if not is_unchanged:
            self._stays(entry, CHANGED, known=entry.gone)
        elif entry.moves or entry.gone:
            self._take_back_moved(entry)
        else:
            self._remove(entry)
            self._undone.removed += 1

    def _miss(self, entry: Entry) -> None:
        """It was taken back before a cut: of a move the card has it then. Else it is lost, and said so."""
        if not entry.moves:
            return
        try:
            is_back = _checked(self._originals, entry) is Original.THERE
        except OSError:
            is_back = False
        if not is_back:
            self._undone.lost.append(entry.row.destination)
            self._undone.kept.add(entry.number)

    def _take_back_moved(self, entry: Entry) -> None:
        """Back to the card; where that has it already, the shoot's is one too many."""
        try:
            found = _checked(self._originals, entry)
        except OSError as error:
            self._stays(entry, _unseen_on_card(error), known=True)
            return
        if found is Original.THERE:
            self._remove(entry)
            self._undone.returned += entry.gone
            self._undone.removed += not entry.gone
            return
        reason = _NO_PLACE.get(found) or self._brought_back(entry)
        if reason:
            self._stays(entry, reason, known=True)
        else:
            self._undone.returned += 1

    def _brought_back(self, entry: Entry) -> str:
        """Why it stays; empty where a rename brought it back, or a copy that was read back first."""
        source = self._originals.at(entry.row.source)
        if entry.modified_ns:
            self._shoot.restamp(entry.row.destination, entry.modified_ns)
        try:
            self._shoot.give_back(entry.row.destination, source)
        except FileExistsError:
            return OCCUPIED
        except CardRefused as refused:
            raise self._in_words(refused) from refused
        except OSError as error:
            if error.errno != errno.EXDEV:
                raise
            return self._copied_back(entry, source)
        self._left.add(_folder(entry))
        return ""

    def _copied_back(self, entry: Entry, source: str) -> str:
        known = (entry.row.bytes, entry.row.sha256)
        try:
            self._shoot.copy_back(entry.row.destination, source, known)
        except FileExistsError:
            return OCCUPIED
        except CardRefused as refused:
            raise self._in_words(refused) from refused
        except OSError as error:
            return _unread(error)
        self._remove(entry)
        return ""

    def _remove(self, entry: Entry) -> None:
        self._shoot.remove(entry.row.destination)
        self._left.add(_folder(entry))

    def _stays(self, entry: Entry, reason: str, *, known: bool) -> None:
        """It stays in the shoot. known: the ledger goes on to know it."""
        self._undone.stay[entry.row.destination] = reason
        if known:
            self._undone.kept.add(entry.number)

    def _in_words(self, refused: CardRefused) -> SorterError:
        """What the card's disk has against it, as a sentence that says what to do."""
        error = refused.__cause__
        root, number = self._originals.root, getattr(error, "errno", None)
        if number in FULL:
            return NoRoom(
                f"{root}: the card is full. Nothing is lost: make room on it, and run the same command "
                "again; it goes on where it stopped."
            )
        reason = getattr(error, "strerror", None) or str(error)
        return CardNotWritable(
            f"{root}: the card does not take a file back: {reason}. Nothing is lost: check the card, "
            "its lock and its permissions, and run the same command again; it goes on where it stopped."
        )


def _checked(
    originals: Originals, entry: Entry, progress: Callable[[int], None] = lambda _: None
) -> Original:
    row = entry.row
    return originals.inspect(row.source, row.destination, (row.bytes, row.sha256), progress)


def _folder(entry: Entry) -> str:
    return entry.row.destination.rpartition("/")[0]


def _unread(error: OSError) -> str:
    return f"cannot be read in the shoot: {error.strerror}"


def _unseen_on_card(error: OSError) -> str:
    return f"what the card has of it cannot be read: {error.strerror}"
