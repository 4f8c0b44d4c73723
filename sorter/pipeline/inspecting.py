"""The looking half of an ingest: card, shoot and second copy to a plan, with nothing changed anywhere."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.manifest.rows import make_rows
from sorter.model.card import Listing
from sorter.model.compared import Compared
from sorter.model.correction import Correction
from sorter.model.plan import Entry, Placement, State
from sorter.model.row import Row
from sorter.model.sequence import Account
from sorter.pipeline.backup import Backup
from sorter.pipeline.basis import (
    basis_of,
    outdated,
    refuse_other_bytes,
    refuse_other_card,
    refuse_other_shoot,
)
from sorter.pipeline.checking import apart_from, check_account
from sorter.pipeline.ingest_options import IngestOptions, SharedCount, StageProgress
from sorter.pipeline.naming import naming_of
from sorter.pipeline.new_plan import (
    contents_of,
    files_in,
    late_corrections,
    plan_new,
)
from sorter.pipeline.planned import BackupFound, IngestPlan
from sorter.pipeline.recording import RECORDS
from sorter.pipeline.scanning import accounted, reading_of, refuse_empty
from sorter.pipeline.seeking import astray
from sorter.pipeline.stopped import Stopped, find_stopped, is_on_card, is_place_of
from sorter.pipeline.working import Workers
from sorter.writing.compare import Comparison, compare, compare_again, read_again, size_to_compare
from sorter.writing.ledger import IngestRun, Ledger
from sorter.writing.reading import readers


class Inspection:
    """One look at what is open, for one plan. ledger: the shoot's; None where it has none yet."""

    def __init__(
        self,
        card: Card,
        shoot: Shoot,
        backup: Backup | None,
        ledger: Ledger | None,
        *,
        workers: Workers,
        options: IngestOptions,
        progress: StageProgress,
    ) -> None:
        self._card = card
        self._shoot = shoot
        self._backup = backup
        self._workers = workers
        self._options = options
        self._progress = progress
        self._runs = ledger.runs() if ledger else ()
        self._known = ledger.entries() if ledger else ()

    # ---- a plan ----------------------------------------------------------------------------

    def plan(self) -> IngestPlan:
        """The plan that was stopped here and goes on with this card; else a new one.

        Raises what listing and scan raise, and BadShoot.
        """
        stopped = find_stopped(self._card, self._runs, self._known)
        run = stopped.goes_on
        plan = self.new_plan(stopped) if run is None else self._going_on(stopped, run)
        self.refuse_obstacles(plan)
        return plan

    def new_plan(self, stopped: Stopped) -> IngestPlan:
        """A plan for all that the shoot does not have yet, and for what a run left that waits elsewhere."""
        listing = self._card.listing(may_be_empty=self._has_moved)
        account, suggested = self._account(listing)
        if not self._has_moved:
            refuse_empty(self._card, account)
        rows = make_rows(account)
        found = self._compared(listing, account, rows)
        contents = contents_of(self._known, found, rows, (path for path, _ in self._shoot.paths()))
        naming = naming_of(self._options.folder, self._options.name)
        made = plan_new(account, contents, naming)
        known = (*found.there.values(), *found.failed.values(), *stopped.stored)
        return replace(
            self._plan(listing, found.value(), stopped),
            placements=made.placements,
            updated=made.updated,
            again=made.again,
            resumed=(*self._on_card(stopped.stored), *found.missing.values()),
            too_late=late_corrections(account, made, contents, self._options.corrections),
            suggested=suggested,
            thrown=account.thrown_away,
            astray=astray(self._shoot, found.missing.values(), self._known),
            backup=self._find_backup(known),
        )

    def _going_on(self, stopped: Stopped, run: IngestRun) -> IngestPlan:
        """The stopped plan: what it carried is read again, for it may be gone or spoiled since.

        Not carried again is what the card has no more, or has with other bytes: that is another file by now.
        """
        listing = self._card.listing(may_be_empty=True)
        own = self._of(run)
        found = self._inspected_again(listing, own, moves=run.moves)
        bad = [entry for entry in found.bad.values() if entry.row.source not in found.other]
        return replace(
            self._plan(listing, found.value(), stopped),
            goes_on=run,
            resumed=(*stopped.stored, *self._on_card(bad)),
            backup=self._find_backup(own, own),
        )

    def _plan(self, listing: Listing, compared: Compared, stopped: Stopped) -> IngestPlan:
        backup = self._backup.shoot.root if self._backup else None
        return IngestPlan(
            placements=(),
            card=self._card.root.absolute(),
            shoot=self._shoot.root,
            options=replace(self._options, backup=backup),
            basis=self.basis,
            listing=listing,
            compared=compared,
            stored=stopped.stored,
            waits_elsewhere=stopped.waits_elsewhere,
            repeats=bool(self._known),
        )

    def refuse_obstacles(self, plan: IngestPlan) -> None:
        """Returns where nothing is in the way of the plan's folders and lists. Raises BadShoot."""
        needed = {each.row.destination.rpartition("/")[0] for each in plan.waiting}
        for shoot in (self._shoot, *([self._backup.shoot] if self._backup else [])):
            shoot.refuse_obstacles(needed, RECORDS)

    @property
    def basis(self) -> str:
        """What the shoot's ledger holds."""
        return basis_of(self._runs, self._known)

    def _of(self, run: IngestRun) -> tuple[Entry, ...]:
        """The files of one ingest."""
        return tuple(entry for entry in self._known if entry.run == run.run)

    # ---- the card ----------------------------------------------------------------------------

    @property
    def _has_moved(self) -> bool:
        """Whether an ingest of this shoot was a move from here, which leaves a card empty."""
        return any(run.moves and is_place_of(self._card, run) for run in self._runs)

    def _on_card(self, entries: Iterable[Entry]) -> Iterator[Entry]:
        return (entry for entry in entries if is_on_card(self._card, entry))

    def _account(self, listing: Listing) -> tuple[Account, tuple[Correction, ...]]:
        """What is on the card, and what the pictures say of it where they are to be looked at.

        What the user says stands over what the pictures say.
        """
        settings, notes = self._options.settings, self._options.corrections
        reading = reading_of(self._card, listing, settings, self._progress.reading)
        account = accounted(reading, settings, notes)
        if not self._options.uses_pictures:
            return account, ()
        most, looking = settings.most_pixels, self._progress.looking
        found = check_account(self._card, account, self._workers, looking, most)
        suggested = apart_from(notes, found.suggested, account)
        if suggested:
            account = accounted(reading, settings, (*notes, *suggested))
        return account, suggested

    # ---- what is there -----------------------------------------------------------------------

    def _compared(self, listing: Listing, account: Account, rows: Iterable[Row]) -> Comparison:
        if not self._known:
            return Comparison()
        captured = {row.source: row.captured for row in rows}
        size = size_to_compare(listing.files, self._known)
        return compare(
            self._card,
            self._shoot,
            files=listing.files,
            captured=lambda path: captured.get(path, ""),
            fingerprints={file.path: file.fingerprint for file in files_in(account)},
            entries=self._known,
            progress=SharedCount(self._progress.comparing, size).add,
        )

    def _inspected_again(
        self, listing: Listing, own: Iterable[Entry], *, moves: bool
    ) -> Comparison:
        placed = [entry for entry in own if entry.state is State.PLACED]
        unplaced = [entry for entry in own if entry.state is State.VERIFIED]
        size = sum(e.row.bytes for e in placed) * (1 if moves else 2)
        return compare_again(
            self._card,
            self._shoot,
            files=listing.files,
            entries=placed,
            beside=unplaced,
            progress=SharedCount(
                self._progress.comparing, size + sum(e.row.bytes for e in unplaced)
            ).add,
        )

    def _find_backup(self, asked: Iterable[Entry], own: Iterable[Entry] = ()) -> BackupFound | None:
        """asked: whose copies are read. own: the files of a stopped plan that is gone on with."""
        if self._backup is None:
            return None
        return self._backup.find(self._known, (entry.number for entry in asked), own)

    # ---- a plan of another session -----------------------------------------------------------

    def seen_again(self, plan: IngestPlan) -> IngestPlan:
        """The same plan, with all that it found in the copies read again now.

        Raises PlanOutdated where card, shoot or second copy are not what it was made from.
        """
        refuse_other_shoot(self._shoot.root, plan.basis, self.basis)
        refuse_other_card(self._card.root, plan.listing, self._card.listing(may_be_empty=True))
        self._refuse_other_beginnings(plan)
        found = self._compared_again(plan).value()
        if not found.agrees(plan.compared):
            raise outdated(
                self._shoot.root, "copies or files of the card hold other bytes than they did"
            )
        backup = self._backup_again(plan)
        self.refuse_obstacles(plan)
        return replace(plan, compared=found, backup=backup)

    def _refuse_other_beginnings(self, plan: IngestPlan) -> None:
        """What is to be carried begins as it did: stamps tell nothing where the file system keeps few.

        All that the plan says of a file was read there. Raises PlanOutdated, CardGone.
        """
        asked = [
            each for each in plan.waiting if each.fingerprint and self._card.device(each.row.source)
        ]
        with readers() as pool:
            same = pool.map(lambda each: _holds(self._card, each), asked)
            other = [
                each.row.source for each, is_same in zip(asked, same, strict=True) if not is_same
            ]
        if other:
            self._card.expect()
        refuse_other_bytes(self._card.root, other)

    def _compared_again(self, plan: IngestPlan) -> Comparison:
        if plan.goes_on is not None:
            own = self._of(plan.goes_on)
            return self._inspected_again(plan.listing, own, moves=plan.goes_on.moves)
        size = sum(entry.row.bytes for _, entry in plan.compared.there)
        return read_again(
            self._card,
            self._shoot,
            files=plan.listing.files,
            before=plan.compared,
            progress=SharedCount(self._progress.comparing, size).add,
        )

    def _backup_again(self, plan: IngestPlan) -> BackupFound | None:
        before = plan.backup
        if before is None or self._backup is None:
            return None
        refuse_other_shoot(before.folder, before.basis, self._backup.basis())
        own = self._of(plan.goes_on) if plan.goes_on else ()
        found = plan.compared
        there = (entry for _, entry in (*found.there, *found.failed))
        now = self._find_backup(own or (*there, *plan.stored), own)
        if now is None or not now.compared.agrees(before.compared):
            raise outdated(before.folder, "copies hold other bytes than they did")
        return now


def _holds(card: Card, placement: Placement) -> bool:
    return card.holds(placement.row.source, placement.row.bytes, placement.fingerprint)
