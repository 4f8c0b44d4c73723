"""The ledger: what is to be done in a shoot, and what is done, in SQLite under .sorter.

Every intent is noted before it is begun and every fact after it is true, each note forced to the disk
(synchronous FULL). The journal is a file beside the ledger that is deleted with each commit: the mode
that also works on exFAT and on shares. One run at a time holds the ledger for itself.
"""

from __future__ import annotations

import contextlib
import json
import os
import sqlite3
import stat
import time
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any, Final, Self

from sorter.errors import BadShoot, LedgerDamaged, NoRoom, NoShoot, ShootBusy, ShootNotWritable
from sorter.model.kinds import DriveMode, FocusMode, Kind, Role
from sorter.model.plan import Entry, Placement, Plan, State
from sorter.model.regrouping import Change
from sorter.model.row import Row, is_brought_back

FILE: Final = "ledger.db"
HOLDER: Final = "holder"
FORM: Final = 1
"""Grows when an older sorter could not read the ledger any more."""

_TABLES: Final = """
CREATE TABLE IF NOT EXISTS runs (
    run INTEGER PRIMARY KEY,
    card BLOB NOT NULL,           -- the folder as the system named it
    mounted INTEGER NOT NULL,     -- 1: a file system of its own was mounted there
    moves INTEGER NOT NULL,       -- 1: a move, 2: a move into two copies, 0: a copy
    state TEXT NOT NULL           -- open, done, undoing
);
CREATE TABLE IF NOT EXISTS files (
    number INTEGER PRIMARY KEY,
    run INTEGER NOT NULL REFERENCES runs,
    source BLOB NOT NULL,         -- below the card, as the system named it
    destination TEXT NOT NULL,    -- below the shoot; empty where it is never carried
    state TEXT NOT NULL,          -- planned, verified, placed, failed, left
    bytes INTEGER NOT NULL,
    sha256 TEXT NOT NULL,         -- once its bytes were read
    modified_ns INTEGER NOT NULL, -- the card's own stamp
    gone INTEGER NOT NULL,        -- 1: moved, and removed from the card
    container TEXT NOT NULL,
    from_near INTEGER,
    unread INTEGER NOT NULL,      -- 1: not readable as what its name says
    mark INTEGER NOT NULL,        -- a checksum over its first bytes when it was planned
    said TEXT NOT NULL,           -- JSON list
    row TEXT NOT NULL             -- JSON: the rest of the manifest's columns
);
CREATE TABLE IF NOT EXISTS earlier ( -- what was known before an ingest brought more of a sequence
    run INTEGER NOT NULL,
    number INTEGER NOT NULL,
    from_near INTEGER,
    row TEXT NOT NULL
);
"""
_REGROUPINGS: Final = """
CREATE TABLE IF NOT EXISTS regroupings (
    regrouping INTEGER PRIMARY KEY,
    behind INTEGER NOT NULL,      -- the last ingest that there was
    state TEXT NOT NULL           -- open, done, undoing
);
CREATE TABLE IF NOT EXISTS regrouped ( -- what a regrouping made of a file; was: before
    regrouping INTEGER NOT NULL REFERENCES regroupings,
    number INTEGER NOT NULL,
    was_destination TEXT NOT NULL,
    was_from_near INTEGER,
    was_said TEXT NOT NULL,
    was_row TEXT NOT NULL,
    destination TEXT NOT NULL,
    from_near INTEGER,
    said TEXT NOT NULL,
    row TEXT NOT NULL,
    bytes INTEGER NOT NULL,       -- by which the file is told from another of its number
    sha256 TEXT NOT NULL,
    source BLOB NOT NULL
);
"""
"""Made with the first regrouping: older sorters read a ledger with these tables as one without."""

_PROGRESS: Final = (
    "UPDATE files SET state = ?, gone = ?, modified_ns = ?, destination = ?, bytes = ?,"
    " sha256 = ?, said = ? WHERE number = ?"
)
_ADD: Final = (
    "INSERT INTO files (number, run, source, state, modified_ns, gone, destination, bytes,"
    " sha256, container, from_near, unread, mark, said, row)"
    " VALUES (?, ?, ?, ?, 0, 0, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
)
_NOTHING: Final = "[]"
_INTO_TWO: Final = 2
# To look a value up costs a tenth of asking its class: a shoot has many thousand.
_KINDS: Final = {
    name: {each.value: each for each in kind}
    for name, kind in (
        ("kind", Kind),
        ("role", Role),
        ("focus_mode", FocusMode),
        ("drive_mode", DriveMode),
    )
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """One ingest: from which folder, whether it moves, and how far it came.

    mounted: the folder was the root of a file system of its own. two: it is a move into two copies.
    """

    run: int
    card: str
    mounted: bool
    moves: bool
    state: str
    two: bool = False

    @property
    def is_open(self) -> bool:
        """Whether it was begun and not ended."""
        return self.state == "open"

    @property
    def is_undoing(self) -> bool:
        """Whether an undo of it was begun and not ended."""
        return self.state == "undoing"

    @property
    def is_of_results(self) -> bool:
        """Whether it is no ingest: what was merged from the shoot's stacks came from no card."""
        return not self.card


@dataclass(frozen=True, slots=True, kw_only=True)
class RegroupingRun:
    """One regrouping, by its number. behind: the last ingest that there was; state: as of a run."""

    number: int
    behind: int
    state: str

    @property
    def is_stopped(self) -> bool:
        """Whether it, or an undo of it, was begun and not ended."""
        return self.state != "done"

    @property
    def is_undoing(self) -> bool:
        """Whether an undo of it was begun and not ended."""
        return self.state == "undoing"


class Ledger:
    """The ledger of a shoot, open; to be used in a with statement.

    hold: it is to be written, and nobody else may use it meanwhile. ends: whoever opens it ends a
    regrouping that was stopped: until then files may lie in either of two places, and nobody else
    can use it. Raises NoShoot where there is none, ShootBusy where another run holds it, BadShoot
    where a regrouping was stopped, LedgerDamaged, ShootNotWritable, NoRoom.
    """

    def __init__(self, hidden: Path, *, hold: bool, make: bool = False, ends: bool = False) -> None:
        self._hidden = hidden
        self._held = hold
        _refuse_what_is_no_file(hidden / FILE)
        if not make and not _may_be_there(hidden / FILE):
            raise self._no_ledger()
        with self._speaking():
            self._base = self._connect(hold=hold, make=make)
            try:
                self._begin(hold=hold, make=make)
                if not ends:
                    self._refuse_stopped()
                if hold:
                    self._say_who()
            except BaseException:
                self._base.close()
                raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Lets go of the ledger; may be called again."""
        self._base.close()
        if self._held:
            with contextlib.suppress(OSError):
                (self._hidden / HOLDER).unlink()
            self._held = False

    # ---- what it knows ---------------------------------------------------------------------

    def ingests(self) -> tuple[Run, ...]:
        """Every ingest that was not taken back, in the order in which they were begun."""
        return tuple(run for run in self.runs() if not run.is_of_results)

    def runs(self) -> tuple[Run, ...]:
        """The ingests, and where there are results one for all of these."""
        with self._speaking():
            found = self._base.execute(
                "SELECT run, card, mounted, moves, state FROM runs ORDER BY run"
            )
            return tuple(
                Run(
                    run=run,
                    card=os.fsdecode(card),
                    mounted=bool(mounted),
                    moves=bool(moves),
                    two=moves == _INTO_TWO,
                    state=state,
                )
                for run, card, mounted, moves, state in found
            )

    def entries(self, state: State | None = None) -> tuple[Entry, ...]:
        """Every file of every ingest, in the order of their plans; or those in one state."""
        moves = {run.run: run.moves for run in self.runs()}
        with self._speaking():
            found = self._base.execute(
                "SELECT number, run, source, destination, state, bytes, sha256, modified_ns, gone,"
                " container, from_near, unread, mark, said, row FROM files"
                " WHERE ? IN (state, '') ORDER BY number",
                (state or "",),
            )
            entries = tuple(_entry(cells, moves) for cells in found)
            findings = self._findings()
        if not findings:
            return entries
        return tuple(replace(each, found=findings.get(each.number, "")) for each in entries)

    def has_findings(self) -> bool:
        """Whether a check noted what it found, were it nothing."""
        with self._speaking():
            return self._has("findings")

    def _findings(self) -> dict[int, str]:
        """What checks found, by file; nothing in ledgers of shoots that were never checked."""
        if not self._has("findings"):
            return {}
        return dict(self._base.execute("SELECT number, says FROM findings"))

    # ---- what it notes ---------------------------------------------------------------------

    def add_run(self, card: str, plan: Plan, *, moves: bool, two: bool = False) -> int:
        """The plan is noted as a whole; returns the number of its ingest.

        two: a second copy is to exist before anything leaves the card.

        An ingest of no new files is noted only where it changes what is known of others; then it
        has no number, and 0 is returned.
        """
        with self._committing():
            run = self._new_run(card, moves=moves, two=two) if plan.placements else 0
            self._base.executemany(_ADD, (_planned(run, each) for each in plan.placements))
            for number, placement in plan.updated:
                self._update(run, number, placement, again=number in plan.again)
        return run

    def next_number(self) -> int:
        """A number that no file of the shoot has; those above it are free too."""
        with self._speaking():
            return int(
                self._base.execute("SELECT coalesce(max(number), 0) + 1 FROM files").fetchone()[0]
            )

    def add_result(self, number: int, placement: Placement) -> Entry:
        """A result that lies verified among the unfinished files, noted under this number."""
        with self._committing():
            run = self._run_of_results()
            self._base.execute(_ADD, _planned(run, placement, number))
            self._base.execute("UPDATE files SET state = 'verified' WHERE number = ?", (number,))
        return Entry(number=number, run=run, placement=placement, state=State.VERIFIED)

    def drop_results(self, numbers: Iterable[int]) -> None:
        """These results are known no more; where they lie they stay."""
        with self._committing():
            run = self._run_of_results()
            self._base.executemany(
                "DELETE FROM files WHERE number = ? AND run = ?", ((each, run) for each in numbers)
            )
            self._base.execute(
                "DELETE FROM runs WHERE run = ? AND run NOT IN (SELECT run FROM files)", (run,)
            )

    def note(self, entries: Iterable[Entry]) -> None:
        """How far these files have come, and what carrying found out about them, in one commit.

        Their rows are otherwise left as they are.
        """
        with self._committing():
            self._base.executemany(_PROGRESS, (_progress(entry) for entry in entries))

    def say_findings(self, says: Mapping[int, str]) -> None:
        """What a check says of these files, in place of all that earlier checks said."""
        with self._committing():
            # Made when first needed: ledgers from before there were checks stay as they are.
            self._base.execute(
                "CREATE TABLE IF NOT EXISTS findings (number INTEGER PRIMARY KEY, says TEXT NOT NULL)"
            )
            self._base.execute("DELETE FROM findings")
            self._base.executemany("INSERT INTO findings VALUES (?, ?)", says.items())

    def drop_findings(self) -> None:
        """Nothing is said any more of what checks found: it is as if there had been none."""
        with self._committing():
            self._base.execute("DROP TABLE IF EXISTS findings")

    def set_state(self, run: int, state: str) -> None:
        """The ingest is open, done or undoing."""
        with self._committing():
            self._base.execute("UPDATE runs SET state = ? WHERE run = ?", (state, run))

    def forget(self, run: int, *, kept: Iterable[int] = ()) -> None:
        """The files of the ingest are known no more, but for those that stay.

        What it changed of others is as it was before. The ingest itself is known until forget_run.
        """
        stay = set(kept)
        with self._committing():
            found = self._base.execute("SELECT number FROM files WHERE run = ?", (run,)).fetchall()
            gone = [(number,) for (number,) in found if number not in stay]
            self._base.executemany("DELETE FROM files WHERE number = ?", gone)
            self._base.execute(
                "UPDATE files SET (from_near, row) = (SELECT from_near, row FROM earlier AS e"
                " WHERE e.run = ? AND e.number = files.number)"
                " WHERE number IN (SELECT number FROM earlier WHERE run = ?)",
                (run, run),
            )
            self._base.execute("DELETE FROM earlier WHERE run = ?", (run,))

    def forget_run(self, run: int) -> None:
        """The ingest was taken back: without files that stay it never was."""
        with self._committing():
            self._base.execute("UPDATE runs SET state = 'done' WHERE run = ?", (run,))
            self._base.execute(
                "DELETE FROM runs WHERE run = ? AND run NOT IN (SELECT run FROM files)", (run,)
            )

    def follow(self, lead: Ledger, placed: Iterable[Entry] = ()) -> None:
        """All that the lead knows is known here too, by the same numbers.

        What is not carried here yet is planned; what is keeps its place, and is said of it what the
        lead says. placed: what is in its place here, though it is not known yet. Its ingests are
        copies here, for only the lead's files are moved. To be called where `strangers` finds none.
        """
        runs, theirs, earlier = lead.runs(), lead.entries(), lead._earlier()
        mine = {entry.number: entry for entry in self.entries()}
        with self._committing():
            known = {run for (run,) in self._base.execute("SELECT run FROM runs")}
            for run in runs:
                if run.run not in known:
                    self._base.execute(
                        "INSERT INTO runs (run, card, mounted, moves, state)"
                        " VALUES (?, ?, ?, 0, ?)",
                        (run.run, os.fsencode(run.card), run.mounted, _followed(run)),
                    )
            for entry in theirs:
                self._take_over(entry, mine.get(entry.number))
            self._base.executemany(_PROGRESS, (_progress(entry) for entry in placed))
            self._base.execute("DELETE FROM earlier")
            self._base.executemany("INSERT INTO earlier VALUES (?, ?, ?, ?)", earlier)

    # ---- regroupings -----------------------------------------------------------------------

    def regroupings(self) -> tuple[RegroupingRun, ...]:
        """Every regrouping that was not taken back, in their order."""
        with self._speaking():
            if not self._has("regroupings"):
                return ()
            found = self._base.execute(
                "SELECT regrouping, behind, state FROM regroupings ORDER BY regrouping"
            )
            return tuple(RegroupingRun(number=n, behind=b, state=state) for n, b, state in found)

    def add_regrouping(self, changes: Iterable[Change]) -> int:
        """What is said of these files is as the changes say, and what was said before is kept.

        Returns the number of the regrouping, which is open now.
        """
        behind = max((run.run for run in self.ingests()), default=0)
        with self._committing():
            for statement in _REGROUPINGS.split(";\n"):
                self._base.execute(statement)
            done = self._base.execute(
                "INSERT INTO regroupings (behind, state) VALUES (?, 'open')", (behind,)
            )
            number = done.lastrowid or 0
            for change in changes:
                self._base.execute(
                    "INSERT INTO regrouped VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                    (number, *_change_cells(change)),
                )
                self._set_placement(change.number, change.after)
        return number

    def changes(self, regrouping: int) -> tuple[Change, ...]:
        """What the regrouping changed, as it was noted."""
        with self._speaking():
            found = self._base.execute(
                "SELECT number, was_destination, was_from_near, was_said, was_row, destination,"
                " from_near, said, row, bytes, sha256, source FROM regrouped WHERE regrouping = ?"
                " ORDER BY number",
                (regrouping,),
            )
            return tuple(_change(cells) for cells in found)

    def note_place(self, regrouping: int, entry: Entry) -> None:
        """The file has another place than the regrouping gave it."""
        with self._committing():
            self._base.execute(_PROGRESS, _progress(entry))
            self._base.execute(
                "UPDATE regrouped SET destination = ?, said = ?"
                " WHERE regrouping = ? AND number = ?",
                (
                    entry.row.destination,
                    json.dumps(entry.placement.said),
                    regrouping,
                    entry.number,
                ),
            )

    def end_regrouping(self, regrouping: int) -> None:
        """All its files are in their places."""
        with self._committing():
            self._set_regrouping(regrouping, "done")

    def take_back(self, regrouping: int, changes: Iterable[Change]) -> None:
        """An undo of the regrouping is begun: what is said of the files is as these changes say."""
        with self._committing():
            self._set_regrouping(regrouping, "undoing")
            for change in changes:
                self._set_placement(change.number, change.after)

    def forget_regrouping(self, regrouping: int) -> None:
        """The regrouping was taken back: it never was."""
        with self._committing():
            self._base.execute("DELETE FROM regrouped WHERE regrouping = ?", (regrouping,))
            self._base.execute("DELETE FROM regroupings WHERE regrouping = ?", (regrouping,))

    # ---- within ----------------------------------------------------------------------------

    def _set_regrouping(self, regrouping: int, state: str) -> None:
        self._base.execute(
            "UPDATE regroupings SET state = ? WHERE regrouping = ?", (state, regrouping)
        )

    def _has(self, table: str) -> bool:
        found = self._base.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (table,))
        return found.fetchone() is not None

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

    def _earlier(self) -> list[tuple[Any, ...]]:
        with self._speaking():
            return self._base.execute("SELECT run, number, from_near, row FROM earlier").fetchall()

    def _take_over(self, entry: Entry, own: Entry | None) -> None:
        placement = entry.placement
        if own is None:
            self._base.execute(_ADD, _planned(entry.run, placement, entry.number))
        elif own.state in (State.PLACED, State.VERIFIED):
            row = replace(
                placement.row,
                destination=own.row.destination,
                bytes=own.row.bytes,
                sha256=own.row.sha256,
            )
            self._set_placement(own.number, replace(placement, row=row, said=own.placement.said))
        elif own.placement != placement:
            self._base.execute(
                "UPDATE files SET state = ?, run = ? WHERE number = ?",
                (_first_state(placement), entry.run, own.number),
            )
            self._set_placement(own.number, placement)

    def _connect(self, *, hold: bool, make: bool) -> sqlite3.Connection:
        # Read-only is the second choice: only one who may write can tidy up after a power cut.
        modes = ["rwc" if make else "rw", *([] if hold else ["ro"])]
        for mode in modes:
            uri = f"{(self._hidden / FILE).absolute().as_uri()}?mode={mode}"
            base = sqlite3.connect(uri, uri=True, timeout=0, isolation_level=None)
            try:
                base.execute("PRAGMA schema_version").fetchone()
            except sqlite3.OperationalError as error:
                base.close()
                if mode == modes[-1] or _is_busy(error):
                    raise
            else:
                return base
        raise AssertionError("one of the modes is tried last")

    def _begin(self, *, hold: bool, make: bool) -> None:
        base = self._base
        base.execute("PRAGMA synchronous = FULL")
        base.execute("PRAGMA foreign_keys = ON")
        if hold:
            base.execute("PRAGMA locking_mode = EXCLUSIVE")
            base.execute("PRAGMA journal_mode = DELETE")
            base.execute("BEGIN EXCLUSIVE")
            if make and self._is_blank():
                for statement in _TABLES.split(";\n"):
                    base.execute(statement)
                base.execute(f"PRAGMA user_version = {FORM}")
            base.execute("COMMIT")
        self._check_form()

    def _is_blank(self) -> bool:
        """Whether nothing was ever noted: a run that is killed at once leaves an empty file."""
        return not self._base.execute("PRAGMA schema_version").fetchone()[0]

    def _check_form(self) -> None:
        if self._is_blank():
            raise self._no_ledger()
        form = self._base.execute("PRAGMA user_version").fetchone()[0]
        if form != FORM:
            raise LedgerDamaged(
                f"{self._hidden / FILE}: this ledger has form {form}, and this sorter knows form "
                f"{FORM}. Use the sorter that wrote it."
            )

    def _no_ledger(self) -> NoShoot:
        return NoShoot(f"{self._hidden.parent}: this is no shoot folder: it has no ledger.")

    def _say_who(self) -> None:
        """Who holds the ledger, for the one who comes second. Nothing depends on it."""
        said = f"process {os.getpid()}, since {time.strftime('%H:%M:%S')}"
        holder = self._hidden / HOLDER
        with contextlib.suppress(OSError):
            holder.unlink(missing_ok=True)  # a link, or a pipe, would lead elsewhere
            with holder.open("x") as file:
                file.write(said)

    def _who(self) -> str:
        holder = self._hidden / HOLDER
        try:
            text = holder.read_text()[:80] if stat.S_ISREG(holder.lstat().st_mode) else ""
        except (OSError, ValueError):
            return "another process"
        return text if text.isprintable() and text else "another process"

    def _run_of_results(self) -> int:
        found = self._base.execute("SELECT run FROM runs WHERE card = ?", (b"",)).fetchone()
        if found:
            return int(found[0])
        run = self._new_run("", moves=False)
        self._base.execute("UPDATE runs SET state = 'done' WHERE run = ?", (run,))
        return run

    def _new_run(self, card: str, *, moves: bool, two: bool = False) -> int:
        done = self._base.execute(
            "INSERT INTO runs (card, mounted, moves, state) VALUES (?, ?, ?, 'open')",
            (os.fsencode(card), os.path.ismount(card), moves + (moves and two)),
        )
        return done.lastrowid or 0

    def _update(self, run: int, number: int, placement: Placement, *, again: bool) -> None:
        if again:
            self._base.execute("UPDATE files SET state = 'planned' WHERE number = ?", (number,))
        else:
            self._base.execute(
                "INSERT INTO earlier SELECT ?, number, from_near, row FROM files WHERE number = ?",
                (run, number),
            )
        self._set_placement(number, placement)

    def _set_placement(self, number: int, placement: Placement) -> None:
        self._base.execute(
            "UPDATE files SET destination = ?, bytes = ?, sha256 = ?, container = ?, from_near = ?,"
            " unread = ?, mark = ?, said = ?, row = ? WHERE number = ?",
            (*_cells(placement), number),
        )

    @contextlib.contextmanager
    def _committing(self) -> Iterator[None]:
        with self._speaking():
            self._base.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._base.execute("COMMIT")
            except BaseException:
                with contextlib.suppress(sqlite3.Error):
                    self._base.execute("ROLLBACK")
                raise

    @contextlib.contextmanager
    def _speaking(self) -> Iterator[None]:
        """What SQLite has against it, in our words."""
        try:
            yield
        except sqlite3.Error as error:
            raise self._in_words(error) from error

    def _in_words(self, error: sqlite3.Error) -> Exception:
        ledger = self._hidden / FILE
        if _is_busy(error):
            return ShootBusy(
                f"{self._hidden.parent}: another run is at work here ({self._who()}). "
                "Wait until it is done, and run this again."
            )
        if "full" in str(error):
            return NoRoom(f"{ledger} cannot grow: the disk is full. Make room and run it again.")
        if isinstance(error, sqlite3.OperationalError):
            return ShootNotWritable(
                f"{ledger} cannot be used: {error}. Check the disk and its permissions, and run "
                "it again."
            )
        return LedgerDamaged(
            f"{ledger} cannot be read: {error}. The files are not touched; `sha256sum -c "
            "SHA256SUMS` in the shoot still checks them."
        )


def _may_be_there(path: Path) -> bool:
    """Whether there is such a file. Where the system does not let us look, SQLite will say why."""
    try:
        return path.is_file()
    except OSError:
        return True


def _refuse_what_is_no_file(path: Path) -> None:
    """A link would take what is noted elsewhere, and a pipe would be waited for."""
    try:
        mode = path.lstat().st_mode
    except OSError:  # it is not there yet, or SQLite will say what is wrong with it
        return
    if not stat.S_ISREG(mode):
        raise LedgerDamaged(
            f"{path} is no plain file, and so no ledger of ours. Nothing was done: move it away, or "
            "name another folder."
        )


def _is_busy(error: sqlite3.Error) -> bool:
    return "locked" in str(error) or "busy" in str(error)


def _followed(run: Run) -> str:
    """The state of a run that a second copy hears of: it has nothing of that ingest yet."""
    return "done" if run.is_of_results else "open"


def _first_state(placement: Placement) -> State:
    return State.PLANNED if placement.row.destination else State.LEFT


def strangers(lead: Iterable[Entry], own: Iterable[Entry]) -> tuple[Entry, ...]:
    """Those of one ledger's entries that the lead does not know, or knows as another file.

    A result that the lead knows no more was removed there, and is none: it can be made anew.
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


_OWN_COLUMNS: Final = frozenset({"source", "destination", "bytes", "sha256"})
_CELLS: Final = tuple(field.name for field in fields(Row) if field.name not in _OWN_COLUMNS)


def _row_text(row: Row) -> str:
    """The row without what has columns of its own."""
    return json.dumps({name: getattr(row, name) for name in _CELLS})


def _planned(run: int, placement: Placement, number: int | None = None) -> tuple[object, ...]:
    source = os.fsencode(placement.row.source)
    return (number, run, source, _first_state(placement), *_cells(placement))


def _cells(placement: Placement) -> tuple[object, ...]:
    """A placement's values in the order of its columns."""
    row, said = placement.row, json.dumps(placement.said)
    about = (placement.container, placement.from_near, placement.unread, placement.mark)
    return (row.destination, row.bytes, row.sha256, *about, said, _row_text(row))


def _progress(entry: Entry) -> tuple[object, ...]:
    row, said = entry.row, json.dumps(entry.placement.said)
    about = (entry.state, entry.gone, entry.modified_ns)
    return (*about, row.destination, row.bytes, row.sha256, said, entry.number)


def _change_cells(change: Change) -> tuple[object, ...]:
    """A change's values in the order of its columns."""
    row = change.after.row
    about = (row.bytes, row.sha256, os.fsencode(row.source))
    return (change.number, *_grouping(change.before), *_grouping(change.after), *about)


def _grouping(placement: Placement) -> tuple[object, ...]:
    """What a regrouping may change."""
    row, said = placement.row, json.dumps(placement.said)
    return (row.destination, placement.from_near, said, _row_text(row))


def _change(cells: tuple[Any, ...]) -> Change:
    number, *both, count, sha256, source = cells
    before, after = (
        Placement(
            row=_row(row, os.fsdecode(source), destination, count, sha256),
            from_near=from_near,
            said=tuple(json.loads(said)),
        )
        for destination, from_near, said, row in (both[:4], both[4:])
    )
    return Change(number=number, before=before, after=after)


def _entry(cells: tuple[Any, ...], moves: dict[int, bool]) -> Entry:
    number, run, source, destination, state, count, sha256, modified, gone, *about = cells
    container, from_near, unread, mark, said, row = about
    placement = Placement(
        row=_row(row, os.fsdecode(source), destination, count, sha256),
        container=container,
        from_near=from_near,
        unread=bool(unread),
        mark=mark,
        said=tuple(json.loads(said)) if said != _NOTHING else (),
    )
    return Entry(
        number=number,
        run=run,
        placement=placement,
        state=State(state),
        modified_ns=modified,
        moves=moves.get(run, False),
        gone=bool(gone),
    )


def _row(text: str, source: str, destination: str, count: int, sha256: str) -> Row:
    cells = json.loads(text)
    for name, values in _KINDS.items():
        if cells[name] is not None:
            cells[name] = values[cells[name]]
    return Row(source=source, destination=destination, bytes=count, sha256=sha256, **cells)
