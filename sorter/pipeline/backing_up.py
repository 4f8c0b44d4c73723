"""The second copy while a plan is carried out: what its folder takes, and how it stands in the end.

What its disk has against it does not stop the work on the shoot.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import ExitStack
from dataclasses import replace

from sorter.errors import ShootNotWritable, SorterError
from sorter.model.plan import Entry, State
from sorter.pipeline.backup import Backup, lacking
from sorter.pipeline.ingest_report import BackupReport
from sorter.pipeline.planned import BackupFound
from sorter.pipeline.space import no_space
from sorter.planning.places import another_name
from sorter.writing.ledger import Ledger
from sorter.writing.target import Outcome, Target


class BackupWriter:
    """Brings the second copy to what the shoot holds; for one plan. found: as the plan's look found it."""

    def __init__(self, backup: Backup, found: BackupFound) -> None:
        self.target: Target | None = None
        self._backup = backup
        self._found = found
        self._failure = backup.failure or (found.failure.error() if found.failure else None)

    @property
    def failure(self) -> SorterError | None:
        """What stopped it, before the work or in it."""
        return self._failure or (self.target.failure if self.target else None)

    def lacking(self, known: Iterable[Entry], waiting: frozenset[int]) -> tuple[Entry, ...]:
        """What the shoot has, or is to get now (waiting), and is not here."""
        entries = self._entries() if self._failure is None else ()
        placed = (entry for entry in entries if entry.state is State.PLACED)
        return lacking(known, placed, self._found.compared.bad.values(), waiting)

    def check_free_space(self, sizes: Iterable[int]) -> None:
        """Where it has no free space for so much, or does not tell, it takes nothing."""
        try:
            error: SorterError | None = no_space(self._backup.shoot, sizes)
        except SorterError as broken:
            error = broken
        self._failure = self._failure or error

    def begin(self, lead: Ledger, open_files: ExitStack) -> None:
        """Its ledger knows all that the shoot's does, and it takes files from now on."""
        if self._failure is not None:
            return
        try:
            own = self._backup.to_write(open_files)
            own.follow(lead)
            bad = self._found.compared.bad.values()
            own.note(replace(entry, state=State.PLANNED) for entry in bad)
        except OSError as error:
            self._failure = ShootNotWritable(
                f"{self._backup.shoot.root}: {error.strerror}. Check the disk and its permissions."
            )
        except SorterError as error:
            self._failure = error
        else:
            self.target = Target(self._backup.shoot, own, another_name)
            self.target.outcome.held.update(self._found.compared.held)

    def wanted(self, lead: Iterable[Entry], waiting: frozenset[int]) -> dict[int, Entry]:
        """What is to be carried here, by number: what the shoot has, or is to get now (waiting)."""
        if self.target is None or self.target.failure is not None:
            return {}
        found: dict[int, Entry] = {}
        with self.target.failing():
            own = {entry.number: entry for entry in self.target.ledger.entries()}
            for entry in lead:
                mine = own.get(entry.number)
                given = entry.state is State.PLACED or entry.number in waiting
                if given and mine and mine.state in (State.PLANNED, State.FAILED):
                    found[entry.number] = mine
        return found

    def lose(self, lost: Iterable[Entry]) -> None:
        """What the card does not have any more, and was not carried here either, is noted so."""
        if self.target is None:
            return
        with self.target.failing():
            own = {e.number: e for e in self.target.ledger.entries() if e.state is State.PLANNED}
            self.target.ledger.note(
                replace(own[e.number], placement=e.placement, state=e.state)
                for e in lost
                if e.number in own
            )

    def report(
        self, ended: Mapping[Target, tuple[Entry, ...]], runs: frozenset[int], there: set[int]
    ) -> BackupReport:
        """How it stands with the files of these ingests, and with those of these numbers.

        ended: all that the ledgers of the targets know in the end. Where it took no part in the run,
        its own is asked.
        """
        known = ended[self.target] if self.target else self._entries()
        entries = tuple(e for e in known if e.run in runs or e.number in there)
        outcome = self.target.outcome if self.target else Outcome()
        theirs = {e.number: e for target in ended.keys() - {self.target} for e in ended[target]}
        same = {e.number for e in entries if _is_copy_of(e, theirs.get(e.number))}
        return BackupReport(
            folder=self._backup.shoot.root,
            entries=entries,
            new=tuple(outcome.placed),
            edited=tuple(entry for _, entry in self._found.compared.edited),
            changed=self._changed(),
            held={number: held for number, held in outcome.held.items() if number in same},
            differing=tuple(outcome.differing),
            failed=tuple(entry for entry in entries if entry.state is State.FAILED),
            failure=self.failure,
        )

    def _changed(self) -> tuple[Entry, ...]:
        """Copies with other bytes, which are carried once more: said only where that was begun."""
        return tuple(entry for _, entry in self._found.compared.changed) if self.target else ()

    def _entries(self) -> tuple[Entry, ...]:
        """Every file as its ledger knows it; none where that cannot be read any more."""
        try:
            return self._backup.ledger.entries() if self._backup.ledger is not None else ()
        except SorterError as error:
            self._failure = self._failure or error
            return ()


def _is_copy_of(entry: Entry, lead: Entry | None) -> bool:
    """Whether it holds what the shoot holds; a card edited between two runs may have given each its own."""
    return lead is None or entry.row.sha256 == lead.row.sha256
