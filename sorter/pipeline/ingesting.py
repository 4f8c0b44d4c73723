"""Ingest: a card inspected, and the plan that comes of it carried into a shoot.

The plan is a value. A dry run shows it, a run notes the same value in the ledger and carries it out.
"""

from __future__ import annotations

from contextlib import ExitStack, suppress
from dataclasses import replace
from pathlib import Path
from typing import Self

from sorter.disk.card import Card
from sorter.disk.output import check_beside
from sorter.disk.shoot import Shoot
from sorter.errors import BadShoot, CardGone, CardNotReadable, NoShoot
from sorter.model.card import Listing, differences
from sorter.model.plan import State
from sorter.pipeline.backup import Backup
from sorter.pipeline.basis import outdated
from sorter.pipeline.card_check import in_no_copy
from sorter.pipeline.carrying import Carrying
from sorter.pipeline.ingest_options import IngestOptions, StageProgress
from sorter.pipeline.ingest_report import Report
from sorter.pipeline.inspecting import Inspection
from sorter.pipeline.naming import naming_of
from sorter.pipeline.places import disk_layout
from sorter.pipeline.planned import IngestPlan
from sorter.pipeline.recording import new_ledger, refuse_foreign_lists
from sorter.pipeline.stopped import Stopped, is_on_card
from sorter.pipeline.working import Workers
from sorter.reading.cards import files_of, thrown_away
from sorter.writing.ledger import Ledger
from sorter.writing.target import stopping_clearly


class Ingest:
    """Card, shoot and second copy, open for an ingest; to be used in a with statement.

    `inspect` makes a plan and changes nothing; `carry` carries out that plan, or one that was made in
    an earlier session and still fits. What is found out stands in the plan, and what became of it in
    the report: here is only what is open. workers: who looks at pictures, where that is asked for; None
    for threads. Raises what Card and Shoot raise, BadPattern and BadShoot.
    """

    def __init__(
        self, card: Path, shoot: Path, options: IngestOptions, workers: Workers | None = None
    ) -> None:
        naming_of(options.folder, options.name)
        self._card = Card(card)
        check_beside(shoot, card=card)
        self._shoot = Shoot(shoot)
        backup = options.backup
        self._backup = Backup(backup, card=card, shoot=self._shoot) if backup else None
        self._options = options
        self._workers = workers or Workers()
        self._open = ExitStack()
        self._ledger: Ledger | None = None
        self._is_held = False
        self._planned: IngestPlan | None = None

    @classmethod
    def of(cls, plan: IngestPlan, workers: Workers | None = None) -> Self:
        """A session for carrying out a plan that was made in another one."""
        return cls(plan.card, plan.shoot, plan.options, workers)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._open.close()

    # ---- looking -----------------------------------------------------------------------------

    def inspect(self, progress: StageProgress, *, hold: bool) -> IngestPlan:
        """Finds out what is to be done, and changes nothing.

        Where the shoot's ledger holds a plan for this card that was not ended, that plan is gone on
        with, and no new one is made before it is done. hold: nobody else may work in the shoot until
        the end. Raises what Card, Ledger and scan raise, and BadShoot.
        """
        self._reopen(hold=hold)
        plan = self._inspection(progress).plan()
        self._planned = plan if hold else None
        return plan

    def _reopen(self, *, hold: bool) -> None:
        """The ledgers are open, where there are any. What is held stays so."""
        if self._is_held:
            return
        self._open.close()
        self._ledger = None
        with suppress(NoShoot):
            self._ledger = self._open.enter_context(Ledger(self._shoot.hidden, hold=hold))
        if self._ledger is None:
            refuse_foreign_lists(self._shoot)
        else:
            self._refuse_stopped_undo(self._ledger)
        if self._backup:
            known = self._ledger.entries() if self._ledger else ()
            self._backup.open(known, hold=hold, open_files=self._open)
        self._is_held = hold

    def _refuse_stopped_undo(self, ledger: Ledger) -> None:
        if any(run.is_undoing for run in ledger.runs()):
            raise BadShoot(
                f"{self._shoot.root}: an undo was stopped here. Run `sorter undo` with this folder "
                "again to end it."
            )

    def _inspection(self, progress: StageProgress) -> Inspection:
        return Inspection(
            self._card,
            self._shoot,
            self._backup,
            self._ledger,
            workers=self._workers,
            options=self._options,
            progress=progress,
        )

    # ---- carrying ----------------------------------------------------------------------------

    def carry(self, plan: IngestPlan, progress: StageProgress) -> Report:
        """Carries the plan out, and writes manifest.csv and SHA256SUMS out of the ledger.

        After a stopped plan, what came onto the card since is planned and carried too; so is said
        what files are that the card gave only now. The report tells of both plans. Raises NoRoom,
        ShootNotWritable, CardGone and what the ledger raises: nothing is lost then, and the same
        command goes on. Raises PlanOutdated where the plan was made in another session, and card,
        shoot or second copy are not any more what it was made from: nothing is written then.
        """
        if plan is not self._planned:
            plan = self._seen_again(plan, progress)
        self._planned = None
        report, run = self._carried(plan, progress)
        if not report.failures and self._has_more(plan, report):
            waits = Stopped(waits_elsewhere=plan.waits_elsewhere)
            following = self._inspection(progress).new_plan(waits)
            report = self._carried(following, progress, run)[0].after(report)
        return self._with_last_listing(report)

    def _seen_again(self, plan: IngestPlan, progress: StageProgress) -> IngestPlan:
        """The plan as it is found now, which may be long after it was made."""
        options = replace(self._options, backup=self._backup.shoot.root if self._backup else None)
        if (plan.card, plan.shoot, plan.options) != (
            self._card.root.absolute(),
            self._shoot.root,
            options,
        ):
            raise outdated(
                plan.shoot, "the plan is for another card, another folder, or other options"
            )
        self._reopen(hold=True)
        return self._inspection(progress).seen_again(plan)

    def _has_more(self, plan: IngestPlan, report: Report) -> bool:
        """Whether more is to be said, or carried, than the plan knew of."""
        return _is_unsorted(report) or (plan.goes_on is not None and self._has_grown(plan, report))

    def _has_grown(self, plan: IngestPlan, report: Report) -> bool:
        """Whether the card holds files that the plan which was gone on with does not know."""
        if report.other:
            return True
        known = {(entry.row.source, entry.row.bytes) for entry in report.entries}
        files = files_of(self._card, plan.listing)
        if any((file.path, file.size) not in known for file in files):
            return True
        failed = (entry for entry in report.entries if entry.state is State.FAILED)
        return any(is_on_card(self._card, entry) for entry in failed)

    def _carried(
        self, plan: IngestPlan, progress: StageProgress, run: int = 0
    ) -> tuple[Report, int]:
        """What became of the plan, and the number of its ingest. run: that of the plan before it."""
        work = Carrying(plan, card=self._card, shoot=self._shoot, backup=self._backup)
        work.check_free_space(self._ledger.entries() if self._ledger else ())
        ledger = self._ready()
        run = _noted(ledger, plan, run)
        return work.carry(ledger, run, progress, self._open), run

    def _ready(self) -> Ledger:
        """The ledger, made where there is none."""
        with stopping_clearly(self._shoot):
            self._shoot.prepare()  # also where the folders were lost: who copies may leave empty ones out
        if self._ledger is None:
            self._ledger = self._open.enter_context(new_ledger(self._shoot))
        return self._ledger

    def _with_last_listing(self, report: Report) -> Report:
        """The card is listed once more: what came, changed or went meanwhile is in no copy."""
        before = report.plans[-1].listing
        places = disk_layout(self._card, self._shoot, self._backup.shoot if self._backup else None)
        report = replace(report, shoots=before.shoots, places=places)
        with suppress(CardGone, CardNotReadable):
            self._card.expect_root()
            return self._held_against(before, report)
        return report

    def _held_against(self, before: Listing, report: Report) -> Report:
        """Raises CardGone, CardNotReadable."""
        after = self._card.listing(may_be_empty=True)
        held = {e.row.sha256 for e in report.entries if report.held.get(e.number)}
        gone = {entry.row.source for entry in report.gone}
        return replace(
            report,
            thrown=in_no_copy(self._card, thrown_away(self._card, after), held),
            drift=differences(before, after, gone),
            shoots=after.shoots,
        )


def _noted(ledger: Ledger, plan: IngestPlan, run: int) -> int:
    """The plan stands in the ledger; returns the number of its ingest.

    run: that of the plan before it, which one without files of its own belongs to.
    """
    again = [entry for entry in plan.resumed if entry.state is State.PLACED]
    if again:
        ledger.note(replace(entry, state=State.PLANNED) for entry in again)
    if not (plan.placements or plan.updated):
        return run
    two = plan.options.backup is not None
    return ledger.add_run(str(plan.card), plan, moves=plan.options.moves, two=two)


def _is_unsorted(report: Report) -> bool:
    """Whether a file was carried that could not be read when its place was planned.

    The card gave it after all, so that it can be said now what it is.
    """
    new = {entry.number for entry in report.new}
    return any(not e.is_known and e.number in new for e in report.entries)
