"""Ingest: a card scanned, planned, and carried into a shoot; and a stopped one gone on with.

The plan is a value. A dry run shows it, a run notes the same value in the ledger and carries it out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, suppress
from dataclasses import replace
from pathlib import Path
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
    ShootBusy,
    ShootNotWritable,
    SorterError,
)
from sorter.manifest.rows import make_rows, spelled
from sorter.model.card import Listing
from sorter.model.correction import Correction
from sorter.model.frame import ReadFile
from sorter.model.plan import Entry, Placement, Plan, State
from sorter.model.row import Row
from sorter.model.sequence import Account
from sorter.pipeline.recording import RECORDS, refuse_foreign_lists, write_records
from sorter.pipeline.room import no_room, room_for
from sorter.pipeline.scanning import Tick, account_of, unread_files
from sorter.pipeline.second import Second
from sorter.pipeline.wishes import Counted, Report, Ticks, Wishes
from sorter.planning import pattern
from sorter.planning.lateness import too_late
from sorter.planning.numbering import numbers_for
from sorter.planning.places import About, Naming, Standing, another_name, make_plan
from sorter.planning.presses import beside, joined
from sorter.writing.carry import Carrier
from sorter.writing.compare import Comparison, compare, size_to_compare
from sorter.writing.copying import Job
from sorter.writing.ledger import Ledger, Run
from sorter.writing.notes import failed
from sorter.writing.target import Target, check_any, stopping_clearly

LOST: Final = "it was not on the card any more when the ingest went on"


class Ingest:
    """One ingest of a card into a shoot; to be used in a with statement.

    First `look`, which changes nothing; then `carry`. Where the shoot's ledger holds a plan for
    this card that was not ended, that plan is gone on with (goes_on), and no new one is made before
    it is done. One for another card waits for that card (waits_elsewhere). Corrections of frames
    that are in the shoot already as something else move nothing there (too_late).
    Raises what Card and Shoot raise, BadPattern and BadShoot.
    """

    def __init__(self, card: Path, shoot: Path, wishes: Wishes) -> None:
        self._naming = _naming(wishes)
        self._card = Card(card)
        check_beside(shoot, card=card)
        self._shoot = Shoot(shoot)
        self.second = Second(wishes.backup, card=card, shoot=self._shoot) if wishes.backup else None
        self._wishes = wishes
        self._open = ExitStack()
        self._ledger: Ledger | None = None
        self._listing = Listing(files=())
        self._comparison = Comparison()
        self._stored: tuple[Entry, ...] = ()
        self._new_run = 0
        self._no_room: NoRoom | None = None
        self.plan = Plan(placements=())
        self.goes_on: Run | None = None
        self.waits_elsewhere: Run | None = None
        self.too_late: tuple[Correction, ...] = ()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._open.close()

    @property
    def shoot(self) -> Path:
        """The shoot's folder, every link followed."""
        return self._shoot.root

    @property
    def waiting(self) -> tuple[Placement, ...]:
        """Every placement that carry is to carry out, those of stopped runs first."""
        changed = [each for number, each in self.plan.updated if number in self.plan.again]
        new = [each for each in self.plan.placements if each.row.destination]
        return (*(entry.placement for entry in self._again()), *changed, *new)

    @property
    def there(self) -> int:
        """How many files of the card are in the shoot already, byte by byte."""
        found = self._comparison
        other = {*found.missing, *found.changed, *found.edited}
        placed = (path for path, entry in found.there.items() if entry.state is State.PLACED)
        return sum(path not in other for path in placed)

    @property
    def unread(self) -> tuple[Placement, ...]:
        """Files of the card that could not be read as what their names say, as far as was looked."""
        there = (entry.placement for entry in self._comparison.there.values())
        both = (*self.plan.placements, *(each for _, each in self.plan.updated), *there)
        return tuple({each.row.source: each for each in both if each.unread}.values())

    @property
    def closed(self) -> tuple[str, ...]:
        """Folders of the card that could not be listed."""
        return self._listing.folders_closed

    @property
    def filling(self) -> tuple[Entry, ...]:
        """What the shoot has already and the second copy has not."""
        return self.second.lacking(self._known(), frozenset()) if self.second else ()

    @property
    def would_move(self) -> bool:
        """Whether the files are moved: what a stopped plan says counts, not what is asked now."""
        return self._wishes.moves if self.goes_on is None else self.goes_on.moves

    # ---- looking -----------------------------------------------------------------------------

    def look(self, ticks: Ticks, *, hold: bool) -> None:
        """Finds out what is to be done, and changes nothing.

        hold: nobody else may work in the shoot until the end. Raises what Card, Ledger and scan
        raise, and BadShoot.
        """
        with suppress(NoShoot):
            self._ledger = self._open.enter_context(Ledger(self._shoot.hidden, hold=hold))
        if self._ledger is not None:
            self._find_stored(self._ledger)
        else:
            refuse_foreign_lists(self._shoot)
        if self.second:
            self.second.look(self._known(), hold=hold, open_files=self._open)
        if self.goes_on is None:
            self._look_afresh(ticks)
        else:
            self._listing = self._listed()
        needed = {each.row.destination.rpartition("/")[0] for each in self.waiting}
        for shoot in (self._shoot, *([self.second.shoot] if self.second else [])):
            shoot.refuse_obstacles(needed, RECORDS)

    def _known(self) -> tuple[Entry, ...]:
        """Every file that the shoot's ledger knows."""
        return self._ledger.entries() if self._ledger else ()

    def _find_stored(self, ledger: Ledger) -> None:
        """What the ledger holds that is still to be carried and is on this card."""
        runs, entries = ledger.runs(), ledger.entries()
        if any(run.is_undoing for run in runs):
            raise BadShoot(
                f"{self._shoot.root}: an undo was stopped here. Run `sorter undo` with this folder "
                "again to end it."
            )
        self._stored = tuple(entry for entry in entries if self._is_waiting(entry))
        here = {entry.number for entry in self._stored}
        for run in runs:
            planned = {e.number for e in entries if e.run == run.run and e.state is State.PLANNED}
            if run.is_open and planned and not planned & here:
                self.waits_elsewhere = run
            elif run.is_open:
                self.goes_on = run

    def _is_waiting(self, entry: Entry) -> bool:
        """Whether it is to be carried, and can be now."""
        if entry.state is State.VERIFIED:
            return True
        return entry.state is State.PLANNED and self._is_on_card(entry)

    def _is_on_card(self, entry: Entry) -> bool:
        return self._card.holds(entry.row.source, entry.row.bytes, entry.placement.mark)

    def _look_afresh(self, ticks: Ticks) -> None:
        """A new plan for all that the shoot does not have yet."""
        self._listing = self._listed()
        wishes = self._wishes
        account = account_of(
            self._card, self._listing, wishes.settings, ticks.reading, wishes.corrections
        )
        known = self._known()
        self._comparison = self._compared(account, known, ticks.comparing)
        standing = Standing(
            known=known,
            there=self._comparison.there,
            failed=self._comparison.failed,
            changed=frozenset(self._comparison.changed),
            taken=frozenset(path for path, _ in self._shoot.paths()),
        )
        met = beside(make_rows(account), standing.told, known) if known else {}
        standing = replace(standing, beside=met)
        told = {**met, **standing.told}
        numbers = numbers_for(account, told, known)
        rows = tuple(
            joined(row, met.get(row.source), standing.told.get(row.source))
            for row in make_rows(account, numbers)
        )
        about = _about(account, numbers.sequences, met)
        self.plan = make_plan(rows, about, standing, self._naming)
        self.too_late = self._late(account, told)

    def _late(self, account: Account, told: dict[str, Entry]) -> tuple[Correction, ...]:
        """The corrections that come too late. A path may be spelled as the manifest does it."""
        if not self._wishes.corrections:
            return ()
        paths = [file.path for file in _files(account)]
        known = {spelled(path): path for path in paths} | {path: path for path in paths}
        asked = [(known[each.first], each) for each in self._wishes.corrections]
        late = too_late(account, self.plan, told, (path for path, _ in asked))
        return tuple(each for path, each in asked if path in late)

    def _listed(self) -> Listing:
        """The card's files; none where all of them were moved here, or a stopped run needs none."""
        try:
            return self._card.listing()
        except CardEmpty:
            moved = self._ledger is not None and any(run.moves for run in self._ledger.runs())
            if moved or self.goes_on is not None:
                return Listing(files=())
            raise

    def _compared(self, account: Account, known: tuple[Entry, ...], tick: Tick) -> Comparison:
        if not known:
            return Comparison()
        captured = {row.source: row.captured for row in make_rows(account)}
        files = self._listing.files
        with stopping_clearly(self._shoot):
            found = compare(
                self._card,
                self._shoot,
                files=files,
                captured=lambda path: captured.get(path, ""),
                marks={file.path: file.mark for file in _files(account)},
                entries=known,
                tick=Counted(tick, size_to_compare(files, known)).add,
            )
        if self.second:
            self.second.compare(entry.number for entry in found.there.values())
        return found

    def _again(self) -> tuple[Entry, ...]:
        """Entries that are carried to the places that they have: stopped, or gone missing."""
        return (*self._stored, *self._comparison.missing.values())

    # ---- carrying ----------------------------------------------------------------------------

    def carry(self, ticks: Ticks) -> Report:
        """Carries the plan out, and writes manifest.csv and SHA256SUMS out of the ledger.

        After a stopped plan, what came onto the card since is planned and carried too; so is said
        what files are that the card gave only now. Raises NoRoom, ShootNotWritable, CardGone and
        what the ledger raises: nothing is lost then, and the same command goes on.
        """
        report = self._carry_plan(ticks)
        more = self._is_unsorted(report) or (self.goes_on is not None and self._has_more(report))
        if more and not report.failures:
            self.goes_on, self._stored = None, ()
            self._look_afresh(ticks)
            report = self._carry_plan(ticks).after(report)
        return report

    def _has_more(self, report: Report) -> bool:
        """Whether the card holds files that the plan which was gone on with does not know."""
        known = {(entry.row.source, entry.row.bytes) for entry in report.entries}
        if any((file.path, file.size) not in known for file in self._listing.files):
            return True
        failed = (entry for entry in report.entries if entry.state is State.FAILED)
        return any(self._is_on_card(entry) for entry in failed)

    def _is_unsorted(self, report: Report) -> bool:
        """Whether a file was carried that could not be read when its place was planned.

        The card gave it after all, so that it can be said now what it is.
        """
        new = {entry.number for entry in report.new}
        return any(not e.is_told and e.number in new for e in report.entries)

    def _carry_plan(self, ticks: Ticks) -> Report:
        self._check_room()
        ledger = self._noted()
        lead = Target(self._shoot, ledger, another_name)
        if self._no_room is not None:
            lead.fail(self._no_room)
        if self.second:
            self.second.begin(ledger, self._open)
        try:
            return self._carry_noted(lead, ticks)
        except BaseException:
            for target in self._targets(lead):
                with suppress(SorterError):  # why the run stops is what counts
                    write_records(target.shoot, target.ledger.entries())
            raise

    def _targets(self, lead: Target) -> tuple[Target, ...]:
        other = self.second.target if self.second else None
        return (lead, other) if other else (lead,)

    def _check_room(self) -> None:
        """Raises NoRoom before the first byte is written, ShootNotWritable.

        Where only one of two folders has no room, the other gets its copies all the same.
        """
        if not self._shoot.is_writable():
            raise ShootNotWritable(
                f"{self._shoot.root}: the system lets us write nothing there. Nothing was done: "
                "check its permissions, or name another folder."
            )
        self._no_room = no_room(self._shoot, (room_for(row) for row in self._to_write()))
        if self.second:
            self.second.check_room(self._to_write_second())
        if self._no_room and (self.second is None or self.second.failure):
            raise self._no_room

    def _to_write_second(self) -> Iterator[int]:
        """The room for each file that is not in the second copy yet."""
        if self.second:
            lacking = self.second.lacking(self._known(), self._numbers_waiting())
            yield from (room_for(entry.row) for entry in lacking)
            yield from (room_for(each.row) for each in self.plan.placements if each.row.destination)

    def _numbers_waiting(self) -> frozenset[int]:
        """The numbers of what is carried and was known before."""
        return frozenset(entry.number for entry in self._again()) | self.plan.again

    def _to_write(self) -> Iterator[Row]:
        """The files that need room: not those that are renamed, or written already."""
        here = self._shoot.device()
        plan = self.plan
        for entry in self._again():
            if entry.state is not State.VERIFIED and not (entry.moves and self._is_on(entry, here)):
                yield entry.row
        yield from (each.row for number, each in plan.updated if number in plan.again)
        for placement in plan.placements:
            moves = self._wishes.moves and self._is_on(placement, here)
            if placement.row.destination and not moves:
                yield placement.row

    def _is_on(self, each: Entry | Placement, device: int) -> bool:
        """Whether the card's file lies on that file system."""
        return self._card.device(each.row.source) == device

    def _noted(self) -> Ledger:
        """The ledger, with the plan in it."""
        with stopping_clearly(self._shoot):
            self._shoot.prepare()  # also where the folders were lost: who copies may leave empty ones out
        if self._ledger is None:
            self._ledger = self._open.enter_context(self._made())
        missing = self._comparison.missing.values()
        if missing:
            self._ledger.note(replace(entry, state=State.PLANNED) for entry in missing)
        if self.plan.placements or self.plan.updated:
            root = str(self._card.root.absolute())
            self._new_run = self._ledger.add_run(root, self.plan, moves=self._wishes.moves)
        return self._ledger

    def _made(self) -> Ledger:
        """A new ledger. Raises ShootBusy where a run made one while we looked at the card."""
        ledger = Ledger(self._shoot.hidden, hold=True, make=True)
        if ledger.runs():
            ledger.close()
            raise ShootBusy(
                f"{self._shoot.root}: another run was at work here meanwhile. Nothing was done: "
                "run it again."
            )
        return ledger

    def _carry_noted(self, lead: Target, ticks: Ticks) -> Report:
        ledger = lead.ledger
        runs = frozenset({self._new_run, self.goes_on.run if self.goes_on else 0})
        counted = Counted(ticks.carrying)
        targets = self._targets(lead)
        carrier = Carrier(self._card, targets, counted.add)
        carrier.recover()
        entries = ledger.entries()
        waiting = self._to_carry(entries)
        lost = _lost(entries, waiting, runs)
        ledger.note(lost)
        if self.second:
            self.second.lose(lost)
        jobs = self._jobs(lead, entries, waiting)
        counted.expect(sum(job.entry.row.bytes for job in jobs))
        # What failed once may belong to an older ingest, and frees the card of its frame now.
        carrier.carry(jobs, runs=runs | {entry.run for entry in waiting})
        ended = {target: self._end(target, lead, runs) for target in targets}
        check_any(targets)
        return self._report(lead, runs, ended)

    def _jobs(
        self, lead: Target, entries: tuple[Entry, ...], waiting: list[Entry]
    ) -> tuple[Job, ...]:
        """What is read, in the order of the plans, and for which folders."""
        own = {entry.number: entry for entry in waiting}
        other = self.second.wanted(entries, frozenset(own)) if self.second else {}
        return tuple(
            self._job(lead, entry, own.get(entry.number), other.get(entry.number))
            for entry in entries
            if entry.number in own or entry.number in other
        )

    def _job(self, lead: Target, known: Entry, own: Entry | None, other: Entry | None) -> Job:
        """What only the second copy lacks is read where the shoot has it: the card may be gone."""
        wanted = [(lead, own)] if own and (lead.failure is None or other is None) else []
        if other and self.second and self.second.target:
            wanted.append((self.second.target, other))
        if own is None:
            return Job(wanted=tuple(wanted), origin=self._shoot, copy=known)
        return Job(wanted=tuple(wanted), origin=self._card)

    def _end(self, target: Target, lead: Target, runs: frozenset[int]) -> tuple[Entry, ...]:
        """The lists are written, then the end is noted: a run that is cut between is gone on with.

        A move goes on until the second copy is whole too: only then the card is emptied. Returns all
        that the ledger knows; nothing where it cannot be read any more.
        """
        entries: tuple[Entry, ...] = ()
        with target.failing():
            entries = target.ledger.entries()
            write_records(target.shoot, entries)
        waits = self.second is not None and self.second.failure and self.would_move
        if target.failure is None and not (target is lead and waits):
            with target.failing():
                for run in runs - {0}:
                    target.ledger.set_state(run, "done")
        return entries

    def _to_carry(self, entries: Iterable[Entry]) -> list[Entry]:
        """What belongs to the new plan, and what is carried again, in the order of the plans."""
        again = self._numbers_waiting()
        return [
            entry
            for entry in entries
            if entry.state in (State.PLANNED, State.FAILED)
            and (entry.run == self._new_run or entry.number in again)
        ]

    def _report(
        self, lead: Target, runs: frozenset[int], ended: dict[Target, tuple[Entry, ...]]
    ) -> Report:
        found, outcome = self._comparison, lead.outcome
        there = {entry.number for entry in found.there.values()}
        there |= {entry.number for entry in (*self._stored, *found.failed.values())}
        entries = tuple(e for e in ended[lead] if e.run in runs or e.number in there)
        return Report(
            entries=entries,
            new=tuple(outcome.placed),
            failed=tuple(entry for entry in entries if entry.state is State.FAILED),
            differing=tuple(outcome.differing),
            edited=tuple(found.edited.values()),
            changed=tuple(found.changed.values()),
            kept=tuple(outcome.kept),
            closed=self._listing.folders_closed,
            litter=self._listing.litter,
            moves=any(entry.moves for entry in outcome.placed),
            failure=lead.failure,
            second=self.second.report(runs, there) if self.second else None,
        )


def _naming(wishes: Wishes) -> Naming:
    try:
        parsed = pattern.parse(wishes.folder)
    except pattern.PatternFault as fault:
        raise BadPattern(
            f"--folder {wishes.folder!r}: {fault}. Write it like the default, {pattern.DEFAULT}"
        ) from fault
    return Naming(pattern=parsed, name=wishes.name)


def _lost(entries: Iterable[Entry], waiting: Iterable[Entry], runs: frozenset[int]) -> list[Entry]:
    """What was planned and is not on the card any more, as it is noted."""
    carried = {entry.number for entry in waiting}
    return [
        failed(entry, LOST)
        for entry in entries
        if entry.run in runs and entry.state is State.PLANNED and entry.number not in carried
    ]


def _files(account: Account) -> Iterator[ReadFile]:
    yield from (file for _, file in account.loose)
    for frame in account.order:
        yield from frame.files


def _about(account: Account, numbers: tuple[int, ...], met: Mapping[str, Entry]) -> About:
    """What planning has to know beside the rows. met: as presses.beside found it."""
    from_near: dict[str, int | None] = {}
    for sequence in account.sequences:
        places = (*sequence.focus.places, *(None for _ in sequence.results))
        for frame, place in zip((*sequence.frames, *sequence.results), places, strict=True):
            from_near |= {file.path: place for file in frame.files}
    from_near |= {path: entry.placement.from_near for path, entry in met.items()}
    named = zip(numbers, account.sequences, strict=True)
    return About(
        files={file.path: file for file in _files(account)},
        from_near=from_near,
        unread=frozenset(file.path for file in unread_files(account)),
        names={number: sequence.name for number, sequence in named if sequence.name},
    )
