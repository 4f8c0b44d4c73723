"""What the user asks of an ingest, how its progress is told, and how it ended."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from sorter.errors import SorterError
from sorter.model.correction import Correction
from sorter.model.damage import DAMAGES
from sorter.model.kinds import Role
from sorter.model.plan import Entry, State
from sorter.pipeline.scanning import Tick
from sorter.planning import pattern
from sorter.settings import Settings

_TRACKS: Final = frozenset({Role.CLIP, Role.SOUND})


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What the user asked for. folder: the pattern of folder names. name: for that pattern.

    looks: the pictures decide too what belongs together. backup: where a second copy is to lie; None
    for none.
    """

    settings: Settings = field(default_factory=Settings)
    folder: str = pattern.DEFAULT
    name: str = ""
    corrections: tuple[Correction, ...] = ()
    moves: bool = False
    looks: bool = False
    backup: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ticks:
    """Progress by stage. reading: in files of the card. looking: in frames. The others: in bytes."""

    reading: Tick
    comparing: Tick
    carrying: Tick
    looking: Tick = lambda _done, _total: None


class Counted:
    """Adds up what is dealt with, and passes on the sum and the total. Threads may share it."""

    def __init__(self, tick: Tick, total: int = 0) -> None:
        self._done = 0
        self._total = total
        self._tick = tick
        self._adding = threading.Lock()

    def expect(self, total: int) -> None:
        """So much is to be dealt with in all."""
        self._total = total

    def add(self, amount: int) -> None:
        """So much more is done. More than the total is not told: some work is done twice."""
        with self._adding:
            self._done = min(self._done + amount, self._total)
            self._tick(self._done, self._total)


@dataclass(frozen=True, slots=True, kw_only=True)
class SecondCopy:
    """How it stands with the second copy of what an ingest is about.

    entries: as its ledger knows them. new: those that this run carried. edited, changed, differing:
    as of a report. failure: what stopped the work there. beside: it lies on the shoot's own disk.
    """

    folder: Path
    entries: tuple[Entry, ...] = ()
    new: tuple[Entry, ...] = ()
    edited: tuple[Entry, ...] = ()
    differing: tuple[Entry, ...] = ()
    failed: tuple[Entry, ...] = ()
    failure: SorterError | None = None
    beside: bool = False

    @property
    def verified(self) -> int:
        """How many files are there with exactly the bytes that the card gave."""
        return _verified(self.entries, self.edited)

    @property
    def is_whole(self) -> bool:
        """Whether all of it went well."""
        return not (self.failure or self.edited or self.failed)


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """How an ingest ended.

    entries: every file of the card that the shoot knows. new: those that this run carried.
    failed: not carried; differing: those of them whose copies came out wrong. edited, changed:
    copies that were changed since, sidecars and others. kept: moved files that are still on the
    card. closed: folders of the card that could not be listed. litter: what was passed over.
    failure: what stopped the work in the shoot, while the second copy went on.
    """

    entries: tuple[Entry, ...]
    new: tuple[Entry, ...] = ()
    failed: tuple[Entry, ...] = ()
    differing: tuple[Entry, ...] = ()
    edited: tuple[Entry, ...] = ()
    changed: tuple[Entry, ...] = ()
    kept: tuple[Entry, ...] = ()
    closed: tuple[str, ...] = ()
    litter: int = 0
    moves: bool = False
    failure: SorterError | None = None
    second: SecondCopy | None = None

    @property
    def verified(self) -> int:
        """How many files are in the shoot with exactly the bytes that the card gave."""
        return _verified(self.entries, self.edited)

    @property
    def moved(self) -> tuple[Entry, ...]:
        """What this run carried and took off the card."""
        kept = {entry.number for entry in self.kept}
        return tuple(entry for entry in self.new if entry.moves and entry.number not in kept)

    @property
    def left(self) -> tuple[Entry, ...]:
        """Links, pipes and devices: they stay on the card."""
        return tuple(entry for entry in self.entries if entry.state is State.LEFT)

    @property
    def unread(self) -> tuple[Entry, ...]:
        """Files that could not be read as what their names say; carried all the same."""
        return tuple(
            entry
            for entry in self.entries
            if entry.placement.unread and entry.state is State.PLACED
        )

    @property
    def damaged(self) -> tuple[Entry, ...]:
        """Pictures and clips that are not whole by their bytes; carried all the same."""
        return tuple(entry for entry in self.entries if _is_damaged(entry))

    def after(self, before: Report) -> Report:
        """This report of a run's second plan, with what its first one did."""
        second = self.second
        if second is not None and before.second is not None:
            second = replace(
                second,
                new=(*before.second.new, *second.new),
                differing=(*before.second.differing, *second.differing),
            )
        return replace(
            self,
            new=(*before.new, *self.new),
            differing=(*before.differing, *self.differing),
            kept=(*before.kept, *self.kept),
            second=second,
        )

    @property
    def is_whole(self) -> bool:
        """Whether every file of the card could be read, and is in the shoot as it was."""
        troubled = (self.failed, self.edited, self.changed, self.kept, self.closed, self.left)
        second = self.second is None or self.second.is_whole
        return second and not any(troubled) and not self.unread and not self.failure

    @property
    def has_differing(self) -> bool:
        """Whether a copy came out wrong, twice."""
        return bool(self.differing or (self.second and self.second.differing))

    @property
    def failures(self) -> tuple[SorterError, ...]:
        """What stopped the work in one of the folders."""
        both = (self.failure, self.second and self.second.failure)
        return tuple(failure for failure in both if failure)


def _is_damaged(entry: Entry) -> bool:
    if entry.row.role in _TRACKS and entry.row.bytes == 0:
        return entry.state is State.PLACED
    said = (entry.row.notes, *entry.placement.said)
    return any(damage in text for damage in DAMAGES for text in said)


def _verified(entries: tuple[Entry, ...], edited: tuple[Entry, ...]) -> int:
    not_so = {entry.number for entry in edited}
    return sum(e.state is State.PLACED and e.number not in not_so for e in entries)
