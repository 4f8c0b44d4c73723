"""The carrying half of an ingest: a plan brought into one folder or two. The plan itself stays as it is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import ExitStack, suppress
from typing import Final

from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.errors import NoRoom, ShootNotWritable, SorterError
from sorter.model.operation import OperationState
from sorter.model.plan import Entry, State
from sorter.pipeline.backing_up import BackupWriter
from sorter.pipeline.backup import Backup
from sorter.pipeline.ingest_options import SharedCount, StageProgress
from sorter.pipeline.ingest_report import Report
from sorter.pipeline.missed import Missed, find_missed
from sorter.pipeline.planned import IngestPlan
from sorter.pipeline.recording import write_records
from sorter.pipeline.space import no_space, rows_to_write, space_for
from sorter.planning.places import another_name
from sorter.writing.carry import Carrier
from sorter.writing.copying import Job
from sorter.writing.ledger import Ledger
from sorter.writing.notes import failed
from sorter.writing.target import Target, check_any

LOST: Final = "it was not on the card any more when the ingest went on"


class Carrying:
    """Carries a plan out; for one call of each verb."""

    def __init__(
        self, plan: IngestPlan, *, card: Card, shoot: Shoot, backup: Backup | None
    ) -> None:
        self._plan = plan
        self._card = card
        self._shoot = shoot
        self._backup = BackupWriter(backup, plan.backup) if backup and plan.backup else None
        self._no_room: NoRoom | None = None
        self._missed = Missed()

    def carry(
        self, ledger: Ledger, new_run: int, progress: StageProgress, open_files: ExitStack
    ) -> Report:
        """Carries out what the ledger holds of it, and writes the lists of both folders.

        new_run: the ingest that the plan was noted as; 0 where it was not. Raises as Ingest.carry
        does.
        """
        lead = Target(self._shoot, ledger, another_name)
        lead.outcome.held.update(self._plan.compared.held)
        lead.outcome.twice.update(self._plan.compared.original)
        if self._no_room is not None:
            lead.fail(self._no_room)
        if self._backup:
            self._backup.begin(ledger, open_files)
        try:
            return self._carry_noted(lead, new_run, progress)
        except BaseException:
            for target in self._targets(lead):
                with suppress(SorterError):  # why the run stops is what counts
                    write_records(target.shoot, target.ledger.entries())
            raise

    @property
    def _goes_on(self) -> int:
        """The ingest that is gone on with; 0 for none."""
        return self._plan.goes_on.run if self._plan.goes_on else 0

    def _targets(self, lead: Target) -> tuple[Target, ...]:
        other = self._backup.target if self._backup else None
        return (lead, other) if other else (lead,)

    def check_free_space(self, known: tuple[Entry, ...]) -> None:
        """Raises NoRoom before the first byte is written, ShootNotWritable.

        Where only one of two folders has no free space, the other gets its copies all the same.
        """
        if not self._shoot.is_writable():
            raise ShootNotWritable(
                f"{self._shoot.root}: the system lets us write nothing there. Nothing was done: "
                "check its permissions, or name another folder."
            )
        self._no_room = no_space(
            self._shoot, map(space_for, rows_to_write(self._plan, self._card, self._shoot))
        )
        if self._backup:
            self._backup.check_free_space(self._to_write_backup(known))
        if self._no_room and (self._backup is None or self._backup.failure):
            raise self._no_room

    def _to_write_backup(self, known: tuple[Entry, ...]) -> Iterator[int]:
        """The free space for each file that is not in the second copy yet."""
        if self._backup:
            lacking = self._backup.lacking(known, self._plan.carried_again)
            yield from (space_for(entry.row) for entry in lacking)
            yield from (
                space_for(each.row) for each in self._plan.placements if each.row.destination
            )

    def _carry_noted(self, lead: Target, new_run: int, progress: StageProgress) -> Report:
        runs = frozenset({new_run, self._goes_on})
        counted = SharedCount(progress.carrying)
        targets = self._targets(lead)
        lacks = self._backup is not None and self._backup.target is None
        lacks = lacks or self._plan.lacks_backup
        rereads = self._plan.options.rereads
        with Carrier(self._card, targets, counted.add, lacks=lacks, rereads=rereads) as carrier:
            carrier.expect(each.row.bytes for each in self._plan.placements)
            carrier.recover()
            self._missed = find_missed(self._plan, self._card, lead.ledger.entries())
            lead.ledger.note(self._missed.entries)
            entries = lead.ledger.entries()
            waiting = self._to_carry(entries, new_run)
            self._lose(lead, _lost(entries, waiting, runs))
            jobs = self._jobs(lead, entries, waiting)
            leaving = self._leaving(entries, waiting, runs)
            counted.expect(sum(self._size(job, leaving) for job in jobs))
            carrier.carry(jobs, leaving=leaving)
        ended = {target: self._end(target, lead, runs) for target in targets}
        check_any(targets)
        return self._report(lead, runs, ended)

    def _size(self, job: Job, leaving: frozenset[int]) -> int:
        """How many bytes of the card are read for it: what leaves is read a second time, or a third."""
        is_read = 1 + self._plan.options.rereads + (job.entry.number in leaving)
        return job.entry.row.bytes * (is_read if job.copy is None else 1)

    def _leaving(
        self, entries: Iterable[Entry], waiting: Iterable[Entry], runs: frozenset[int]
    ) -> frozenset[int]:
        """What may leave the card: all of the ingests that are carried now, where they are moves.

        What failed once may belong to an older ingest, and frees the card of its frame now. And where
        this is a move, so may what an older move could not remove.
        """
        own = runs | {entry.run for entry in waiting}
        there = self._plan.compared.there if self._plan.would_move else ()
        late = {entry.number for _, entry in there}
        return frozenset(
            e.number for e in entries if e.moves and (e.run in own or e.number in late)
        )

    def _lose(self, lead: Target, lost: list[Entry]) -> None:
        lead.ledger.note(lost)
        if self._backup and lost:
            self._backup.lose(lost)

    def _jobs(
        self, lead: Target, entries: tuple[Entry, ...], waiting: list[Entry]
    ) -> tuple[Job, ...]:
        """What is read, in the order of the plans, and for which folders."""
        own = {entry.number: entry for entry in waiting}
        other = self._backup.wanted(entries, frozenset(own)) if self._backup else {}
        return tuple(
            self._job(lead, entry, own.get(entry.number), other.get(entry.number))
            for entry in entries
            if entry.number in own or entry.number in other
        )

    def _job(self, lead: Target, known: Entry, own: Entry | None, other: Entry | None) -> Job:
        """What only the second copy lacks is read where the shoot has it: the card may be gone."""
        wanted = [(lead, own)] if own and (lead.failure is None or other is None) else []
        if other and self._backup and self._backup.target:
            wanted.append((self._backup.target, other))
        if own is None:
            return Job(wanted=tuple(wanted), origin=self._shoot, copy=known)
        return Job(wanted=tuple(wanted), origin=self._card, past=self._plan.repeats)

    def _end(self, target: Target, lead: Target, runs: frozenset[int]) -> tuple[Entry, ...]:
        """The lists are written, then the end is noted: a run that is cut between is gone on with.

        A move goes on until the second copy is whole too: only then the card is emptied. Returns all
        that the ledger knows; nothing where it cannot be read any more.
        """
        entries: tuple[Entry, ...] = ()
        with target.failing():
            entries = target.ledger.entries()
            write_records(target.shoot, entries)
        waits = self._backup is not None and self._backup.failure and self._plan.would_move
        if target.failure is None and not (target is lead and waits):
            with target.failing():
                for run in runs - {0}:
                    target.ledger.set_state(run, OperationState.DONE)
        return entries

    def _to_carry(self, entries: Iterable[Entry], new_run: int) -> list[Entry]:
        """What belongs to the new plan, and what is carried again, in the order of the plans."""
        again = self._plan.carried_again
        return [
            entry
            for entry in entries
            if entry.state in (State.PLANNED, State.FAILED)
            and (entry.run == new_run or entry.number in again)
        ]

    def _report(
        self, lead: Target, runs: frozenset[int], ended: dict[Target, tuple[Entry, ...]]
    ) -> Report:
        found, outcome = self._plan.compared, lead.outcome
        there = {entry.number for _, entry in (*found.there, *found.failed)}
        there |= {entry.number for entry in self._plan.stored}
        entries = tuple(e for e in ended[lead] if e.run in runs or e.number in there)
        lost = {entry.number for entry in found.bad.values()} - self._plan.carried_again
        missing = (entry for entry in entries if entry.number in self._missed.numbers)
        return Report(
            entries=entries,
            new=tuple(outcome.placed),
            failed=tuple(entry for entry in entries if entry.state is State.FAILED),
            differing=tuple(outcome.differing),
            edited=tuple(entry for _, entry in found.edited),
            changed=tuple(entry for _, entry in found.changed if entry.number not in lost),
            lost=(*(e for e in found.bad.values() if e.number in lost), *missing),
            held=outcome.held,
            twice=outcome.twice,
            mended=tuple(outcome.mended),
            other=tuple(sorted({*found.other, *self._missed.other})),
            gone=tuple(outcome.gone),
            kept=tuple(outcome.kept),
            closed=self._plan.closed,
            system_files=self._plan.listing.system_files,
            moves=any(entry.moves for entry in outcome.placed),
            failure=lead.failure,
            plans=(self._plan,),
            backup=self._backup.report(ended, runs, there) if self._backup else None,
        )


def _lost(entries: Iterable[Entry], waiting: Iterable[Entry], runs: frozenset[int]) -> list[Entry]:
    """What was planned and is not on the card any more, as it is noted."""
    carried = {entry.number for entry in waiting}
    return [
        failed(entry, LOST)
        for entry in entries
        if entry.run in runs and entry.state is State.PLANNED and entry.number not in carried
    ]
