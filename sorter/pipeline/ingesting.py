"""Ingest: a card scanned, planned, and carried into a shoot; and a stopped one gone on with.

The plan is a value. A dry run shows it, a run notes the same value in the ledger and carries it out.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, suppress
from dataclasses import replace
from pathlib import Path
from typing import Self

from sorter.disk.card import Card
from sorter.disk.output import check_beside
from sorter.disk.shoot import Shoot
from sorter.errors import (
    BadPattern,
    BadShoot,
    CardEmpty,
    CardGone,
    CardNotReadable,
    NoShoot,
)
from sorter.manifest.rows import make_rows, spelled
from sorter.model.advice import Places
from sorter.model.card import Drift, Listing, differences
from sorter.model.correction import Correction
from sorter.model.frame import ReadFile
from sorter.model.plan import Entry, Placement, Plan, State
from sorter.model.sequence import Account
from sorter.pipeline.against import in_no_copy
from sorter.pipeline.carrying import Carrying, Looked
from sorter.pipeline.checking import apart_from, check_account, default_jobs
from sorter.pipeline.places import places_of
from sorter.pipeline.recording import RECORDS, new_ledger, refuse_foreign_lists
from sorter.pipeline.scanning import Tick, accounted, reading_of, refuse_empty, unread_files
from sorter.pipeline.second import Second
from sorter.pipeline.seeking import astray
from sorter.pipeline.wishes import Counted, Report, Ticks, Wishes
from sorter.planning import pattern
from sorter.planning.lateness import too_late
from sorter.planning.numbering import numbers_for
from sorter.planning.places import About, Naming, Standing, make_plan
from sorter.planning.presses import beside, joined
from sorter.reading.cards import files_of, thrown_away
from sorter.writing.compare import Comparison, compare, look_again, size_to_compare
from sorter.writing.ledger import Ledger, Run
from sorter.writing.target import stopping_clearly


class Ingest:
    """One ingest of a card into a shoot; to be used in a with statement.

    First `look`, which changes nothing; then `carry`. Where the shoot's ledger holds a plan for
    this card that was not ended, that plan is gone on with (goes_on), and no new one is made before
    it is done. One for another card waits for that card (waits_elsewhere). Corrections of frames
    that are in the shoot already as something else move nothing there (too_late). suggested: what
    the pictures made of the grouping, where they were to be looked at. thrown: pictures in a trash of the
    card, or another folder of a system, as far as was looked.
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
        self._ahead: tuple[Entry, ...] = ()
        self._new_run = 0
        self.plan = Plan(placements=())
        self.goes_on: Run | None = None
        self.waits_elsewhere: Run | None = None
        self.too_late: tuple[Correction, ...] = ()
        self.suggested: tuple[Correction, ...] = ()
        self.thrown: tuple[str, ...] = ()

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
        return (*(entry.placement for entry in self._again), *changed, *new)

    @property
    def there(self) -> int:
        """How many files of the card are in the shoot already, byte by byte."""
        return sum(e.number in self._comparison.held for e in self._comparison.there.values())

    @property
    def finishing(self) -> tuple[Entry, ...]:
        """What an earlier move carried and could not take off the card; it leaves now, if this is one."""
        found = self._comparison
        here = {file.path for file in self._listing.files}
        late = (
            entry
            for path, entry in found.there.items()
            if entry.moves and not entry.gone and entry.number in found.held and path in here
        )
        return tuple(late) if self.would_move else ()

    @property
    def staying(self) -> int:
        """How many files are in the shoot already, and stay on the card: no move from it brought them.

        What a move took off another card, or put here again since, is no file of this move either.
        """
        found = self._comparison
        return sum(e.number in found.held and (e.gone or not e.moves) for e in found.there.values())

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
    def shoots(self) -> tuple[str, ...]:
        """Folders of the card that are shoots, and are not looked into."""
        return self._listing.shoots

    @property
    def astray(self) -> int:
        """How many copies are not in their places, and lie elsewhere in the shoot by name and size."""
        return astray(self._shoot, self._comparison.missing.values(), self._known())

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
            self._comparison = self._looked_again(self.goes_on, ticks.comparing)
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
            own = [entry for entry in entries if entry.run == run.run]
            planned = {entry.number for entry in own if entry.state is State.PLANNED}
            is_here = bool(planned & here) if planned else self._is_end_of(run, own)
            if run.is_open and is_here:
                self.goes_on = run
            elif run.is_open:
                self.waits_elsewhere = run

    def _is_end_of(self, run: Run, own: Iterable[Entry]) -> bool:
        """Whether a run that has nothing to carry any more can be ended with this card.

        So it is where this card has one of its files, or is the one that it emptied. Another card that
        is mounted in the same place tells nothing of what that one still has.
        """
        left = [entry for entry in own if not entry.gone and entry.state is not State.LEFT]
        if not left:
            return True
        if not any(file.plain for file in self._card.listing(may_be_empty=True).files):
            return self._is_place_of(run)
        return any(self._is_on_card(entry) for entry in left)

    def _is_place_of(self, run: Run) -> bool:
        """Whether the run's card was where this one is: not where only the folder is left of its mount."""
        root = str(self._card.root.absolute())
        return run.card == root and (not run.mounted or os.path.ismount(root))

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
        account = self._account(ticks)
        if not (self.goes_on or self._has_moved):
            refuse_empty(self._card, account)
        self.thrown = account.thrown_away
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

    def _account(self, ticks: Ticks) -> Account:
        """What is on the card; the pictures have their say where it is wished for.

        What the user says stands over what the pictures say.
        """
        settings, said = self._wishes.settings, self._wishes.corrections
        reading = reading_of(self._card, self._listing, settings, ticks.reading)
        account = accounted(reading, settings, said)
        if not self._wishes.looks:
            return account
        found = check_account(self._card, account, default_jobs(), ticks.looking)
        self.suggested = apart_from(said, found.suggested, account)
        if not self.suggested:
            return account
        return accounted(reading, settings, (*said, *self.suggested))

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
            if self._has_moved or self.goes_on is not None:
                return self._card.listing(may_be_empty=True)
            raise

    @property
    def _has_moved(self) -> bool:
        """Whether an ingest of this shoot was a move from here, which leaves a card empty."""
        runs = self._ledger.runs() if self._ledger is not None else ()
        return any(run.moves and self._is_place_of(run) for run in runs)

    def _compared(self, account: Account, known: tuple[Entry, ...], tick: Tick) -> Comparison:
        if not known:
            return Comparison()
        captured = {row.source: row.captured for row in make_rows(account)}
        files = self._listing.files
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
            asked = (*found.there.values(), *found.failed.values(), *self._stored)
            self.second.compare((entry.number for entry in asked), lambda _: None)
        return found

    def _looked_again(self, run: Run, tick: Tick) -> Comparison:
        """What the stopped run has carried, read again: it may be gone or spoiled since."""
        own = [entry for entry in self._known() if entry.run == run.run]
        placed = [entry for entry in own if entry.state is State.PLACED]
        if self.second:
            self._ahead = self.second.ahead(own)
        beside = [entry for entry in own if entry.state is State.VERIFIED]
        size = sum(e.row.bytes for e in placed) * (1 if run.moves else 2)
        found = look_again(
            self._card,
            self._shoot,
            files=self._listing.files,
            entries=placed,
            beside=beside,
            tick=Counted(tick, size + sum(e.row.bytes for e in beside)).add,
        )
        if self.second:
            self.second.compare((entry.number for entry in own), lambda _: None)
        return found

    @property
    def _looked(self) -> Looked:
        return Looked(
            listing=self._listing,
            comparison=self._comparison,
            stored=self._stored,
            ahead=self._ahead,
            plan=self.plan,
            goes_on=self.goes_on.run if self.goes_on else 0,
            again=self._again,
            moves=self.would_move,
            rereads=self._wishes.rereads,
            repeats=bool(self._known()),
            lacks=self.second is None and self.goes_on is not None and self.goes_on.two,
        )

    @property
    def _again(self) -> tuple[Entry, ...]:
        """What is carried to the places that it has: not carried yet, or gone missing.

        Of a stopped run also what is spoiled: it gets a name beside. Not what the card has no more, or has
        with other bytes: that is another file by now.
        """
        found = self._comparison
        if self.goes_on is None:  # what is stored is of a run that waits for another card, or none
            stored = (entry for entry in self._stored if self._is_on_card(entry))
            return (*stored, *found.missing.values())
        bad = (e for e in found.bad.values() if e.row.source not in found.other)
        return (*self._stored, *(entry for entry in bad if self._is_on_card(entry)))

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
            self.goes_on, self._stored, self._ahead = None, (), ()
            self._look_afresh(ticks)
            report = self._carry_plan(ticks).after(report)
        return self._with_last_look(report)

    def _with_last_look(self, report: Report) -> Report:
        """The card is listed once more: what came, changed or went meanwhile is in no copy."""
        drift: Drift | None = None
        thrown: tuple[str, ...] = ()
        shoots = self._listing.shoots
        with suppress(CardGone, CardNotReadable):
            self._card.expect_root()
            after = self._card.listing(may_be_empty=True)
            held = {e.row.sha256 for e in report.entries if report.held.get(e.number)}
            thrown = in_no_copy(self._card, thrown_away(self._card, after), held)
            shoots = after.shoots
            gone = {entry.row.source for entry in report.gone}
            drift = differences(self._listing, after, gone)
        places = self._places()
        return replace(report, drift=drift, thrown=thrown, shoots=shoots, places=places)

    def _places(self) -> Places:
        """Which of card, shoot and second copy lie on one disk."""
        second = self.second.shoot if self.second else None
        return places_of(self._card, self._shoot, second)

    def _has_more(self, report: Report) -> bool:
        """Whether the card holds files that the plan which was gone on with does not know."""
        if self._comparison.other:
            return True
        known = {(entry.row.source, entry.row.bytes) for entry in report.entries}
        files = files_of(self._card, self._listing)
        if any((file.path, file.size) not in known for file in files):
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
        work = Carrying(card=self._card, shoot=self._shoot, second=self.second, looked=self._looked)
        work.check_room(self._known())
        return work.carry(self._noted(), self._new_run, ticks, self._open)

    def _noted(self) -> Ledger:
        """The ledger, with the plan in it."""
        with stopping_clearly(self._shoot):
            self._shoot.prepare()  # also where the folders were lost: who copies may leave empty ones out
        if self._ledger is None:
            self._ledger = self._open.enter_context(new_ledger(self._shoot))
        again = [entry for entry in self._again if entry.state is State.PLACED]
        if again:
            self._ledger.note(replace(entry, state=State.PLANNED) for entry in again)
        if self.plan.placements or self.plan.updated:
            root = str(self._card.root.absolute())
            moves, two = self._wishes.moves, self.second is not None
            self._new_run = self._ledger.add_run(root, self.plan, moves=moves, two=two)
        return self._ledger


def _naming(wishes: Wishes) -> Naming:
    try:
        parsed = pattern.parse(wishes.folder)
    except pattern.PatternFault as fault:
        raise BadPattern(
            f"--folder {wishes.folder!r}: {fault}. Write it like the default, {pattern.DEFAULT}"
        ) from fault
    return Naming(pattern=parsed, name=wishes.name)


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
