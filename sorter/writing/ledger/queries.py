"""What is asked of a ledger, and what is noted in it.

While a run holds the ledger nobody else changes it: what was read is kept, and only what was noted since is
read again.
"""

from __future__ import annotations

import contextlib
import gc
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final, Self

from sorter.errors import BadShoot
from sorter.model.change import Change
from sorter.model.finding import Check
from sorter.model.operation import Operation, OperationKind, OperationState
from sorter.model.plan import Entry, Placement, Plan, State
from sorter.model.row import is_brought_back
from sorter.writing.ledger import values
from sorter.writing.ledger.connection import Connection
from sorter.writing.ledger.schema import (
    FILES,
    FINDINGS,
    INGESTS,
    KEPT,
    KEPT_NOTES_TABLE,
    LISTED,
    NOTES_TABLE,
    OPERATIONS,
    NoteOrigin,
    When,
)

_FILES: Final = f"SELECT {', '.join(FILES.names)} FROM files"  # noqa: S608  our own names
_NOTES: Final = f"SELECT {', '.join(NOTES_TABLE.names)} FROM notes"  # noqa: S608  our own names
_KEPT: Final = f"SELECT {', '.join(KEPT.names)} FROM kept"  # noqa: S608  our own names
_KEPT_NOTES: Final = f"SELECT {', '.join(KEPT_NOTES_TABLE.names)} FROM kept_notes"  # noqa: S608  our own names
_BEFORE_FACTS: Final = len(KEPT.names) - len(values.FACT_NAMES)
_PLACE: Final = (
    f"UPDATE files SET ({', '.join(values.FACT_NAMES)})"  # noqa: S608  our own names
    f" = ({', '.join('?' * len(values.FACT_NAMES))}) WHERE number = ?"
)
_PROGRESS: Final = (
    "UPDATE files SET state = ?, gone = ?, modified_ns = ?, destination = ?, bytes = ?, sha256 = ?"
    " WHERE number = ?"
)
_GIVE_BACK: Final = (
    f"UPDATE files SET ({', '.join(values.GROUPING_NAMES)}) ="  # noqa: S608  our own names
    f" (SELECT {', '.join(values.GROUPING_NAMES)} FROM kept"
    " WHERE operation = ? AND side = 'before' AND kept.number = files.number)"
    " WHERE number IN (SELECT number FROM kept WHERE operation = ? AND side = 'before')"
)
_SOME: Final = 400
"""So many rows are asked for by number at a time; of more than a quarter all are read."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IngestRun:
    """One ingest: from which folder, whether it moves, and how far it came.

    mounted: the folder was the root of a file system of its own. two: it is a move into two copies.
    """

    run: int
    card: str
    mounted: bool
    moves: bool
    state: OperationState
    two: bool = False

    @property
    def is_open(self) -> bool:
        """Whether it was begun and not ended."""
        return self.state is OperationState.OPEN

    @property
    def is_undoing(self) -> bool:
        """Whether an undo of it was begun and not ended."""
        return self.state is OperationState.UNDOING


class Ledger:
    """The ledger of a shoot, open; to be used in a with statement. Threads may share it.

    hold: it is to be written, and nobody else may use it meanwhile. ends: whoever opens it ends a
    regrouping that was stopped: until then files may lie in either of two places, and nobody else
    can use it. Raises NoShoot where there is none, ShootBusy where another run holds it, BadShoot
    where a regrouping was stopped, LedgerDamaged, ShootNotWritable, NoRoom.
    """

    def __init__(self, hidden: Path, *, hold: bool, make: bool = False, ends: bool = False) -> None:
        self._hidden = hidden
        self._base = Connection(hidden, hold=hold, make=make)
        self._held = hold
        self._known: tuple[Entry, ...] | None = None
        self._stale: set[int] = set()
        self._results = 0  # the operation that results of this run belong to
        try:
            if not ends:
                self._refuse_stopped()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Lets go of the ledger; may be called again."""
        self._base.close()

    # ---- what was done ---------------------------------------------------------------------

    def operations(self) -> tuple[Operation, ...]:
        """All that was done and not taken back, in the order in which it was begun."""
        found = self._base.all(
            "SELECT operation, what, progress, run FROM operations LEFT JOIN ingests USING (operation)"
            " ORDER BY operation"
        )
        with self._sound():
            return tuple(
                Operation(
                    number=number,
                    what=OperationKind(what),
                    state=OperationState(progress),
                    run=run or 0,
                )
                for number, what, progress, run in found
            )

    def regroupings(self) -> tuple[Operation, ...]:
        """Every regrouping among them."""
        return tuple(each for each in self.operations() if each.what is OperationKind.REGROUPING)

    def runs(self) -> tuple[IngestRun, ...]:
        """Every ingest that was not taken back, in the order in which they were begun."""
        found = self._base.all(
            "SELECT run, card, mounted, moves, two, progress FROM ingests"
            " JOIN operations USING (operation) ORDER BY run"
        )
        with self._sound():
            return tuple(
                IngestRun(
                    run=run,
                    card=os.fsdecode(card),
                    mounted=bool(mounted),
                    moves=bool(moves),
                    two=bool(two),
                    state=OperationState(progress),
                )
                for run, card, mounted, moves, two, progress in found
            )

    def _operation_of(self, run: int) -> int:
        return int(self._base.one("SELECT operation FROM ingests WHERE run = ?", run) or 0)

    def _begin(self, what: OperationKind, progress: OperationState) -> int:
        number = int(self._base.one("SELECT coalesce(max(operation), 0) + 1 FROM operations"))
        self._base.run(OPERATIONS.added, number, what.value, progress.value)
        return number

    def _set_progress(self, operation: int, progress: OperationState) -> None:
        self._base.run(
            "UPDATE operations SET progress = ? WHERE operation = ?", progress.value, operation
        )

    def _refuse_stopped(self) -> None:
        stopped = next((each for each in self.regroupings() if each.is_stopped), None)
        if stopped is None:
            return
        folder = self._hidden.parent
        if stopped.is_undoing:
            raise BadShoot(
                f"{folder}: an undo was stopped here. Run `sorter undo` with this folder again to "
                "end it."
            )
        raise BadShoot(
            f"{folder}: a regrouping was stopped here. Run the command that began it again to end "
            "it, or `sorter undo` with this folder to take it back."
        )

    # ---- files -----------------------------------------------------------------------------

    def entries(self, state: State | None = None) -> tuple[Entry, ...]:
        """Every file of every ingest, in the order of their plans; or those in one state."""
        with self._base.speaking():
            known = self._refreshed()
        if state is None:
            return known
        return tuple(entry for entry in known if entry.state is state)

    def _refreshed(self) -> tuple[Entry, ...]:
        """Every file; while the ledger is held only what was noted since is read."""
        if not self._held:
            return tuple(self._read().values())
        known = self._known
        if known is None or len(self._stale) > len(known) // 4:
            self._known = tuple(self._read().values())
        elif self._stale:
            self._known = self._read_again(known, sorted(self._stale))
        self._stale = set()
        return self._known or ()

    def _read_again(self, known: tuple[Entry, ...], numbers: list[int]) -> tuple[Entry, ...]:
        """The same with what is now said of the files of these numbers."""
        now = {entry.number: entry for entry in known if entry.number not in self._stale}
        for start in range(0, len(numbers), _SOME):
            some = ", ".join(map(str, numbers[start : start + _SOME]))
            now |= self._read(f" WHERE number IN ({some})")
        return tuple(entry for _, entry in sorted(now.items()))

    def _read(self, where: str = "") -> dict[int, Entry]:
        runs = {
            operation: (run, bool(moves))
            for operation, run, moves in self._base.all("SELECT operation, run, moves FROM ingests")
        }
        files = self._base.all(_FILES + where + " ORDER BY number")
        notes = self._base.all(_NOTES + where + " ORDER BY number, part, place")
        with self._sound(), _without_collecting():
            noted = values.read_notes((row[:1], row[1:]) for row in notes)
            found = self._findings()
            return {row[0]: values.entry(row, noted, runs, found) for row in files}

    @contextlib.contextmanager
    def _sound(self) -> Iterator[None]:
        """What is noted becomes values of ours. Raises LedgerDamaged where it does not."""
        try:
            yield
        except (ValueError, KeyError, TypeError, OverflowError, AttributeError) as error:
            raise self._base.damaged() from error

    def _changed(self, *numbers: int) -> None:
        """What is known of these files is to be read again."""
        self._stale.update(numbers)

    @contextlib.contextmanager
    def _committing(self) -> Iterator[None]:
        """As the connection does it; after a failure nothing is known of what was read before."""
        try:
            with self._base.committing():
                yield
        except BaseException:
            self._known = None
            raise

    def add_run(self, card: str, plan: Plan, *, moves: bool, two: bool = False) -> int:
        """The plan is noted as a whole; returns the number of its ingest.

        two: a second copy is to exist before anything leaves the card.

        An ingest of no new files is noted only where it changes what is known of others; then it
        has no number, and 0 is returned.
        """
        with self._committing():
            run = self._new_run(card, moves=moves, two=two) if plan.placements else 0
            operation = self._operation_of(run)
            numbers = range(self.next_number(), self.next_number() + len(plan.placements))
            self._add_files(operation, zip(numbers, plan.placements, strict=True))
            for number, placement in plan.updated:
                self._update(operation, number, placement, again=number in plan.again)
        return run

    def _new_run(self, card: str, *, moves: bool, two: bool) -> int:
        operation = self._begin(OperationKind.INGEST, OperationState.OPEN)
        run = int(self._base.one("SELECT coalesce(max(run), 0) + 1 FROM ingests"))
        where = (os.fsencode(card), os.path.ismount(card))
        self._base.run(INGESTS.added, run, operation, *where, moves, moves and two)
        return run

    def _add_files(self, operation: int, files: Iterable[tuple[int, Placement]]) -> None:
        files = list(files)
        self._base.run_each(
            FILES.added, (values.file(operation, placement, number) for number, placement in files)
        )
        self._note_all(files)
        self._changed(*(number for number, _ in files))

    def _note_all(self, files: Iterable[tuple[int, Placement]]) -> None:
        self._base.run_each(
            NOTES_TABLE.added,
            [(number, *note) for number, placement in files for note in values.notes(placement)],
        )

    def _update(self, operation: int, number: int, placement: Placement, *, again: bool) -> None:
        if again:
            self._base.run("UPDATE files SET state = 'planned' WHERE number = ?", number)
        elif operation:
            self._keep_as_it_is(operation, number)
        self._set_placement(number, placement)

    def _set_placement(self, number: int, placement: Placement) -> None:
        self._base.run(_PLACE, *values.facts(placement), number)
        self._base.run("DELETE FROM notes WHERE number = ?", number)
        self._note_all([(number, placement)])
        self._changed(number)

    def next_number(self) -> int:
        """A number that no file of the shoot has; those above it are free too."""
        return int(self._base.one("SELECT coalesce(max(number), 0) + 1 FROM files"))

    def note(self, entries: Iterable[Entry]) -> None:
        """How far these files have come, and what carrying found out about them, in one commit.

        Their rows are otherwise left as they are.
        """
        with self._committing():
            self._note_progress(entries)

    def _note_progress(self, entries: Iterable[Entry]) -> None:
        entries = list(entries)
        self._base.run_each(_PROGRESS, [_progress(entry) for entry in entries])
        self._base.run_each(
            "DELETE FROM notes WHERE number = ? AND part = 'carrying'",
            [(entry.number,) for entry in entries],
        )
        notes = (
            (entry.number, *note)
            for entry in entries
            if entry.placement.carrying_notes
            for note in values.notes(entry.placement)
        )
        self._base.run_each(
            NOTES_TABLE.added, [row for row in notes if row[1] == NoteOrigin.CARRYING]
        )
        self._changed(*(entry.number for entry in entries))

    # ---- ingests ---------------------------------------------------------------------------

    def set_state(self, run: int, state: OperationState) -> None:
        """The ingest is open, done or undoing."""
        with self._committing():
            self._set_progress(self._operation_of(run), state)

    def forget(self, run: int, *, kept: Iterable[int] = ()) -> None:
        """The files of the ingest are known no more, but for those that stay.

        What it changed of others is as it was before. The ingest itself is known until forget_run.
        """
        stay = set(kept)
        operation = self._operation_of(run)
        with self._committing():
            found = self._base.all("SELECT number FROM files WHERE operation = ?", operation)
            self._drop_files(number for (number,) in found if number not in stay)
            self._give_back(operation)
        self._known = None

    def _drop_files(self, numbers: Iterable[int]) -> None:
        gone = [(number,) for number in numbers]
        self._base.run_each("DELETE FROM files WHERE number = ?", gone)
        self._base.run_each("DELETE FROM notes WHERE number = ?", gone)

    def _give_back(self, operation: int) -> None:
        """What was said of files before the ingest is said again; their places are their own."""
        self._base.run(_GIVE_BACK, operation, operation)
        kept = "(SELECT number FROM kept WHERE operation = ? AND side = 'before')"
        self._base.run(
            f"DELETE FROM notes WHERE part = 'row' AND number IN {kept}",  # noqa: S608  our own text
            operation,
        )
        columns = ", ".join(NOTES_TABLE.names)
        self._base.run(
            f"INSERT INTO notes ({columns}) SELECT {columns} FROM kept_notes"  # noqa: S608  our own names
            " WHERE operation = ? AND side = 'before' AND part = 'row'"
            " AND number IN (SELECT number FROM files)",
            operation,
        )
        self._drop_kept(operation)

    def forget_run(self, run: int) -> None:
        """The ingest was taken back: without files that stay it never was."""
        operation = self._operation_of(run)
        with self._committing():
            self._set_progress(operation, OperationState.DONE)
            if not self._base.one("SELECT 1 FROM files WHERE operation = ?", operation):
                self._base.run("DELETE FROM ingests WHERE operation = ?", operation)
                self._base.run("DELETE FROM operations WHERE operation = ?", operation)

    # ---- results ---------------------------------------------------------------------------

    def add_result(
        self, number: int, placement: Placement, given: tuple[int, str] | None = None
    ) -> Entry:
        """A result that lies verified among the unfinished files, noted under this number.

        given: bytes and digest of what the other program made, where the sorter wrote other bytes.
        """
        with self._committing():
            operation = self._of_results()
            self._add_files(operation, [(number, placement)])
            self._base.run(
                "UPDATE files SET state = 'verified', given_bytes = ?, given_sha256 = ?"
                " WHERE number = ?",
                *(given or (None, None)),
                number,
            )
        self._results = operation
        return Entry(
            number=number, run=values.OF_RESULTS, placement=placement, state=State.VERIFIED
        )

    def _of_results(self) -> int:
        """The operation of this run's results; it is begun with the first of them."""
        return self._results or self._begin(OperationKind.RESULT, OperationState.DONE)

    def drop_results(self, numbers: Iterable[int]) -> None:
        """These results are known no more; where they lie they stay."""
        with self._committing():
            results = {
                number
                for (number,) in self._base.all(
                    "SELECT number FROM files JOIN operations USING (operation) WHERE what = 'result'"
                )
            }
            self._drop_files(results & set(numbers))
            self._base.run(
                "DELETE FROM operations WHERE what = 'result'"
                " AND operation NOT IN (SELECT operation FROM files)"
            )
        self._known, self._results = None, 0

    # ---- findings --------------------------------------------------------------------------

    def say_findings(self, checks: Mapping[int, Check]) -> None:
        """What a check found, by the first files of the sequences, in place of all earlier findings."""
        with self._committing():
            self._drop_findings()
            self._base.run_each(FINDINGS.added, [values.finding(*each) for each in checks.items()])
            self._base.run_each(
                LISTED.added, [row for each in checks.items() for row in values.lists(*each)]
            )
            self._base.run("INSERT INTO checked VALUES (1)")
        self._known = None

    def drop_findings(self) -> None:
        """Nothing is said any more of what checks found: it is as if there had been none."""
        with self._committing():
            self._drop_findings()
        self._known = None

    def _drop_findings(self) -> None:
        for table in ("findings", "found_at", "checked"):
            self._base.run(f"DELETE FROM {table}")  # noqa: S608  our own names

    def has_findings(self) -> bool:
        """Whether a check noted what it found, were it nothing."""
        return self._base.one("SELECT 1 FROM checked") is not None

    def _findings(self) -> dict[int, Check | str]:
        """What checks found, by file."""
        found = self._base.all(f"SELECT {', '.join(FINDINGS.names)} FROM findings")  # noqa: S608
        if not found:
            return {}
        listed: dict[int, dict[str, list[float]]] = {}
        for number, what, value in self._base.all(
            "SELECT number, what, value FROM found_at ORDER BY number, what, place"
        ):
            listed.setdefault(number, {}).setdefault(what, []).append(value)
        return {row[0]: values.read_finding(row, listed.get(row[0], {})) for row in found}

    # ---- regroupings and adoptions ---------------------------------------------------------

    def add_regrouping(self, changes: Iterable[Change]) -> int:
        """What is said of these files is as the changes say, and what was said before is kept.

        Returns the number of the regrouping, which is open now.
        """
        return self._add_changes(OperationKind.REGROUPING, OperationState.OPEN, changes)

    def add_adoption(self, changes: Iterable[Change]) -> int:
        """These files lie where the changes say: their owner put them there. Returns its number."""
        return self._add_changes(OperationKind.ADOPTION, OperationState.DONE, changes)

    def _add_changes(
        self, what: OperationKind, progress: OperationState, changes: Iterable[Change]
    ) -> int:
        with self._committing():
            operation = self._begin(what, progress)
            for change in changes:
                self._keep(operation, change.number, When.BEFORE, change.before)
                self._keep(operation, change.number, When.AFTER, change.after)
                self._set_placement(change.number, change.after)
        return operation

    def changes(self, operation: int) -> tuple[Change, ...]:
        """What a regrouping or an adoption changed, as it was noted."""
        found = self._kept(operation)
        numbers = sorted({number for number, _ in found})
        with self._sound():
            return tuple(
                Change(
                    number=number,
                    before=found[number, When.BEFORE.value],
                    after=found[number, When.AFTER.value],
                )
                for number in numbers
            )

    def note_place(self, operation: int, entry: Entry) -> None:
        """The file has another place than the regrouping gave it."""
        of = (operation, entry.number, When.AFTER.value)
        with self._committing():
            self._note_progress([entry])
            self._base.run(
                "UPDATE kept SET destination = ? WHERE operation = ? AND number = ? AND side = ?",
                values.coded(entry.row.destination),
                *of,
            )
            self._base.run(
                "DELETE FROM kept_notes WHERE operation = ? AND number = ? AND side = ?"
                " AND part = 'carrying'",
                *of,
            )
            notes = values.notes(entry.placement)
            self._base.run_each(
                KEPT_NOTES_TABLE.added,
                [(*of, *note) for note in notes if note[0] == NoteOrigin.CARRYING],
            )

    def end_regrouping(self, operation: int) -> None:
        """All its files are in their places."""
        with self._committing():
            self._set_progress(operation, OperationState.DONE)

    def take_back(self, operation: int, changes: Iterable[Change]) -> None:
        """An undo of it is begun: what is said of the files is as these changes say."""
        with self._committing():
            self._set_progress(operation, OperationState.UNDOING)
            for change in changes:
                self._set_placement(change.number, change.after)

    def give_up(self, operation: int, changes: Iterable[Change]) -> None:
        """The adoption never was, and what is said of the files is as these changes say: in one commit."""
        with self._committing():
            for change in changes:
                self._set_placement(change.number, change.after)
            self._forget(operation)

    def forget_regrouping(self, operation: int) -> None:
        """It was taken back: it never was."""
        with self._committing():
            self._forget(operation)

    def _forget(self, operation: int) -> None:
        self._drop_kept(operation)
        self._base.run("DELETE FROM operations WHERE operation = ?", operation)

    # ---- what was said before --------------------------------------------------------------

    def _keep(self, operation: int, number: int, side: When, placement: Placement) -> None:
        of = (operation, number, side.value)
        source = os.fsencode(placement.row.source)
        self._base.run(KEPT.added, *of, source, *values.facts(placement))
        self._base.run_each(
            KEPT_NOTES_TABLE.added, [(*of, *note) for note in values.notes(placement)]
        )

    def _keep_as_it_is(self, operation: int, number: int) -> None:
        of = (operation, number, When.BEFORE.value)
        for table, found, key in ((KEPT, "files", 3), (KEPT_NOTES_TABLE, "notes", 3)):
            columns = ", ".join(table.names[key:])
            self._base.run(
                f"INSERT OR IGNORE INTO {table.name} ({', '.join(table.names)})"  # noqa: S608
                f" SELECT ?, ?, ?, {columns} FROM {found} WHERE number = ?",
                *of,
                number,
            )

    def _drop_kept(self, operation: int) -> None:
        for table in (KEPT, KEPT_NOTES_TABLE):
            self._base.run(f"DELETE FROM {table.name} WHERE operation = ?", operation)  # noqa: S608

    def _kept(self, operation: int) -> dict[tuple[int, str], Placement]:
        """What is kept of an operation, by file and side."""
        rows = self._base.all(f"{_KEPT} WHERE operation = ?", operation)
        notes = self._base.all(
            f"{_KEPT_NOTES} WHERE operation = ? ORDER BY number, side, part, place", operation
        )
        with self._sound():
            noted = values.read_notes((row[1:3], row[3:]) for row in notes)
            return {
                (row[1], row[2]): values.placement_of(
                    row[3], row[_BEFORE_FACTS:], noted.get(row[1:3], values.NOTHING)
                )
                for row in rows
            }

    # ---- a second copy ---------------------------------------------------------------------

    def follow(self, lead: Ledger, placed: Iterable[Entry] = ()) -> None:
        """All that the lead knows is known here too, by the same numbers.

        What is not carried here yet is planned; what is keeps its place, and is said of it what the
        lead says. placed: what is in its place here, though it is not known yet. Its ingests are
        copies here, for only the lead's files are moved. To be called where `strangers` finds none.
        """
        theirs, mine = lead.entries(), {entry.number: entry for entry in self.entries()}
        with self._committing():
            operations = self._follow_runs(lead.runs())
            if any(is_brought_back(e.row) and e.number not in mine for e in theirs):
                operations[values.OF_RESULTS] = self._of_results()
            for entry in theirs:
                self._take_over(entry, mine.get(entry.number), operations)
            self._note_progress(placed)
            self._follow_kept(lead, operations)
        self._results = operations.get(values.OF_RESULTS, self._results)

    def _follow_runs(self, runs: Iterable[IngestRun]) -> dict[int, int]:
        """The operation here of each of the lead's ingests, by its number."""
        known = {run.run for run in self.runs()}
        for run in runs:
            if run.run not in known:
                operation = self._begin(OperationKind.INGEST, OperationState.OPEN)
                where = (os.fsencode(run.card), run.mounted)
                self._base.run(INGESTS.added, run.run, operation, *where, 0, 0)
        return dict(self._base.all("SELECT run, operation FROM ingests"))

    def _take_over(self, entry: Entry, own: Entry | None, operations: Mapping[int, int]) -> None:
        placement = entry.placement
        if own is None:
            self._add_files(operations[entry.run], [(entry.number, placement)])
        elif own.placement == placement:
            return
        elif own.state in (State.PLACED, State.VERIFIED):
            row = replace(
                placement.row,
                destination=own.row.destination,
                bytes=own.row.bytes,
                sha256=own.row.sha256,
            )
            now = replace(placement, row=row, carrying_notes=own.placement.carrying_notes)
            if now != own.placement:
                self._set_placement(own.number, now)
        else:
            self._base.run(
                "UPDATE files SET state = ?, operation = ? WHERE number = ?",
                values.first_state(placement).value,
                operations.get(entry.run) or self._of_results(),
                own.number,
            )
            self._set_placement(own.number, placement)

    def _follow_kept(self, lead: Ledger, operations: Mapping[int, int]) -> None:
        """What the lead's ingests changed of other files is given back here too when they are taken back."""
        for run, theirs in lead._base.all("SELECT run, operation FROM ingests"):
            own = operations[run]
            self._drop_kept(own)
            for (number, side), placement in lead._kept(theirs).items():
                self._keep(own, number, When(side), placement)


@contextlib.contextmanager
def _without_collecting() -> Iterator[None]:
    """Values that refer to no one need no look for circles: of 100,000 files that took as long again."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def _progress(entry: Entry) -> tuple[Any, ...]:
    row = entry.row
    about = (entry.state.value, entry.gone, entry.modified_ns)
    return (*about, values.coded(row.destination), row.bytes, row.sha256, entry.number)


def unknown_entries(lead: Iterable[Entry], own: Iterable[Entry]) -> tuple[Entry, ...]:
    """Those of one ledger's entries that the lead does not know, or knows as another file.

    A result that the lead knows no more was removed there, and is none: it can be made again.
    """
    theirs = {entry.number: entry for entry in lead}
    return tuple(
        entry
        for entry in own
        if not _is_same(theirs.get(entry.number), entry)
        and (entry.number in theirs or not is_brought_back(entry.row))
    )


def _is_same(one: Entry | None, two: Entry) -> bool:
    """Whether both are the same file of the same card, as far as both know it."""
    if one is None or one.row.source != two.row.source or one.run != two.run:
        return False
    carried = two.state in (State.PLACED, State.VERIFIED)
    digests = {one.row.sha256, two.row.sha256} - {""}
    return not carried or (one.row.bytes == two.row.bytes and len(digests) == 1)
