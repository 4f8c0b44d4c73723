"""A ledger that holds what it cannot have, a column too many or too few: one sentence, and no file is touched."""

from __future__ import annotations

import itertools
import sqlite3
from contextlib import closing, suppress
from dataclasses import fields
from pathlib import Path
from typing import Final

import pytest
from click.testing import CliRunner, Result

import tides
from sorter.cli import commands
from sorter.errors import LedgerDamaged
from sorter.model.finding import CHECK_COLUMNS, Check, End, Unjudged, Verdict
from sorter.model.kinds import Kind
from sorter.pipeline.recording import records_of
from sorter.writing.ledger import FILE, Ledger, schema
from writing.cards import RECORDS, contents

card = tides.linkless_card
shoot = tides.shoot_of_card

VALUES: Final = ("NULL", "-1", "9223372036854775807", "1e400", "'crab'", "''", "x'ff00'", "0.5")
TEXT_NO_UTF8: Final = "CAST(x'c328' AS TEXT)"
COMMANDS: Final = (
    ("verify",),
    ("undo", "--yes"),
)


def sorter(*arguments: object) -> Result:
    return CliRunner().invoke(commands, [*map(str, arguments)])


def fill(shoot: Path) -> None:
    """Something stands in each table."""
    with Ledger(shoot / ".sorter", hold=True) as ledger:
        first = ledger.entries()[0]
        ledger.say_findings({first.number: Check(sequence=1, kind=Kind.BURST, frames=4, dark=(2,))})
        with ledger._committing():  # noqa: SLF001  what no ingest of this card keeps
            ledger._keep(1, first.number, schema.When.BEFORE, first.placement)  # noqa: SLF001
            ledger._base.run(  # noqa: SLF001
                "INSERT INTO kept_notes SELECT 1, number, 'before', part, place, what, text, why,"
                " sequence FROM notes WHERE number IN (SELECT min(number) FROM notes)"
            )


def set_value(ledger_file: Path, table: str, column: str, value: str) -> bool:
    """Whether SQLite took it."""
    with (
        closing(sqlite3.connect(ledger_file, isolation_level=None)) as base,
        suppress(sqlite3.IntegrityError),
    ):
        names = ", ".join(next(each.names for each in schema.TABLES if each.name == table)[:4])
        one = f"({names}) = (SELECT {names} FROM {table} LIMIT 1)"  # noqa: S608  our own names
        base.execute(f"UPDATE {table} SET {column} = {value} WHERE {one}")  # noqa: S608
        return True
    return False


def is_told(ledger_file: Path) -> bool:
    """Whether all of it can be asked, or it is called damaged; anything else is a fault."""
    try:
        with Ledger(ledger_file.parent, hold=False, ends=True) as ledger:
            records_of(ledger.entries())
            for each in ledger.regroupings():
                ledger.changes(each.number)
            ledger.runs()
    except LedgerDamaged as damage:
        return str(damage).count("\n") == 0
    return True


@pytest.mark.parametrize("table", schema.TABLES, ids=lambda table: table.name)
def test_values_that_it_cannot_have_are_told_in_one_sentence(
    shoot: Path, table: schema.Table
) -> None:
    fill(shoot)
    ledger_file = shoot / ".sorter" / FILE
    sound, before = ledger_file.read_bytes(), contents(shoot)
    for column in table.names:
        taken = 0
        for value in (*VALUES, TEXT_NO_UTF8):
            if set_value(ledger_file, table.name, column, value):
                taken += 1
                assert is_told(ledger_file), (column, value)
                ledger_file.write_bytes(sound)
        assert taken, column
        set_value(ledger_file, table.name, column, "x'ff00'")
        for command in COMMANDS[:-1]:
            result = sorter(*command, shoot)
            assert result.exception is None or isinstance(result.exception, SystemExit)
            assert result.stderr.count("\n") <= 1
        ledger_file.write_bytes(sound)
    assert contents(shoot).keys() - RECORDS == before.keys() - RECORDS


@pytest.mark.parametrize("table", [table.name for table in schema.TABLES])
@pytest.mark.parametrize(
    "how", ["ADD COLUMN barnacles TEXT", "RENAME COLUMN {} TO barnacles", "RENAME TO barnacles"]
)
def test_unknown_and_missing_columns_are_damage_in_words(shoot: Path, table: str, how: str) -> None:
    last = next(each.names[-1] for each in schema.TABLES if each.name == table)
    with closing(sqlite3.connect(shoot / ".sorter" / FILE, isolation_level=None)) as base:
        base.execute(f"ALTER TABLE {table} {how.format(last)}")
    before = contents(shoot)
    for command in COMMANDS:
        result = sorter(*command, shoot)
        assert (result.exit_code, result.stdout) == (2, ""), result.output
        assert f"its table {table} has not the columns that it is to have" in result.stderr
        assert result.stderr.count("\n") == 1
    assert contents(shoot) == before


def test_findings_of_all_kinds_come_back(tmp_path: Path) -> None:
    positions = itertools.count(1)
    told = {
        name: (next(positions), next(positions))
        for name in schema.LISTS
        if name not in (*schema.FRACTIONS, "judged_at", "most_megapixels")
    }
    check = Check(
        sequence=3,
        kind=Kind.FOCUS_BRACKET,
        frames=40,
        verdict=Verdict.USABLE,
        missing_end=End.BOTH,
        first_sharp_share=0.125,
        last_sharp_share=0.0,
        keep_first=2,
        keep_last=39,
        drift_px=1.5,
        looks_like=Kind.BURST,
        bright_ev=(-0.5, 1.0),
        moved_boxes=(0.25, 0.5, 0.125, 0.125, 0.5, 0.5, 0.25, 0.125),
        fitting=0.75,
        unjudged=Unjudged.UNCLEAR,
        step_of_depth=0.8,
        growth=0.01,
        judged_at=160,
        most_megapixels=250,
        nearward=False,
        wander_share=0.25,
        explained=0.5,
        attempts_verdict=Verdict.COMPLETE,
        attempts_frames=41,
        **told,
    )
    empty = [name for name in CHECK_COLUMNS if getattr(check, name) in (None, (), "")]
    assert empty == [], "give each of these a value above, so that its way is tried"
    hidden = tmp_path / ".sorter"
    hidden.mkdir()
    with Ledger(hidden, hold=True, make=True) as ledger:
        ledger.say_findings({7: check})
        assert ledger._findings() == {7: check}  # noqa: SLF001  no file is there to ask by


def test_every_finding_has_its_column_or_its_list() -> None:
    kept = {*schema.FINDINGS.names, *schema.LISTS} - {"number", "verbatim"}
    assert {field.name for field in fields(Check)} == kept


def test_the_schema_is_this_one() -> None:
    """A change to it is a new format: whoever makes one writes a migration, and then this list anew."""
    assert schema.FORMAT_VERSION == 3
    assert {table.name: " ".join(table.names) for table in schema.TABLES} == SCHEMA


_FACTS: Final = (
    "destination bytes sha256 container unread mark frame sequence kind position frames planned role"
    " captured camera serial lens focal_length_mm f_number exposure_time_s iso exposure_bias_ev flash"
    " focus_mode drive_mode focus_near_m focus_far_m grounds said_by from_near"
)
SCHEMA: Final = {
    "operations": "operation what progress",
    "ingests": "run operation card mounted moves two",
    "files": f"number operation source state modified_ns gone given_bytes given_sha256 {_FACTS}",
    "notes": "number part place what text why sequence",
    "kept": f"operation number side source {_FACTS}",
    "kept_notes": "operation number side part place what text why sequence",
    "findings": (
        "number verbatim sequence kind frames verdict missing_end first_sharp_share last_sharp_share"
        " keep_first keep_last drift_px looks_like step_of_depth growth nearward wander_share explained"
        " attempts_verdict attempts_frames fitting unjudged"
    ),
    "found_at": "number what place value",
    "checked": "checked",
}


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM ingests",
        "DELETE FROM operations",
        "DELETE FROM operations WHERE what = 'ingest'",
        "UPDATE operations SET what = 'choice'",
        "UPDATE ingests SET operation = 99",
        "UPDATE files SET operation = 99 WHERE number = 3",
        "INSERT INTO operations VALUES (7, 'ingest', 'done')",
        "UPDATE ingests SET card = x''",
        "UPDATE ingests SET card = x'2f00'",
        "UPDATE files SET source = CAST('a' || char(0) || number AS BLOB)",
        "UPDATE files SET destination = CAST('a' || char(0) || number AS BLOB)",
        "UPDATE files SET destination = 'a' || char(0) WHERE number = 2",
        "UPDATE kept SET destination = CAST('a' || char(0) || number AS BLOB)",
        "UPDATE operations SET operation = 9223372036854775807",
        "UPDATE ingests SET run = 9223372036854775807",
        "UPDATE files SET number = 9223372036854775807 WHERE number = 3",
        "UPDATE files SET sequence = 9223372036854775807 WHERE number = 3",
        "UPDATE files SET frame = 4611686018427387905 WHERE number = 3",
        "UPDATE files SET f_number = 9e999 WHERE number = 3",
        "UPDATE files SET iso = -9e999 WHERE number = 3",
        "UPDATE found_at SET value = 9e999",
        "UPDATE found_at SET what = 'bright_steps'",
        "UPDATE found_at SET what = 'bright_ev'",
        "DELETE FROM files; DELETE FROM ingests; UPDATE operations SET what = 'regrouping'",
    ],
)
def test_what_does_not_go_together_is_told_in_one_sentence(
    card: Path, shoot: Path, statement: str
) -> None:
    """Each of these is sound by itself, or by its type; nothing is done with any."""
    fill(shoot)
    with closing(sqlite3.connect(shoot / ".sorter" / FILE, isolation_level=None)) as base:
        base.executescript(statement)
    before = contents(shoot), contents(card)
    for command in (
        ("verify", shoot),
        ("verify", shoot, "--card", card, "--adopt", "--yes"),
        ("ingest", card, shoot, "--backup", shoot.parent / "second copy"),
        ("undo", shoot, "--yes"),
        ("tally", shoot, "--json"),
        ("handoff", shoot, "--list", shoot.parent / "lists"),
    ):
        result = sorter(*command)
        assert (result.exit_code, result.stdout) == (2, ""), (command, result.output)
        assert result.stderr.count("\n") == 1, (command, result.stderr)
        assert "ledger.db cannot be read" in result.stderr
    assert (contents(shoot), contents(card)) == before
