"""Files of a shoot brought to the places that a regrouping gave them, or back.

The ledger says where each is to lie before the first is moved, and keeps where each lay. So a file is
in one of two places at any time, and whoever comes after a cut knows both and goes on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Final

from sorter.disk.shoot import Shoot
from sorter.model.note import Note, Renamed, WhyRenamed
from sorter.model.plan import Entry, State
from sorter.writing.ledger import Ledger
from sorter.writing.target import Renaming, stopping_clearly

GONE: Final = "is not there any more"


@dataclass(slots=True, kw_only=True)
class Shifted:
    """What became of the files. moved: how many. lost: those that are in neither of their places.

    unseen: the paths of those that nobody can look at, with the reason: they lie where they lay.
    """

    moved: int = 0
    lost: list[Entry] = field(default_factory=list)
    unseen: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Way:
    """One file's way: from `before` to where the ledger says that it lies."""

    entry: Entry
    before: str

    @property
    def wanted(self) -> str:
        return self.entry.row.destination


class Shifting:
    """Moves what one regrouping gave other places; each step may be cut and is then done again.

    back: it is taken back. renaming: another destination where something came to be in one.
    """

    def __init__(
        self, shoot: Shoot, ledger: Ledger, regrouping: int, renaming: Renaming, *, back: bool
    ) -> None:
        self._shoot = shoot
        self._ledger = ledger
        self._regrouping = regrouping
        self._renaming = renaming
        self._back = back
        self._shifted = Shifted()
        self._left: set[str] = set()  # folders that a file went away from
        self._blind: set[str] = set()  # folders in which a file could not be looked at

    def shift(self, progress: Callable[[int, int], None]) -> Shifted:
        """Every file is where the ledger says, and empty folders that it left are gone.

        progress: how many of how many files. Raises ShootNotWritable, NoRoom, what the ledger raises.
        """
        ways = self._ways()
        verified = self._ledger.entries(State.VERIFIED)
        with stopping_clearly(self._shoot):
            self._shoot.remove_unfinished(keep=frozenset(entry.number for entry in verified))
            for done, way in enumerate(ways, 1):
                self._bring(way)
                progress(done, len(ways))
            left = {_folder(way.before) for way in ways}
            there = {_folder(way.wanted) for way in self._ways()}
            self._force((there | left) - (self._blind - self._left))
            self._shoot.remove_empty(left)
        return self._shifted

    def _ways(self) -> list[_Way]:
        entries = {entry.number: entry for entry in self._ledger.entries(State.PLACED)}
        found = []
        for change in self._ledger.changes(self._regrouping):
            other = (change.after if self._back else change.before).row.destination
            entry = entries.get(change.number)
            if entry is not None and other and entry.row.destination != other:
                found.append(_Way(entry=entry, before=other))
        return found

    def _force(self, folders: Iterable[str]) -> None:
        """Those that are not there hold no names: nothing came to them, or they were removed."""
        with_names = [each for each in sorted(folders) if self._shoot.has_folder(each)]
        self._shoot.force_folders(with_names)

    def _bring(self, way: _Way) -> None:
        """The file is in its place; or under another name, where something came to be there."""
        try:
            is_there = self._shoot.size(way.before) is not None
        except OSError as error:
            self._leave(way, f"cannot be looked at: {error.strerror}")
            return
        if not (is_there and self._moved(way)) and self._shoot.size(way.wanted) is None:
            self._lose(way)

    def _moved(self, way: _Way) -> bool:
        """Whether it is in a new place now; not where it went away meanwhile."""
        tries = 1
        start = way
        while True:
            try:
                self._shoot.move(way.before, way.wanted)
            except FileNotFoundError:
                return False
            except FileExistsError:
                if self._is_there(way.entry):
                    return True  # what came to its old place since is another file
                tries += 1
                way = replace(way, entry=self._renamed(start.entry, tries))
            else:
                self._shifted.moved += 1
                self._left.add(_folder(way.before))
                return True

    def _is_there(self, entry: Entry) -> bool:
        row = entry.row
        try:
            return bool(self._shoot.holds(row.destination, row.bytes, row.sha256))
        except OSError:  # who cannot be read is in nobody's place, and stays
            return False

    def _renamed(self, entry: Entry, tries: int) -> Entry:
        another = self._renaming(entry.row.destination, tries)
        name = another.rpartition("/")[2]
        notes = (*entry.placement.carrying_notes, Renamed(name=name, why=WhyRenamed.CAME))
        return self._placed(entry, another, notes)

    def _leave(self, way: _Way, reason: str) -> None:
        """It lies where it lay, and the ledger says so."""
        self._blind.add(_folder(way.before))
        self._shifted.unseen[way.before] = reason
        self._placed(way.entry, way.before, way.entry.placement.carrying_notes)

    def _lose(self, way: _Way) -> None:
        """It went away meanwhile: it is to lie where it lay, for whoever brings it back."""
        self._shifted.lost.append(way.entry)
        if not self._back:
            self._placed(way.entry, way.before, way.entry.placement.carrying_notes)

    def _placed(self, entry: Entry, destination: str, notes: tuple[Note, ...]) -> Entry:
        row = replace(entry.row, destination=destination)
        entry = replace(entry, placement=replace(entry.placement, row=row, carrying_notes=notes))
        if self._back:
            self._ledger.note([entry])
        else:
            self._ledger.note_place(self._regrouping, entry)
        return entry


def _folder(path: str) -> str:
    return path.rpartition("/")[0]
