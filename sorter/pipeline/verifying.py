"""Verify: a shoot held against its ledger, and its second copy; what was moved adopted, each mended."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final, Self

from sorter.disk.shoot import Shoot
from sorter.disk.walk import is_system_file
from sorter.errors import BadBackup, NoShoot, SorterError
from sorter.model.plan import Entry, State
from sorter.model.progress import CountProgress
from sorter.pipeline.adopting import adopt, has_to_adopt, refuse_undoing
from sorter.pipeline.backup import check_apart_from, refuse_unknown_entries
from sorter.pipeline.ingest_options import SharedCount
from sorter.pipeline.recording import (
    RECORDS,
    cannot_read,
    is_up_to_date,
    records_of,
    refuse_foreign_lists,
    write_records,
)
from sorter.pipeline.seeking import seek
from sorter.pipeline.space import no_space, space_for
from sorter.planning.places import another_name
from sorter.writing.copying import Job
from sorter.writing.ledger import Ledger
from sorter.writing.mend import Side, mend, mending, take_note
from sorter.writing.target import Target, check_any, stopping_clearly
from sorter.writing.verify import Findings
from sorter.writing.verify import verify as verified

CROWDED: Final = (
    "a file of the shoot that was moved lies in its place: with --adopt it gets another one"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """One folder and what was found in it. failure: why what it lacks could not be written there.

    unmended: the paths of files for which no good copy could be had from the other, with the reason.
    aside: where files lie now in whose places good copies are.
    """

    folder: Path
    findings: Findings
    failure: SorterError | None = None
    unmended: dict[str, str]
    aside: tuple[str, ...] = ()


def verify(root: Path, progress: CountProgress) -> Findings:
    """Every file of the shoot read and held against its digest; nothing is changed.

    Raises NoShoot where it is no shoot, ShootBusy, LedgerDamaged.
    """
    with Verification(root) as work:
        (found,) = work.inspect(progress)
        return found.findings


def verify_both(
    root: Path,
    backup: Path,
    progress: CountProgress,
    mending: CountProgress,
    *,
    mends: bool,
    adopts: bool = False,
) -> tuple[Verified, Verified]:
    """The shoot and its second copy, each as `verify` does it.

    mends: what one of them lacks, or holds otherwise than it was carried, is copied from the other.
    adopts: before that, what was moved within one of them is noted where it lies.
    Without either nothing is changed. A second copy that has no ledger is held against the shoot's; mends
    makes one. Raises as verify does, and BadBackup.
    """
    with Verification(root, backup, adopts=adopts, mends=mends) as work:
        one, two = work.inspect(progress)
        if adopts:
            work.adopt()
        return work.mend(mending) if mends else (one, two)


class Verification:
    """A shoot, and its second copy where there is one, looked at; then adopted and mended, where asked.

    adopts, mends: that is to be done, and nobody else may work there meanwhile. To be used in a with
    statement. Raises NoShoot where it is no shoot, ShootBusy, LedgerDamaged, BadBackup; where it adopts
    BadShoot if an undo was stopped.
    """

    def __init__(
        self, root: Path, backup: Path | None = None, *, adopts: bool = False, mends: bool = False
    ) -> None:
        self._open = ExitStack()
        self.adopts = adopts
        self._mends = mends
        self._shoot = Shoot(root)
        self._found: tuple[Findings, ...] = ()
        try:
            if backup is not None:
                check_apart_from(backup, self._shoot)
            hold = adopts or mends
            self._ledger = self._open.enter_context(Ledger(self._shoot.hidden, hold=hold))
            self._backup: _Backup | None = None
            if backup is not None:
                other = Shoot(backup)
                self._backup = _Backup(other, self._ledger, self._open, hold=hold, mends=mends)
            for shoot, ledger in self._ledgers() if adopts else ():
                refuse_undoing(shoot, ledger)
        except BaseException:
            self._open.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._open.close()

    def _ledgers(self) -> Iterator[tuple[Shoot, Ledger]]:
        """The folders that have ledgers, with these."""
        yield self._shoot, self._ledger
        if self._backup is not None and self._backup.ledger is not None:
            yield self._backup.shoot, self._backup.ledger

    def inspect(self, progress: CountProgress) -> tuple[Verified, ...]:
        """What is in the shoot, and what is in its second copy."""
        if self._mends:
            self._recover()
        known = self._ledger.entries()
        backup = self._backup
        expected = backup.expected(known) if backup else ()
        counted = SharedCount(progress, _size(known) + _size(expected))
        self._found = (_found(self._shoot, known, counted),)
        if backup:
            # What the shoot has got since is no edit of the lists that the second copy has.
            listed = backup.ledger.entries() if backup.ledger else expected
            self._found += (_found(backup.shoot, expected, counted, listed=listed),)
        return self.found

    @property
    def found(self) -> tuple[Verified, ...]:
        """What was found, as it is now."""
        folders = (self._shoot.root, *([self._backup.shoot.root] if self._backup else []))
        both = zip(folders, self._found, strict=True)
        return tuple(Verified(folder=folder, findings=each, unmended={}) for folder, each in both)

    @property
    def to_adopt(self) -> tuple[Verified, ...]:
        """The folders in which something is to be noted again; none that has no ledger to note it in."""
        with_ledger = {shoot.root for shoot, _ in self._ledgers()}
        return tuple(
            each
            for each in self.found
            if each.folder in with_ledger and has_to_adopt(each.findings)
        )

    def adopt(self) -> None:
        """What was moved within a folder is noted where it lies. Raises ShootNotWritable, NoRoom."""
        for (shoot, ledger), findings in zip(self._ledgers(), self._found, strict=False):
            if has_to_adopt(findings):
                adopt(shoot, ledger, findings)

    def mend(self, progress: CountProgress) -> tuple[Verified, Verified]:
        """Each of the two has what the other had whole, and their lists say so."""
        if self._backup is None:
            raise AssertionError("there is no second copy to mend from")
        found, other = self._found
        own = self._backup.mended(other)
        sides = (_side(self._shoot, self._ledger, found), _side(self._backup.shoot, own, other))
        jobs = mending(*sides)
        _check_free_space(sides, jobs)
        jobs = tuple(job for job in jobs if job.wanted[0][0].failure is None)
        counted = SharedCount(progress, sum(job.entry.row.bytes for job in jobs))
        if jobs:
            mend(sides, jobs, counted.add)
        one, two = (_settled(side) for side in sides)
        return one, two

    def _recover(self) -> None:
        """What a stopped run noted as verified is in its place. Raises what the disks have against it."""
        for shoot, ledger in self._ledgers():
            target = Target(shoot, ledger, another_name)
            target.recover(None)
            check_any([target])


class _Backup:
    """A second copy and its ledger. ledger: None where it has none, or one that knows nothing yet."""

    def __init__(
        self, shoot: Shoot, lead: Ledger, open_files: ExitStack, *, hold: bool, mends: bool
    ) -> None:
        self.shoot = shoot
        self._lead = lead
        self._open = open_files
        own = self._opened(hold=hold, mends=mends)
        # A run that was cut may have made a ledger that knows nothing yet.
        is_blank = own is not None and not own.runs()
        self.ledger: Ledger | None = None if is_blank else own
        self._blank: Ledger | None = own if is_blank else None

    def _opened(self, *, hold: bool, mends: bool) -> Ledger | None:
        """The second copy's ledger; None where it has none."""
        try:
            own = self._open.enter_context(Ledger(self.shoot.hidden, hold=hold))
        except NoShoot:
            if mends or self.shoot.root.is_dir():
                return None
            raise BadBackup(
                f"{self.shoot.root}: there is no such folder. Is the disk of the second copy in and "
                "mounted? With --mend it is made anew."
            ) from None
        refuse_unknown_entries(self.shoot, self._lead.entries(), own.entries())
        return own

    def expected(self, known: tuple[Entry, ...]) -> tuple[Entry, ...]:
        """What the second copy is to hold: by its own ledger, and what that does not know yet."""
        if self.ledger is None:
            return tuple(replace(entry, moves=False, gone=False) for entry in known)
        own = {entry.number: entry for entry in self.ledger.entries()}
        new = (replace(e, state=_unless_left(e)) for e in known if e.number not in own)
        return (*own.values(), *new)

    def mended(self, found: Findings) -> Ledger:
        """Its ledger, which knows all that the shoot's does; made where there was none."""
        own = self.ledger or self._made(found)
        own.follow(self._lead)
        renewed = {entry.number: entry for entry in own.entries()}
        found.waiting = {number: renewed[number] for number in found.waiting}
        return own

    def _made(self, found: Findings) -> Ledger:
        """A ledger for a second copy that has none, which knows what of it is there.

        What is not there was never carried here, as far as this ledger can tell.
        """
        same = [
            is_up_to_date(self.shoot.root / name, data)
            for name, data in records_of(self._lead.entries()).items()
        ]
        if not all(same):
            refuse_foreign_lists(self.shoot)
        with stopping_clearly(self.shoot):
            self.shoot.prepare()
        own = self._blank or self._open.enter_context(
            Ledger(self.shoot.hidden, hold=True, make=True)
        )
        found.waiting, found.lost = {**found.waiting, **found.lost}, {}
        own.follow(self._lead, placed=(*found.sound.values(), *found.broken.values()))
        found.adopt(
            found.moved.keys() & found.sound.keys()
        )  # this ledger never had them anywhere else
        return own


def _found(
    shoot: Shoot,
    entries: tuple[Entry, ...],
    counted: SharedCount,
    *,
    listed: tuple[Entry, ...] | None = None,
) -> Findings:
    """What is in the folder. listed: what its lists are to hold, where that is not all the entries."""
    findings = verified(shoot, entries, is_system_file, counted.add)
    seek(shoot, findings, counted.add)
    for name, data in records_of(entries if listed is None else listed).items():
        if is_up_to_date(shoot.root / name, data):
            continue
        reason = cannot_read(shoot.root / name)
        if reason:
            findings.unlisted[name] = reason
        else:
            findings.edited.append(name)
    return findings


def _unless_left(entry: Entry) -> State:
    return State.LEFT if entry.state is State.LEFT else State.PLANNED


def _side(shoot: Shoot, ledger: Ledger, findings: Findings) -> Side:
    target = Target(shoot, ledger, another_name, broken=frozenset(findings.broken))
    with target.failing():
        shoot.prepare()
    return Side(target=target, findings=findings)


def _check_free_space(sides: Iterable[Side], jobs: tuple[Job, ...]) -> None:
    """A side that has no free space for what it lacks takes nothing."""
    for side in sides:
        target = side.target
        rows = (job.entry.row for job in jobs if job.wanted[0][0] is target)
        with target.failing():
            error = no_space(target.shoot, map(space_for, rows))
            if error is not None:
                target.fail(error)


def _settled(side: Side) -> Verified:
    """The lists say what is there now, and so do the findings."""
    target, findings = side.target, side.findings
    take_note(side)
    broken = findings.broken
    crowded = (entry.row.destination for entry in findings.crowded.values())
    with target.failing():
        write_records(target.shoot, target.ledger.entries())
        findings.edited = [path for path in findings.edited if path not in RECORDS]
    return Verified(
        folder=target.shoot.root,
        findings=findings,
        failure=target.failure,
        unmended={
            **dict.fromkeys(crowded, CROWDED),
            **{
                broken[number].row.destination: reason
                for number, reason in target.outcome.unmended.items()
                if number in broken
            },
        },
        aside=tuple(target.outcome.aside),
    )


def _size(entries: Iterable[Entry]) -> int:
    return sum(entry.row.bytes for entry in entries if entry.state is State.PLACED)
