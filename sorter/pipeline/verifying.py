"""Verify: a shoot held against its ledger, and its second copy; and each mended from the other."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path

from sorter.disk.shoot import Shoot
from sorter.disk.walk import is_litter
from sorter.errors import BadBackup, NoShoot, SorterError
from sorter.model.plan import Entry, State
from sorter.pipeline.recording import (
    RECORDS,
    cannot_read,
    is_up_to_date,
    records_of,
    refuse_foreign_lists,
    write_records,
)
from sorter.pipeline.room import no_room, room_for
from sorter.pipeline.scanning import Tick
from sorter.pipeline.second import check_apart_from, refuse_strangers
from sorter.pipeline.wishes import Counted
from sorter.planning.places import another_name
from sorter.writing.copying import Job
from sorter.writing.ledger import Ledger
from sorter.writing.mend import Side, mend, mending, take_note
from sorter.writing.target import Target, check_any, stopping_clearly
from sorter.writing.verify import Findings
from sorter.writing.verify import verify as verified


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


def verify(root: Path, tick: Tick) -> Findings:
    """Every file of the shoot read and held against its digest; nothing is changed.

    Raises NoShoot where it is no shoot, ShootBusy, LedgerDamaged.
    """
    shoot = Shoot(root)
    with Ledger(shoot.hidden, hold=False) as ledger:
        entries = ledger.entries()
        return _found(shoot, entries, Counted(tick, _size(entries)))


def verify_both(
    root: Path, backup: Path, tick: Tick, mending: Tick, *, mends: bool
) -> tuple[Verified, Verified]:
    """The shoot and its second copy, each as `verify` does it.

    mends: what one of them lacks, or holds otherwise than it was carried, is copied from the other.
    Without it nothing is changed. A second copy that has no ledger is held against the shoot's; mends
    makes one. Raises as verify does, and BadBackup.
    """
    with ExitStack() as open_files:
        return _Both(root, backup, open_files, hold=mends).verified(
            tick, mending if mends else None
        )


class _Both:
    """A shoot and its second copy, their ledgers open."""

    def __init__(self, root: Path, backup: Path, open_files: ExitStack, *, hold: bool) -> None:
        self._open = open_files
        self._shoot = Shoot(root)
        check_apart_from(backup, self._shoot)
        self._other = Shoot(backup)
        self._ledger = open_files.enter_context(Ledger(self._shoot.hidden, hold=hold))
        own = self._opened(hold=hold)
        # A run that was cut may have made a ledger that knows nothing yet.
        is_blank = own is not None and not own.runs()
        self._own: Ledger | None = None if is_blank else own
        self._blank: Ledger | None = own if is_blank else None

    def _opened(self, *, hold: bool) -> Ledger | None:
        """The second copy's ledger; None where it has none."""
        try:
            own = self._open.enter_context(Ledger(self._other.hidden, hold=hold))
        except NoShoot:
            if hold or self._other.root.is_dir():
                return None
            raise BadBackup(
                f"{self._other.root}: there is no such folder. Is the disk of the second copy in and "
                "mounted? With --mend it is made anew."
            ) from None
        refuse_strangers(self._other, self._ledger.entries(), own.entries())
        return own

    def verified(self, tick: Tick, mending_tick: Tick | None) -> tuple[Verified, Verified]:
        if mending_tick is not None:
            self._recover()
        known, expected = self._ledger.entries(), self._expected()
        counted = Counted(tick, _size(known) + _size(expected))
        # What the shoot has got since is no edit of the lists that the second copy has.
        listed = self._own.entries() if self._own else expected
        found = (
            _found(self._shoot, known, counted),
            _found(self._other, expected, counted, listed=listed),
        )
        if mending_tick is None:
            folders = (self._shoot.root, self._other.root)
            one, two = zip(folders, found, strict=True)
            return _as_found(*one), _as_found(*two)
        return self._mended(*found, mending_tick)

    def _recover(self) -> None:
        """What a stopped run noted as verified is in its place. Raises what the disks have against it."""
        for shoot, ledger in ((self._shoot, self._ledger), (self._other, self._own)):
            if ledger is not None:
                target = Target(shoot, ledger, another_name)
                target.recover(None)
                check_any([target])

    def _expected(self) -> tuple[Entry, ...]:
        """What the second copy is to hold: by its own ledger, and what that does not know yet."""
        known = self._ledger.entries()
        if self._own is None:
            return tuple(replace(entry, moves=False, gone=False) for entry in known)
        own = {entry.number: entry for entry in self._own.entries()}
        new = (replace(e, state=_unless_left(e)) for e in known if e.number not in own)
        return (*own.values(), *new)

    def _mended(self, found: Findings, other: Findings, tick: Tick) -> tuple[Verified, Verified]:
        own = self._own or self._made(other)
        own.follow(self._ledger)
        renewed = {entry.number: entry for entry in own.entries()}
        other.waiting = {number: renewed[number] for number in other.waiting}
        sides = (
            _side(self._shoot, self._ledger, found),
            _side(self._other, own, other),
        )
        jobs = mending(*sides)
        _check_room(sides, jobs)
        jobs = tuple(job for job in jobs if job.wanted[0][0].failure is None)
        counted = Counted(tick, sum(job.entry.row.bytes for job in jobs))
        if jobs:
            mend(sides, jobs, counted.add)
        one, two = (_settled(side) for side in sides)
        return one, two

    def _made(self, found: Findings) -> Ledger:
        """A ledger for a second copy that has none, which knows what of it is there.

        What is not there was never carried here, as far as this ledger can tell.
        """
        same = [
            is_up_to_date(self._other.root / name, data)
            for name, data in records_of(self._ledger.entries()).items()
        ]
        if not all(same):
            refuse_foreign_lists(self._other)
        with stopping_clearly(self._other):
            self._other.prepare()
        own = self._blank or self._open.enter_context(
            Ledger(self._other.hidden, hold=True, make=True)
        )
        found.waiting, found.lost = {**found.waiting, **found.lost}, {}
        own.follow(self._ledger, placed=(*found.sound.values(), *found.broken.values()))
        return own


def _found(
    shoot: Shoot,
    entries: tuple[Entry, ...],
    counted: Counted,
    *,
    listed: tuple[Entry, ...] | None = None,
) -> Findings:
    """What is in the folder. listed: what its lists are to hold, where that is not all the entries."""
    findings = verified(shoot, entries, is_litter, counted.add)
    for name, data in records_of(entries if listed is None else listed).items():
        if is_up_to_date(shoot.root / name, data):
            continue
        reason = cannot_read(shoot.root / name)
        if reason:
            findings.unlisted[name] = reason
        else:
            findings.edited.append(name)
    return findings


def _as_found(folder: Path, findings: Findings) -> Verified:
    return Verified(folder=folder, findings=findings, unmended={})


def _unless_left(entry: Entry) -> State:
    return State.LEFT if entry.state is State.LEFT else State.PLANNED


def _side(shoot: Shoot, ledger: Ledger, findings: Findings) -> Side:
    target = Target(shoot, ledger, another_name, broken=frozenset(findings.broken))
    with target.failing():
        shoot.prepare()
    return Side(target=target, findings=findings)


def _check_room(sides: Iterable[Side], jobs: tuple[Job, ...]) -> None:
    """A side that has no room for what it lacks takes nothing."""
    for side in sides:
        target = side.target
        rows = (job.entry.row for job in jobs if job.wanted[0][0] is target)
        with target.failing():
            error = no_room(target.shoot, map(room_for, rows))
            if error is not None:
                target.fail(error)


def _settled(side: Side) -> Verified:
    """The lists say what is there now, and so do the findings."""
    target, findings = side.target, side.findings
    take_note(side)
    broken = findings.broken
    with target.failing():
        write_records(target.shoot, target.ledger.entries())
        findings.edited = [path for path in findings.edited if path not in RECORDS]
    return Verified(
        folder=target.shoot.root,
        findings=findings,
        failure=target.failure,
        unmended={
            broken[number].row.destination: reason
            for number, reason in target.outcome.unmended.items()
            if number in broken
        },
        aside=tuple(target.outcome.aside),
    )


def _size(entries: Iterable[Entry]) -> int:
    return sum(entry.row.bytes for entry in entries if entry.state is State.PLACED)
