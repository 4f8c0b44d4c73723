"""Ingest: a card scanned, planned, and carried into a shoot; and a stopped one gone on with.

The plan is a value. A dry run shows it, a run notes the same value in the ledger and carries it out.
"""

from __future__ import annotations

from contextlib import ExitStack, suppress
from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Final, Self

from sorter.disk.card import Card
from sorter.disk.output import check_beside
from sorter.disk.shoot import Shoot
from sorter.errors import (
    BadPattern,
    BadShoot,
    CardEmpty,
    NoRoom,
    NoShoot,
    OtherCard,
    ShootBusy,
    ShootNotWritable,
    SorterError,
)
from sorter.manifest.rows import make_rows
from sorter.model.card import Listing
from sorter.model.focus import focus_places
from sorter.model.plan import Entry, Placement, Plan, State
from sorter.model.sequence import Account
from sorter.pipeline.recording import write_records
from sorter.pipeline.scanning import account_of, unread_files
from sorter.pipeline.wishes import Counted, Report, Tick, Ticks, Wishes
from sorter.planning import pattern
from sorter.planning.numbering import numbers_for
from sorter.planning.places import About, Naming, Standing, another_name, make_plan
from sorter.writing.carry import Carrier, Outcome, stopping_clearly
from sorter.writing.compare import Comparison, compare, size_to_compare
from sorter.writing.ledger import Ledger, Run

# A file takes whole units of a file system; the ledger, the manifest and the digests need room too.
_UNIT: Final = 4096
_BESIDE_A_FILE: Final = 2048
_BESIDE_ALL: Final = 256 * 1024
_OPEN: Final = frozenset({State.PLANNED, State.VERIFIED})


class Ingest:
    """One ingest of a card into a shoot; to be used in a with statement.

    First `look`, which changes nothing; then `carry`. Where the shoot's ledger holds a plan that
    was not ended, that plan is gone on with (goes_on), and no new one is made before it is done.
    Raises what Card and Shoot raise, and BadPattern, BadShoot.
    """

    def __init__(self, card: Path, shoot: Path, wishes: Wishes) -> None:
        self._naming = _naming(wishes)
        self._card = Card(card)
        check_beside(shoot, card=card)
        self._shoot = Shoot(shoot)
        self._wishes = wishes
        self._open = ExitStack()
        self._ledger: Ledger | None = None
        self._listing = Listing(files=())
        self._comparison = Comparison()
        self._stored: tuple[Entry, ...] = ()
        self.plan = Plan(placements=())
        self.goes_on: Run | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._open.close()

    @property
    def shoot(self) -> Path:
        """The shoot's folder, every link followed."""
        return self._shoot.root

    @property
    def waiting(self) -> tuple[Placement, ...]:
        """Every placement that carry is to carry out, those of stopped runs first."""
        changed = [each for _, each in self.plan.updated if not each.row.sha256]
        new = [each for each in self.plan.placements if each.row.destination]
        return (*(entry.placement for entry in self._again()), *changed, *new)

    @property
    def there(self) -> int:
        """How many files of the card are in the shoot already."""
        return len(self._comparison.there) - len(self._comparison.missing)

    @property
    def would_move(self) -> bool:
        """Whether the files are moved: what a stopped plan says counts, not what is asked now."""
        return self._wishes.moves if self.goes_on is None else self.goes_on.moves

    # ---- looking -----------------------------------------------------------------------------

    def look(self, ticks: Ticks, *, hold: bool) -> None:
        """Finds out what is to be done, and changes nothing.

        hold: nobody else may work in the shoot until the end. Raises what Card, Ledger and scan
        raise, BadShoot and OtherCard.
        """
        with suppress(NoShoot):
            self._ledger = self._open.enter_context(Ledger(self._shoot.hidden, hold=hold))
        if self._ledger is not None:
            self._find_stored(self._ledger)
        if self.goes_on is None:
            self._look_afresh(ticks)

    def _find_stored(self, ledger: Ledger) -> None:
        """What the ledger holds that is still to be carried and is on this card."""
        runs = ledger.runs()
        if any(run.is_undoing for run in runs):
            raise BadShoot(
                f"{self._shoot.root}: an undo was stopped here. Run `sorter undo` with this folder "
                "again to end it."
            )
        entries = ledger.entries()
        self._stored = tuple(entry for entry in entries if self._is_waiting(entry))
        for run in runs:
            if run.is_open:
                self._go_on(run, entries)

    def _go_on(self, run: Run, entries: tuple[Entry, ...]) -> None:
        """Goes on with the stopped run. Raises OtherCard where nothing of it is on this card."""
        unfinished = [e for e in entries if e.run == run.run and e.state in _OPEN]
        stored = {entry.number for entry in self._stored}
        if unfinished and not any(entry.number in stored for entry in unfinished):
            raise OtherCard(
                f"{self._shoot.root}: an ingest of {run.card} was stopped here, and none of the "
                "files that it still has to carry is on this card. Put that card in and run it "
                "again, or take that ingest back with `sorter undo`."
            )
        self.goes_on = run

    def _is_waiting(self, entry: Entry) -> bool:
        """Whether it is to be carried, and can be now."""
        if entry.state is State.VERIFIED:
            return True
        waits = entry.state in (State.PLANNED, State.FAILED)
        return waits and self._card.holds(entry.row.source, entry.row.bytes)

    def _look_afresh(self, ticks: Ticks) -> None:
        """A new plan for all that the shoot does not have yet."""
        self._listing = self._card.listing()
        wishes = self._wishes
        account = account_of(
            self._card, self._listing, wishes.settings, ticks.reading, wishes.corrections
        )
        known = self._ledger.entries() if self._ledger else ()
        self._comparison = self._compared(account, known, ticks.comparing)
        standing = Standing(
            known=known,
            there=self._comparison.there,
            changed=frozenset(self._comparison.changed),
            taken=frozenset(path for path, _ in self._shoot.paths()),
        )
        numbers = numbers_for(account, standing.there, known)
        rows = make_rows(account, numbers)
        about = _about(account, numbers.sequences)
        self.plan = make_plan(rows, about, standing, self._naming)

    def _compared(self, account: Account, known: tuple[Entry, ...], tick: Tick) -> Comparison:
        if not known:
            return Comparison()
        captured = {row.source: row.captured for row in make_rows(account)}
        files = self._listing.files
        with stopping_clearly(self._shoot):
            return compare(
                self._card,
                self._shoot,
                files=files,
                captured=lambda path: captured.get(path, ""),
                entries=known,
                tick=Counted(size_to_compare(files, known), tick).add,
            )

    def _again(self) -> tuple[Entry, ...]:
        """Entries that are carried to the places that they have: stopped, failed or gone missing."""
        return (*self._stored, *self._comparison.missing.values())

    # ---- carrying ----------------------------------------------------------------------------

    def carry(self, ticks: Ticks) -> Report:
        """Carries the plan out, and writes manifest.csv and SHA256SUMS out of the ledger.

        After a stopped plan, what came onto the card since is planned and carried too. Raises
        NoRoom, ShootNotWritable, CardGone and what the ledger raises: nothing is lost then, and
        the same command goes on.
        """
        report = self._carry_plan(ticks)
        if self.goes_on is not None and self._has_more(report):
            self.goes_on, self._stored = None, ()
            self._look_afresh(ticks)
            again = self._carry_plan(ticks)
            report = replace(
                again, new=(*report.new, *again.new), failed=(*report.failed, *again.failed)
            )
        return report

    def _has_more(self, report: Report) -> bool:
        """Whether the card holds files that the plan which was gone on with does not know."""
        known = {(entry.row.source, entry.row.bytes) for entry in report.entries}
        try:
            self._listing = self._card.listing()
        except CardEmpty:  # all of it was moved
            return False
        return any((file.path, file.size) not in known for file in self._listing.files)

    def _carry_plan(self, ticks: Ticks) -> Report:
        self._check_room()
        ledger = self._noted()
        runs = frozenset(run.run for run in ledger.runs() if run.is_open)
        try:
            outcome = self._carry_noted(ledger, runs, ticks)
        except BaseException:
            with suppress(SorterError):  # the reason for which the run stops counts
                write_records(self._shoot, ledger.entries())
            raise
        entries = ledger.entries()
        write_records(self._shoot, entries)
        for run in runs:  # ended only now: of a move that was ended nothing is left to run again
            if not any(e.run == run and e.state in _OPEN for e in entries):
                ledger.set_state(run, "done")
        return self._report(entries, runs, outcome)

    def _check_room(self) -> None:
        """Raises NoRoom before the first byte is written, ShootNotWritable."""
        needed = sum(
            _room_for(placement) for placement in self.waiting if not self._is_renamed(placement)
        )
        if not self._shoot.is_writable():
            raise ShootNotWritable(
                f"{self._shoot.root}: the system lets us write nothing there. Nothing was done: "
                "check its permissions, or name another folder."
            )
        with stopping_clearly(self._shoot):
            room = self._shoot.room()
        if needed and needed + _BESIDE_ALL > room:
            raise NoRoom(
                f"{self._shoot.root}: {_in_megabytes(needed)} are to be written, and the disk has "
                f"room for {_in_megabytes(room)}. Nothing was done: make room, or name a folder "
                "on another disk."
            )

    def _is_renamed(self, placement: Placement) -> bool:
        """Whether it needs no room, for it is moved on one disk."""
        return self.would_move and self._card.device(placement.row.source) == (self._shoot.device())

    def _noted(self) -> Ledger:
        """The ledger, with the plan in it."""
        with stopping_clearly(self._shoot):
            self._shoot.prepare()  # also where the folders were lost: who copies may leave empty ones out
        if self._ledger is None:
            ledger = Ledger(self._shoot.hidden, hold=True, make=True)
            self._ledger = self._open.enter_context(ledger)
            self._refuse_other_runs(ledger)
        missing = self._comparison.missing.values()
        if missing:
            self._ledger.note(replace(entry, state=State.PLANNED) for entry in missing)
        if self.plan.placements or self.plan.updated:
            root = str(self._card.root.absolute())
            self._ledger.add_run(root, self.plan, moves=self._wishes.moves)
        return self._ledger

    def _refuse_other_runs(self, ledger: Ledger) -> None:
        """Raises ShootBusy where a run made the shoot while we looked at the card."""
        if ledger.runs():
            raise ShootBusy(
                f"{self._shoot.root}: another run was at work here meanwhile. Nothing was done: "
                "run this again."
            )

    def _carry_noted(self, ledger: Ledger, runs: frozenset[int], ticks: Ticks) -> Outcome:
        waiting = self._to_carry(ledger, runs)
        counted = Counted(sum(entry.row.bytes for entry in waiting), ticks.carrying)
        carrier = Carrier(self._card, self._shoot, ledger, another_name, counted.add)
        carrier.recover(tuple(e for e in waiting if e.state is State.VERIFIED))
        # What failed once may belong to an older ingest, and frees the card of its frame now.
        freed = runs | {entry.run for entry in waiting}
        return carrier.carry(self._to_carry(ledger, runs), runs=freed)

    def _to_carry(self, ledger: Ledger, runs: frozenset[int]) -> list[Entry]:
        """What is open in these runs, and what is to be carried again, in the order of the plans."""
        again = {entry.number for entry in self._again()}
        again |= {number for number, each in self.plan.updated if not each.row.sha256}
        return [
            entry
            for entry in ledger.entries()
            if (entry.run in runs and entry.state in _OPEN)
            or (entry.number in again and entry.state not in (State.PLACED, State.LEFT))
        ]

    def _report(self, entries: tuple[Entry, ...], runs: frozenset[int], outcome: Outcome) -> Report:
        found = self._comparison
        there = {entry.number for entry in found.there.values()}
        there |= {entry.number for entry in self._stored}
        return Report(
            entries=tuple(e for e in entries if e.run in runs or e.number in there),
            new=tuple(outcome.placed),
            failed=tuple(outcome.failed),
            differing=tuple(outcome.differing),
            edited=tuple(found.edited.values()),
            changed=tuple(found.changed.values()),
            kept=tuple(outcome.kept),
            closed=self._listing.folders_closed,
            litter=self._listing.litter,
            moves=any(entry.moves for entry in outcome.placed),
        )


def _naming(wishes: Wishes) -> Naming:
    try:
        parsed = pattern.parse(wishes.folder)
    except pattern.PatternFault as fault:
        raise BadPattern(
            f"--folder {wishes.folder!r}: {fault}. Write it like the default, {pattern.DEFAULT}"
        ) from fault
    return Naming(pattern=parsed, name=wishes.name)


def _about(account: Account, numbers: tuple[int, ...]) -> About:
    """What planning has to know beside the rows."""
    files = {file.path: file for _, file in account.loose}
    from_near: dict[str, int | None] = {}
    for sequence in account.sequences:
        places = (*focus_places(sequence), *(None for _ in sequence.results))
        for frame, place in zip((*sequence.frames, *sequence.results), places, strict=True):
            files |= {file.path: file for file in frame.files}
            from_near |= {file.path: place for file in frame.files}
    named = zip(numbers, account.sequences, strict=True)
    return About(
        files=files,
        from_near=from_near,
        unread=frozenset(file.path for file in unread_files(account)),
        names={number: sequence.name for number, sequence in named if sequence.name},
    )


def _room_for(placement: Placement) -> int:
    units = -(-placement.row.bytes // _UNIT)
    return units * _UNIT + _BESIDE_A_FILE


def _in_megabytes(size: int) -> str:
    return f"{size / 1e6:,.1f} MB"
