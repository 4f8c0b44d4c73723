"""A shoot regrouped: other sequences of the frames that it holds, and their files in other folders.

What is to be is noted in the ledger as a whole before the first file is moved; a regrouping that was
stopped is ended before another one is begun, or taken back by an undo.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from sorter.disk.shoot import Shoot
from sorter.errors import BadChoice, BadCorrections, BadShoot, ShootNotWritable
from sorter.manifest.rows import spelled
from sorter.model.change import Change, Regrouping
from sorter.model.correction import Correction
from sorter.model.operation import Operation
from sorter.model.plan import Entry, State
from sorter.model.progress import CountProgress
from sorter.model.row import Row
from sorter.model.stretches import Misfit
from sorter.pipeline.naming import naming_of
from sorter.pipeline.recording import RECORDS, drop_findings, write_records
from sorter.planning import adopting, correcting, pattern
from sorter.planning.changing import CannotRegroup, RegroupRequest, regrouped, taken_back, touched
from sorter.planning.free import Naming
from sorter.planning.places import another_name
from sorter.writing.ledger import Ledger
from sorter.writing.shifting import GONE, Shifted, Shifting
from sorter.writing.target import stopping_clearly
from sorter.writing.undo import Undone

NOT_IN_PLACE: Final = "is not in its place: its frame was left as it is (where you moved it, `sorter verify --adopt` notes that)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Regrouped:
    """What became of a shoot.

    sequences: the numbers of those that are new, or not what they were; none where all was so
    already. moved: how many files have another place. left: the paths of files that were not where
    the ledger has them, with what that means. behind: files that the ledger does not know and that
    stay in folders which files of their side left. ended: a regrouping that was stopped before was
    ended first, and its files count among the moved.
    """

    sequences: tuple[int, ...] = ()
    moved: int = 0
    left: dict[str, str] = field(default_factory=dict)
    behind: tuple[str, ...] = ()
    ended: bool = False

    @property
    def is_anything(self) -> bool:
        """Whether the shoot is not what it was."""
        return bool(self.sequences or self.moved)


def regroup(
    root: Path,
    regroupings: Sequence[Regrouping],
    progress: CountProgress,
    *,
    folder: str = pattern.DEFAULT,
    name: str = "",
) -> Regrouped:
    """The shoot has these sequences now, its manifest and digests say so, and its files lie so.

    folder, name: as an ingest has them. progress: in files. Where all is so already nothing is changed.
    Raises NoShoot, ShootBusy, LedgerDamaged; BadShoot where an ingest or an undo was stopped, BadPattern,
    BadChoice where a regrouping does not fit; ShootNotWritable and NoRoom: then the same call goes on.
    """
    naming = naming_of(folder, name)
    shoot = Shoot(root)
    with Ledger(shoot.hidden, hold=True, ends=True) as ledger:
        _refuse_unended(shoot, ledger)
        work = _Work(shoot=shoot, ledger=ledger, progress=progress)
        work.end_stopped()
        work.begin(tuple(regroupings), naming)
        return work.outcome()


def regroupings_of(
    entries: Iterable[Entry], corrections: Iterable[Correction]
) -> tuple[Regrouping, ...]:
    """The corrections as regroupings of the shoot of these entries; pure.

    A path may be spelled as the manifest does it. Raises BadCorrections, with the line: a path that
    no file of the shoot has on its card or that several have, or that is no frame; two bodies; the
    wrong order; frames that are named twice.
    """
    entries = tuple(entries)
    plain = {spelled(entry.row.source): entry.row.source for entry in entries}
    asked = (
        replace(each, first=plain.get(each.first, each.first), last=plain.get(each.last, each.last))
        for each in corrections
    )
    try:
        return correcting.regroupings(entries, asked)
    except Misfit as misfit:
        raise BadCorrections(f"corrections, line {misfit.line}: {misfit}") from misfit


@dataclass(slots=True, kw_only=True)
class _Work:
    """One call of regroup."""

    shoot: Shoot
    ledger: Ledger
    progress: CountProgress
    sequences: set[int] = field(default_factory=set)
    moved: int = 0
    left: dict[str, str] = field(default_factory=dict)
    folders: set[str] = field(default_factory=set)
    ended: bool = False

    def end_stopped(self) -> None:
        """What was begun before is ended."""
        for each in self.ledger.regroupings():
            if each.is_stopped:
                self._carry_out(each.number)
                self.ended = True

    def begin(self, regroupings: tuple[Regrouping, ...], naming: Naming) -> None:
        """What is asked is noted and done; nothing where all is so already."""
        changes = self._planned(regroupings, naming)
        if not changes:
            return
        needed = {_folder(each.after.row.destination) for each in changes if each.moves}
        self.shoot.refuse_obstacles(needed, RECORDS)
        if not self.shoot.is_writable():
            raise ShootNotWritable(
                f"{self.shoot.root}: the system lets us write nothing there. Nothing was done: "
                "check its permissions, and run it again."
            )
        with stopping_clearly(self.shoot):
            self.shoot.prepare()
        self._carry_out(self.ledger.add_regrouping(changes))

    def outcome(self) -> Regrouped:
        """What became of the shoot."""
        known = {entry.row.destination for entry in self.ledger.entries()}
        left = (path for path, is_folder in self.shoot.paths() if not is_folder)
        behind = (path for path in left if path not in known and _folder(path) in self.folders)
        return Regrouped(
            sequences=tuple(sorted(self.sequences)),
            moved=self.moved,
            left=self.left,
            behind=tuple(sorted(behind)),
            ended=self.ended,
        )

    def _planned(self, regroupings: tuple[Regrouping, ...], naming: Naming) -> tuple[Change, ...]:
        entries = self.ledger.entries()
        frames = touched(entries, regroupings)
        lost = [e for e in entries if e.row.frame in frames and self._is_lost(e)]
        self.left |= {entry.row.destination: NOT_IN_PLACE for entry in lost}
        ask = RegroupRequest(
            regroupings=regroupings,
            naming=naming,
            lost=frozenset(entry.row.frame or 0 for entry in lost),
            taken=frozenset(path for path, _ in self.shoot.paths()),
        )
        try:
            return regrouped(entries, ask)
        except CannotRegroup as fault:
            raise BadChoice(f"{self.shoot.root}: {fault}") from fault

    def _is_lost(self, entry: Entry) -> bool:
        """Whether no plain file is where it was placed, or nobody can look."""
        try:
            there = self.shoot.size(entry.row.destination) if entry.row.destination else None
        except OSError:
            there = None
        return entry.state is State.PLACED and (there is None or there < 0)

    def _carry_out(self, number: int) -> None:
        """Lists are written before the end is noted: a cut between is gone on with."""
        changes = self.ledger.changes(number)
        self.sequences |= _changed(changes)
        self.folders |= {_folder(each.before.row.destination) for each in changes if each.moves}
        shifted = _shifted(self.shoot, self.ledger, number, self.progress, back=False)
        self.moved += shifted.moved
        self.left |= {entry.row.destination: GONE for entry in shifted.lost} | shifted.unseen
        drop_findings(self.shoot, self.ledger)
        write_records(self.shoot, self.ledger.entries())
        self.ledger.end_regrouping(number)


def take_back(shoot: Shoot, ledger: Ledger, last: Operation, progress: CountProgress) -> Undone:
    """The regrouping is taken back: all is said of its files, and they lie, as before.

    Raises ShootNotWritable, NoRoom; run it again then.
    """
    if not last.is_undoing:
        changes = taken_back(ledger.entries(), ledger.changes(last.number))
        ledger.take_back(last.number, changes)
    shifted = _shifted(shoot, ledger, last.number, progress, back=True)
    drop_findings(shoot, ledger)
    write_records(shoot, ledger.entries())
    ledger.forget_regrouping(last.number)
    lost = {entry.row.destination: GONE for entry in shifted.lost}
    return Undone(moved_within=shifted.moved, stay=lost | shifted.unseen)


def give_up(shoot: Shoot, ledger: Ledger, last: Operation, progress: CountProgress) -> Undone:
    """The adoption is taken back: files are said to lie where they lay before; none is moved.

    Raises ShootNotWritable, NoRoom; run it again then.
    """
    changes = ledger.changes(last.number)
    ledger.give_up(last.number, adopting.taken_back(ledger.entries(), changes))
    write_records(shoot, ledger.entries())
    progress(len(changes), len(changes))
    return Undone(given_up=len(changes))


def changed_by(ledger: Ledger, operation: int) -> tuple[Entry, ...]:
    """The files to which the regrouping or the adoption gave another place."""
    numbers = {each.number for each in ledger.changes(operation) if each.moves}
    return tuple(entry for entry in ledger.entries() if entry.number in numbers)


def _shifted(
    shoot: Shoot, ledger: Ledger, number: int, progress: CountProgress, *, back: bool
) -> Shifted:
    return Shifting(shoot, ledger, number, another_name, back=back).shift(progress)


def _changed(changes: Iterable[Change]) -> set[int]:
    """The sequences of which frames or kind are not what they were."""
    rows = ((each.before.row, each.after.row) for each in changes)
    numbers = {two.sequence for one, two in rows if two.position and _place(one) != _place(two)}
    return {number for number in numbers if number is not None}


def _place(row: Row) -> tuple[object, ...]:
    return row.sequence, row.kind, row.position, row.frames


def _refuse_unended(shoot: Shoot, ledger: Ledger) -> None:
    undoing = [run for run in ledger.runs() if run.is_undoing]
    if undoing or any(each.is_undoing for each in ledger.regroupings()):
        raise BadShoot(
            f"{shoot.root}: an undo was stopped here. Run `sorter undo` with this folder again to "
            "end it."
        )
    opened = next((run for run in ledger.runs() if run.is_open), None)
    if opened is not None:
        raise BadShoot(
            f"{shoot.root}: an ingest of {opened.card} was stopped here. Run `sorter ingest` with "
            "that card and this folder again to end it, or `sorter undo` to take it back."
        )


def _folder(path: str) -> str:
    return path.rpartition("/")[0]
