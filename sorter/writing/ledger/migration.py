"""A ledger of an earlier format brought to ours. Only here sentences of old are read.

The first format kept what is said of a file as JSON, and relations, damages, new names and reasons as the
sentences that people read. What is no sentence that it wrote stays as it is, word by word. All is one
transaction: a cut leaves the ledger as it was.
"""

from __future__ import annotations

import json
import os
import re
import sqlite3
from collections.abc import Iterator
from typing import Any, Final, TypeAlias

from sorter.model.correction import PICTURES_SHOW, USER_SAID
from sorter.model.damage import Damage
from sorter.model.kinds import DriveMode, FocusMode, Kind, Role, Who
from sorter.model.note import BETWEEN, NotCarried, Note, Related, Renamed, WhyRenamed
from sorter.model.operation import OperationKind, OperationState
from sorter.model.plan import Placement, State
from sorter.model.relation_kind import RelationKind
from sorter.model.row import Row
from sorter.writing.ledger import values
from sorter.writing.ledger.schema import (
    CHECKED,
    FILES,
    FINDINGS,
    FORMAT_VERSION,
    INDEXES,
    INGESTS,
    KEPT,
    KEPT_NOTES_TABLE,
    NOTES_TABLE,
    OPERATIONS,
    SINCE_3,
    TABLES,
    When,
)

FIRST: Final = 1
"""The first format that this reads. The second lacks a few columns of findings."""

_OLD: Final = ("regrouped", "regroupings", "earlier", "findings", "files", "runs")
_CELLS: Final = (
    "frame",
    "sequence",
    "kind",
    "position",
    "frames",
    "planned",
    "role",
    "captured",
    "camera",
    "serial",
    "lens",
    "focal_length_mm",
    "f_number",
    "exposure_time_s",
    "iso",
    "exposure_bias_ev",
    "flash",
    "focus_mode",
    "drive_mode",
    "focus_near_m",
    "focus_far_m",
    "grounds",
    "notes",
)
_RELATION: Final = re.compile(rf"({'|'.join(RelationKind)}) sequence ([0-9]{{1,18}})")
_RENAMED: Final = re.compile(rf"named (.+) here: ({'|'.join(WhyRenamed)})", re.DOTALL)
_PLAIN: Final = frozenset({str, int, float})
_INTO_TWO: Final = 2  # its word for a move into two copies
_NOT_CARRIED: Final = "not carried: "
NO_VALUES: Final = (ValueError, TypeError, KeyError, OverflowError, RecursionError)
"""Raised where it says what the first format never did."""
_Cells: TypeAlias = dict[str, Any]
_Old: TypeAlias = dict[str, list[_Cells]]
_Among: TypeAlias = tuple[str, str, int | None]
_Speaks: TypeAlias = tuple[str, str, int | None, int]


def migrate(base: sqlite3.Connection, form: int) -> None:
    """The tables are those of our form, with all that the old ones said; in a transaction of the caller.

    form: the ledger's. Raises NO_VALUES where they say what the first format never did.
    """
    if form == FIRST:
        _from_first(base)
    else:
        for column in SINCE_3:
            base.execute(f"ALTER TABLE {FINDINGS.name} ADD COLUMN {column.declared}")
    base.execute(f"PRAGMA user_version = {FORMAT_VERSION}")


def _from_first(base: sqlite3.Connection) -> None:
    old = _read(base)
    for name in _OLD:
        base.execute(f"DROP TABLE IF EXISTS {name}")
    for statement in (*(table.created for table in TABLES), *INDEXES):
        base.execute(statement)
    _Migration(base, old).carry_over()


def _read(base: sqlite3.Connection) -> _Old:
    return {
        "runs": _rows(base, "runs", "run, card, mounted, moves, state"),
        "files": _rows(
            base,
            "files",
            "number, run, source, destination, state, bytes, sha256, modified_ns, gone, container, "
            "from_near, unread, mark, said, row",
        ),
        "earlier": _rows(base, "earlier", "run, number, from_near, row"),
        "findings": _rows(base, "findings", "number, says"),
        "has findings": [{} for name in _tables(base) if name == "findings"],
        "regroupings": _rows(base, "regroupings", "regrouping, behind, state"),
        "regrouped": _rows(
            base,
            "regrouped",
            "regrouping, number, was_destination, was_from_near, was_said, was_row, destination, "
            "from_near, said, row, bytes, sha256, source",
        ),
    }


def _tables(base: sqlite3.Connection) -> list[str]:
    return [row[0] for row in base.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]


def _rows(base: sqlite3.Connection, table: str, columns: str) -> list[_Cells]:
    """Each row by its columns' names. Some tables were made when they were first needed."""
    if table not in _tables(base) and table not in ("runs", "files"):
        return []
    found = base.execute(f"SELECT {columns} FROM {table} ORDER BY 1, 2")  # noqa: S608  our own names
    names = columns.split(", ")
    return [dict(zip(names, row, strict=True)) for row in found]


class _Migration:
    """One ledger on its way."""

    def __init__(self, base: sqlite3.Connection, old: _Old) -> None:
        self._base = base
        self._old = old
        self._operation: dict[int, int] = {}  # of each run
        self._regrouping: dict[int, int] = {}
        self._said_by = {
            **self._speakers("files", "row"),
            **self._speakers("earlier", "row", "run"),
            **self._speakers("regrouped", "row", "regrouping"),
            **self._speakers("regrouped", "was_row", "regrouping"),
        }

    def carry_over(self) -> None:
        """All of it."""
        self._carry_operations()
        for row in self._old["files"]:
            self._carry_file(row)
        for row in self._old["earlier"]:
            self._carry_earlier(row)
        for row in self._old["regrouped"]:
            self._carry_regrouped(row)
        for row in self._old["findings"]:
            self._add(FINDINGS.added, values.verbatim(row["number"], row["says"]))
        if self._old["has findings"]:
            self._add(CHECKED.added, (1,))

    def _add(self, statement: str, cells: tuple[Any, ...]) -> None:
        self._base.execute(statement, cells)

    # ---- operations ------------------------------------------------------------------------

    def _carry_operations(self) -> None:
        """In the order in which they were begun: a regrouping tells after which ingest it was."""
        ingests = sorted(row["run"] for row in self._old["runs"] if row["card"])
        last = max((row["run"] for row in self._old["runs"]), default=0)
        order: list[tuple[float, int, _Cells]] = [(r["run"], 0, r) for r in self._old["runs"]]
        for row in self._old["regroupings"]:
            following = next((run for run in ingests if run > row["behind"]), last + 1)
            order.append((following - 0.5, row["regrouping"], row))
        for operation, (_, _, row) in enumerate(sorted(order, key=lambda each: each[:2]), 1):
            if "regrouping" in row:
                progress = OperationState(row["state"]).value
                self._add(OPERATIONS.added, (operation, OperationKind.REGROUPING.value, progress))
                self._regrouping[row["regrouping"]] = operation
            else:
                self._carry_run(operation, row)

    def _carry_run(self, operation: int, row: _Cells) -> None:
        what = OperationKind.INGEST if row["card"] else OperationKind.RESULT
        self._add(OPERATIONS.added, (operation, what.value, OperationState(row["state"]).value))
        if row["card"]:
            moves, two = int(bool(row["moves"])), int(row["moves"] == _INTO_TWO)
            self._add(
                INGESTS.added, (row["run"], operation, row["card"], row["mounted"], moves, two)
            )
        self._operation[row["run"]] = operation

    # ---- files -----------------------------------------------------------------------------

    def _carry_file(self, old: _Cells) -> None:
        number = old["number"]
        placement = Placement(
            row=self._row(old, ("files", "row", None)),
            container=old["container"],
            from_near=old["from_near"],
            carrying_notes=_note_rows(old["said"]),
            unread=bool(old["unread"]),
            fingerprint=old["mark"],
        )
        cells = values.file(self._operation[old["run"]], placement, number)
        progress = (State(old["state"]).value, old["modified_ns"], old["gone"])
        self._add(FILES.added, (*cells[:3], *progress, *cells[6:]))
        for note in values.notes(placement):
            self._add(NOTES_TABLE.added, (number, *note))

    def _carry_earlier(self, old: _Cells) -> None:
        if not old["run"]:
            return  # of a plan without an ingest of its own: nothing takes that back
        nowhere = {"source": b"", "destination": "", "bytes": 0, "sha256": ""}
        row = self._row({**nowhere, **old}, ("earlier", "row", old["run"]))
        placement = Placement(row=row, from_near=old["from_near"])
        self._keep(self._operation[old["run"]], old["number"], When.BEFORE, placement)

    def _carry_regrouped(self, old: _Cells) -> None:
        operation = self._regrouping[old["regrouping"]]
        was = {name: old[f"was_{name}"] for name in ("destination", "from_near", "said", "row")}
        for side, text, cells in (
            (When.BEFORE, "was_row", {**old, **was}),
            (When.AFTER, "row", old),
        ):
            row = self._row(cells, ("regrouped", text, old["regrouping"]))
            near, notes = cells["from_near"], _note_rows(cells["said"])
            placement = Placement(row=row, from_near=near, carrying_notes=notes)
            self._keep(operation, old["number"], side, placement)

    def _keep(self, operation: int, number: int, side: When, placement: Placement) -> None:
        of = (operation, number, side.value)
        source = os.fsencode(placement.row.source)
        self._add(KEPT.added, (*of, source, *values.facts(placement)))
        for note in values.notes(placement):
            self._add(KEPT_NOTES_TABLE.added, (*of, *note))

    # ---- rows ------------------------------------------------------------------------------

    def _row(self, old: _Cells, among: _Among) -> Row:
        """The row that was kept so. among: those of which one has the grounds of its sequence."""
        cells = json.loads(old["row"])
        if not isinstance(cells, dict) or set(cells) != set(_CELLS):
            raise ValueError("a row of other columns")
        if not all(each is None or type(each) in _PLAIN for each in cells.values()):
            raise ValueError("a row of other values")
        notes = cells.pop("notes")
        if not isinstance(notes, str):
            raise TypeError("notes that are no text")
        cells["kind"], cells["role"] = Kind(cells["kind"]), Role(cells["role"])
        focus, drive = cells["focus_mode"], cells["drive_mode"]
        return Row(
            **{
                **cells,
                "focus_mode": None if focus is None else FocusMode(focus),
                "drive_mode": None if drive is None else DriveMode(drive),
            },
            source=os.fsdecode(old["source"]),
            destination=old["destination"],
            bytes=old["bytes"],
            sha256=old["sha256"],
            remarks=tuple(map(_note, notes.split(BETWEEN))) if notes else (),
            said_by=self._said_by.get((*among, cells["sequence"]), Who.CAMERA),
        )

    def _speakers(self, table: str, name: str, by: str = "") -> dict[_Speaks, Who]:
        """Who said what each sequence is: its grounds stood on one of its rows.

        name: the column with the row. by: the column that tells one account of the shoot from another.
        """
        found: dict[_Speaks, Who] = {}
        for each in self._old[table]:
            row = json.loads(each[name])
            if isinstance(row, dict) and row.get("sequence") and row.get("grounds"):
                key = (table, name, each[by] if by else None, row["sequence"])
                found[key] = _who(str(row["grounds"]))
        return found


def _who(grounds: str) -> Who:
    if USER_SAID in grounds:
        return Who.USER
    return Who.PICTURES if PICTURES_SHOW in grounds else Who.CAMERA


def _note_rows(text: str) -> tuple[Note, ...]:
    return tuple(map(_note, _texts(json.loads(text))))


def _texts(notes: object) -> Iterator[str]:
    if not isinstance(notes, list) or not all(isinstance(each, str) for each in notes):
        raise ValueError("notes that are no texts")
    yield from notes


def _note(text: str) -> Note:
    """The fact of which the first format wrote this sentence; the text where it is none of these."""
    if related := _RELATION.fullmatch(text):
        known = Related(what=RelationKind(related[1]), sequence=int(related[2]))
        return known if str(known) == text else text
    if renamed := _RENAMED.fullmatch(text):
        return Renamed(name=renamed[1], why=WhyRenamed(renamed[2]))
    if text.startswith(_NOT_CARRIED):
        return NotCarried(reason=text.removeprefix(_NOT_CARRIED))
    return next((each for each in Damage if each == text), text)
