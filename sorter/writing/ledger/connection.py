"""One shoot's SQLite file: opened, held, and what SQLite has against it in our words.

Every intent is noted before it is begun and every fact after it is true, each note forced to the disk
(synchronous FULL). The journal is a file beside the ledger that is deleted with each commit: the mode
that also works on exFAT and on shares. One run at a time holds the ledger for itself; several threads of
it may use it.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import stat
import threading
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, Final

from sorter.errors import LedgerDamaged, NoRoom, NoShoot, ShootBusy, ShootNotWritable
from sorter.writing.ledger.migration import FIRST, NO_VALUES, migrate
from sorter.writing.ledger.schema import FORMAT_VERSION, INDEXES, LIKE_THIS, TABLES, UNRELATED

FILE: Final = "ledger.db"
HOLDER: Final = "holder"
_BUSY: Final = frozenset({sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED})
_UNUSABLE: Final = frozenset(
    {
        sqlite3.SQLITE_PERM,
        sqlite3.SQLITE_READONLY,
        sqlite3.SQLITE_IOERR,
        sqlite3.SQLITE_CANTOPEN,
        sqlite3.SQLITE_PROTOCOL,
        sqlite3.SQLITE_NOLFS,
        sqlite3.SQLITE_AUTH,
        sqlite3.SQLITE_NOMEM,
    }
)
"""What the disk, its permissions or the system are to blame for; all else is the ledger's content."""
_OURS: Final = (sqlite3.ProgrammingError, sqlite3.InterfaceError)
"""Mistakes in a program that uses it, as a call after the end: they pass through."""


class Connection:
    """The ledger's file, open. hold: it is to be written, and nobody else may use it meanwhile.

    A ledger of the first format is brought to ours: in its file where that is held, else in memory.
    Raises NoShoot where there is none, ShootBusy where another run holds it, LedgerDamaged,
    ShootNotWritable, NoRoom.
    """

    def __init__(self, hidden: Path, *, hold: bool, make: bool) -> None:
        self._hidden = hidden
        self._held = hold
        self._lock = threading.RLock()
        _refuse_what_is_no_file(hidden / FILE)
        if not make and not _may_be_there(hidden / FILE):
            raise self._no_ledger()
        with self.speaking():
            self._base = self._connect(hold=hold, make=make)
            try:
                self._begin(hold=hold, make=make)
                if hold:
                    self._say_who()
            except BaseException:
                self._base.close()
                raise

    def close(self) -> None:
        """Lets go of the file; may be called again."""
        with self._lock:
            self._base.close()
            if self._held:
                with contextlib.suppress(OSError):
                    (self._hidden / HOLDER).unlink()
                self._held = False

    # ---- statements ------------------------------------------------------------------------

    def all(self, statement: str, *values: object) -> list[Any]:
        """The rows that the query finds."""
        with self.speaking():
            return self._base.execute(statement, values).fetchall()

    def one(self, statement: str, *values: object) -> Any:  # noqa: ANN401  whatever is asked for
        """The first value of the first row; None where there is no row."""
        found = self.all(statement, *values)
        return found[0][0] if found else None

    def run(self, statement: str, *values: object) -> int:
        """The statement is carried out; returns the key of the row that it added."""
        with self.speaking():
            return self._base.execute(statement, values).lastrowid or 0

    def run_each(self, statement: str, rows: Iterable[tuple[Any, ...]]) -> None:
        """The statement is carried out for each of the rows."""
        with self.speaking():
            self._base.executemany(statement, rows)

    @contextlib.contextmanager
    def committing(self) -> Iterator[None]:
        """What is noted within is on the disk as a whole at the end, or not at all."""
        with self.speaking():
            self._base.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._base.execute("COMMIT")
            except BaseException:
                with contextlib.suppress(sqlite3.Error):
                    self._base.execute("ROLLBACK")
                raise

    @contextlib.contextmanager
    def speaking(self) -> Iterator[None]:
        """One thread at a time; what SQLite has against it, in our words."""
        with self._lock:
            try:
                yield
            except _OURS:
                raise
            except sqlite3.Error as error:
                raise self._in_words(error) from error

    # ---- opening ---------------------------------------------------------------------------

    def _connect(self, *, hold: bool, make: bool) -> sqlite3.Connection:
        # Read-only is the second choice: only one who may write can tidy up after a power cut.
        modes = ["rwc" if make else "rw", *([] if hold else ["ro"])]
        for mode in modes:
            uri = f"{(self._hidden / FILE).absolute().as_uri()}?mode={mode}"
            base = sqlite3.connect(
                uri, uri=True, timeout=0, isolation_level=None, check_same_thread=False
            )
            try:
                base.execute("PRAGMA schema_version").fetchone()
            except sqlite3.OperationalError as error:
                base.close()
                if mode == modes[-1] or _code(error) in _BUSY:
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
                make_tables(base)
            base.execute("COMMIT")
        if self._is_blank():
            raise self._no_ledger()
        self._bring_to_format(hold=hold)

    def _is_blank(self) -> bool:
        """Whether nothing was ever noted: a run that is killed at once leaves an empty file."""
        return not self._base.execute("PRAGMA schema_version").fetchone()[0]

    def _bring_to_format(self, *, hold: bool) -> None:
        form = self._base.execute("PRAGMA user_version").fetchone()[0]
        if form in (FORMAT_VERSION, LIKE_THIS):
            self._refuse_unsound()
            if hold and form == LIKE_THIS:
                self._base.execute(f"PRAGMA user_version = {FORMAT_VERSION}")
            return
        if form != FIRST:
            raise LedgerDamaged(
                f"{self._hidden / FILE}: this ledger has form {form}, and this sorter knows forms "
                f"{FIRST} to {FORMAT_VERSION}. Use the sorter that wrote it."
            )
        if not hold:
            self._base = _in_memory(self._base)
        self._base.execute("BEGIN EXCLUSIVE")
        try:
            migrate(self._base)
            self._refuse_unsound()
            self._base.execute("COMMIT")
        except NO_VALUES as error:
            raise self._damaged(f"what it holds is none of our values ({error})") from error
        finally:
            if self._base.in_transaction:
                self._base.execute("ROLLBACK")

    def _refuse_unsound(self) -> None:
        """Raises LedgerDamaged where a table is not as our schema has it, or holds other values."""
        for table in TABLES:
            found = tuple(row[1] for row in self._base.execute(f"PRAGMA table_info({table.name})"))
            if found != table.names:
                unlike = sorted({*found} ^ {*table.names}) or list(found)
                raise self._damaged(
                    f"its table {table.name} has not the columns that it is to have "
                    f"({', '.join(unlike)})"
                )
            if self._base.execute(table.unsound).fetchone():
                raise self._damaged(f"its table {table.name} holds values that it cannot have")
        if any(self._base.execute(query).fetchone() for query in UNRELATED):
            raise self.damaged()

    # ---- in words --------------------------------------------------------------------------

    def damaged(self) -> LedgerDamaged:
        """What is noted there does not go together."""
        return self._damaged("what it holds does not go together")

    def _damaged(self, what: str) -> LedgerDamaged:
        return LedgerDamaged(
            f"{self._hidden / FILE} cannot be read: {_printable(what)}. The files are not touched; "
            "`sha256sum -c SHA256SUMS` in the shoot still checks them."
        )

    def _no_ledger(self) -> NoShoot:
        return NoShoot(f"{self._hidden.parent}: this is no shoot folder: it has no ledger.")

    def _say_who(self) -> None:
        """Who holds the ledger, for the one who comes second. Nothing depends on it."""
        notes = f"process {os.getpid()}, since {time.strftime('%H:%M:%S')}"
        holder = self._hidden / HOLDER
        with contextlib.suppress(OSError):
            holder.unlink(missing_ok=True)  # a link, or a pipe, would lead elsewhere
            with holder.open("x") as file:
                file.write(notes)

    def _who(self) -> str:
        holder = self._hidden / HOLDER
        try:
            text = _first_of(holder) if stat.S_ISREG(holder.lstat().st_mode) else ""
        except (OSError, ValueError):
            return "another process"
        return text if text.isprintable() and text else "another process"

    def _in_words(self, error: sqlite3.Error) -> Exception:
        ledger, code = self._hidden / FILE, _code(error)
        if code in _BUSY:
            return ShootBusy(
                f"{self._hidden.parent}: another run is at work here ({self._who()}). "
                "Wait until it is done, and run this again."
            )
        if code == sqlite3.SQLITE_FULL:
            return NoRoom(f"{ledger} cannot grow: the disk is full. Make room and run it again.")
        if code in _UNUSABLE:
            return ShootNotWritable(
                f"{ledger} cannot be used: {error}. Check the disk and its permissions, and run "
                "it again."
            )
        return self._damaged(str(error))


def _first_of(path: Path) -> str:
    """The first 80 signs, however long the file is."""
    with path.open() as file:
        return file.read(80)


def make_tables(base: sqlite3.Connection) -> None:
    """The tables of our form are there, empty."""
    for statement in (*(table.created for table in TABLES), *INDEXES):
        base.execute(statement)
    base.execute(f"PRAGMA user_version = {FORMAT_VERSION}")


def _in_memory(base: sqlite3.Connection) -> sqlite3.Connection:
    """The same ledger in memory: who only reads changes nothing on the disk."""
    with contextlib.closing(base):
        # Held from here on: what is locked would be waited for by a backup, were it for hours.
        base.execute("BEGIN")
        base.execute("SELECT 1 FROM sqlite_master").fetchone()
        copy = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
        base.backup(copy)
    return copy


def _code(error: sqlite3.Error) -> int:
    """SQLite's primary error code; 0 where it was Python that refused."""
    return int(getattr(error, "sqlite_errorcode", 0) or 0) & 0xFF


def _printable(text: str) -> str:
    return "".join(sign if sign.isprintable() else "?" for sign in text)[:200]


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
