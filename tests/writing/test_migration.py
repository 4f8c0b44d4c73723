"""A shoot whose ledger has the first format: brought to ours, and all goes on from there.

fixtures/format1 was made by the program that wrote that format (scripts/make_format1), not by this one.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tarfile
import threading
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Final

import pytest
from click.testing import CliRunner, Result

from faults.sampling import Cuts
from sorter.cli import commands
from sorter.errors import LedgerDamaged, ShootBusy
from sorter.model.damage import Damage
from sorter.model.kinds import Who
from sorter.model.note import Related, Renamed, WhyRenamed
from sorter.model.operation import OperationKind
from sorter.model.plan import Entry
from sorter.model.relation_kind import RelationKind
from sorter.pipeline.recording import MANIFEST, SUMS, records_of
from sorter.writing.ledger import FILE, Ledger, connection, migration
from sorter.writing.ledger.migration import _note
from writing.cards import contents

FORMAT1: Final = Path(__file__).parents[2] / "fixtures" / "format1"
OPERATIONS: Final = [
    OperationKind.INGEST,
    OperationKind.INGEST,
    OperationKind.INGEST,
    OperationKind.RESULT,
    OperationKind.REGROUPING,
]
"""What scripts/make_format1 did. Which of the last two was first the old format does not tell."""


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """Shoot, second copy and both cards, as that program left them."""
    with tarfile.open(FORMAT1 / "files.tar.gz") as archive:
        archive.extractall(tmp_path, filter="tar")
    for name in ("shoot", "copy"):
        with closing(sqlite3.connect(tmp_path / name / ".sorter" / FILE)) as base:
            base.executescript((FORMAT1 / f"{name}.sql").read_text())
    return tmp_path


@pytest.fixture
def ledger_file(home: Path) -> Path:
    return home / "shoot" / ".sorter" / FILE


def sorter(*arguments: object) -> Result:
    return CliRunner().invoke(commands, [*map(str, arguments)])


def read(ledger_file: Path, *, hold: bool = False) -> tuple[Entry, ...]:
    with Ledger(ledger_file.parent, hold=hold) as ledger:
        return ledger.entries()


def form(ledger_file: Path) -> int:
    with closing(sqlite3.connect(ledger_file)) as base:
        return int(base.execute("PRAGMA user_version").fetchone()[0])


# ---- what it says --------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["shoot", "copy"])
@pytest.mark.parametrize("hold", [True, False])
def test_the_lists_come_out_as_they_were_to_the_byte(home: Path, name: str, *, hold: bool) -> None:
    entries = read(home / name / ".sorter" / FILE, hold=hold)
    lists = records_of(entries)
    assert lists[MANIFEST] == (home / name / MANIFEST).read_bytes()
    assert lists[SUMS] == (home / name / SUMS).read_bytes()


def test_who_only_reads_changes_nothing_and_who_holds_it_brings_it_to_our_form(
    ledger_file: Path,
) -> None:
    before = ledger_file.read_bytes()
    seen = read(ledger_file)
    assert (ledger_file.read_bytes(), form(ledger_file)) == (before, 1)
    assert read(ledger_file, hold=True) == seen
    assert form(ledger_file) == 3
    assert read(ledger_file) == seen


def test_sentences_are_facts_now(ledger_file: Path) -> None:
    entries = read(ledger_file)
    notes = [
        note for each in entries for note in (*each.row.remarks, *each.placement.carrying_notes)
    ]
    kinds = Counter(type(note).__name__ for note in notes)
    assert {Damage.NO_END, Damage.CUT, Damage.EMPTY} <= {n for n in notes if isinstance(n, Damage)}
    assert Related(what=RelationKind.RETAKE, sequence=1) in notes
    assert Renamed(name="limpet_ left.JPG", why=WhyRenamed.ILLEGAL) in notes
    assert (kinds["Related"], kinds["Renamed"]) == (3, 2)
    said = {each.row.sequence: each.row.said_by for each in entries}
    assert (said[1], said[2], said[3]) == (Who.USER, Who.USER, Who.CAMERA)
    assert sum(bool(each.found) for each in entries) == 4


def test_operations_stand_in_their_order(ledger_file: Path) -> None:
    with Ledger(ledger_file.parent, hold=False) as ledger:
        assert [each.what for each in ledger.operations()] == OPERATIONS
        assert [run.card for run in ledger.runs()] == ["/tmp/tide/card"] * 2 + ["/tmp/tide/second"]  # noqa: S108


@pytest.mark.parametrize(
    ("text", "note"),
    [
        *(
            (str(Related(what=bond, sequence=7)), Related(what=bond, sequence=7))
            for bond in RelationKind
        ),
        *((str(each), each) for each in Damage),
        *(
            (str(Renamed(name="a here: b.JPG", why=why)), Renamed(name="a here: b.JPG", why=why))
            for why in WhyRenamed
        ),
        ("IMG same set-up as sequence 3.JPG: cut", None),
        ("same set-up as sequence ²", None),
        ("same set-up as sequence 007", None),
        ("same set-up as sequence 9223372036854775808", None),
        (f"same set-up as sequence {'9' * 5000}", None),
        ("same set-up as sequence", None),
        ("named like a limpet", None),
        ("the file ends early: 5 of 6 bytes", None),
        ("", None),
    ],
)
def test_a_sentence_is_a_fact_or_stays_word_by_word(text: str, note: object) -> None:
    assert _note(text) == (text if note is None else note)
    assert str(_note(text)) == text


# ---- all goes on ---------------------------------------------------------------------------------


def test_it_verifies_is_regrouped_and_is_taken_back_step_by_step(home: Path) -> None:
    shoot = home / "shoot"
    assert "29 of 29 files verified" in sorter("verify", shoot).stdout
    said = home / "more.csv"
    said.write_text(
        "first,last,kind,name\nDCIM/101TIDES/IMG_0001.JPG,DCIM/101TIDES/IMG_0003.JPG,,spray\n"
    )
    outcome = sorter("check", shoot, "--apply", "--corrections", said)
    assert "`sorter undo` takes it back" in outcome.output, outcome.output
    assert "29 of 29 files verified" in sorter("verify", shoot).stdout
    taken = [
        ("regrouping", ()),
        ("regrouping", ()),
        ("ingest of", ("--card", home / "second")),
        ("ingest of", ("--card", home / "card")),
        ("ingest of", ("--card", home / "card")),
    ]
    for what, more in taken:
        outcome = sorter("undo", shoot, "--yes", *more)
        assert f"the newest {what}" in outcome.stderr, outcome.output
        assert outcome.exit_code in (0, 1), outcome.output
    assert {path.partition("/")[0] for path in contents(shoot)} <= {"results"}


def test_undone_the_regrouping_says_what_the_ingests_said(home: Path) -> None:
    """Before it the camera's sequence had three frames, by the fixture's card."""
    shoot = home / "shoot"
    assert sorter("undo", shoot, "--yes").exit_code == 0
    rows = {e.row.source: e.row for e in read(shoot / ".sorter" / FILE)}
    first = rows["DCIM/100TIDES/IMG_0001.JPG"]
    assert (first.kind, first.frames, first.said_by) == ("focus-bracket", 3, Who.CAMERA)
    assert first.destination == "0001_focus-bracket_3/IMG_0001.JPG"
    assert sorter("verify", shoot).exit_code == 1  # the link that was never carried


def test_an_ingest_of_the_same_cards_carries_nothing(home: Path) -> None:
    before = contents(home / "shoot")
    for card in ("card", "second"):
        outcome = sorter("ingest", home / card, home / "shoot", "--backup", home / "copy")
        assert outcome.exit_code in (0, 1), outcome.output
        assert "copied and read back now, 0" not in outcome.stdout
    assert contents(home / "shoot") == before


# ---- cut -----------------------------------------------------------------------------------------


def _statements(ledger_file: Path) -> int:
    """How many statements bring the ledger to our form."""
    count = [0]
    with closing(sqlite3.connect(ledger_file, isolation_level=None)) as base:
        base.execute("BEGIN EXCLUSIVE")
        base.set_trace_callback(lambda _: count.__setitem__(0, count[0] + 1))
        migration.migrate(base)
        base.set_trace_callback(None)
        base.execute("ROLLBACK")
    return count[0]


def _cut(ledger_file: Path, after: int) -> None:
    """A process that brings the ledger to our form ends without a word behind so many statements."""
    child = os.fork()
    if not child:
        base = sqlite3.connect(ledger_file, isolation_level=None)
        base.execute("PRAGMA cache_spill = 1")  # a part of it is in the file already
        base.execute("PRAGMA cache_size = 1")
        base.execute("BEGIN EXCLUSIVE")
        left = [after]

        def count(_: str) -> None:
            left[0] -= 1
            if left[0] < 0:
                os._exit(7)

        base.set_trace_callback(count)
        migration.migrate(base)
        os._exit(7)  # before the commit
    assert os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 7


@pytest.mark.parametrize("name", ["shoot", "copy"])
def test_cut_behind_any_statement_it_is_as_it_was(
    home: Path, name: str, tmp_path: Path, cuts: Cuts
) -> None:
    """Behind a sample of them, or all: as cuts of carrying are."""
    ledger_file = home / name / ".sorter" / FILE
    kept = shutil.copy(ledger_file, tmp_path / "kept.db")
    wanted = read(ledger_file)
    total = _statements(ledger_file)
    assert total > 60
    for point in cuts.points(total + 1, "migration", name):
        shutil.copy(kept, ledger_file)
        _cut(ledger_file, point - 1)
        assert read(ledger_file) == wanted
        assert form(ledger_file) == 1
    assert read(ledger_file, hold=True) == wanted
    assert form(ledger_file) == 3


def test_another_run_that_takes_it_meanwhile_is_not_waited_for(
    ledger_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It may be at work for hours: whoever only reads says so at once."""
    in_memory = connection._in_memory  # noqa: SLF001  the moment between looking and reading

    def taken(base: sqlite3.Connection) -> sqlite3.Connection:
        with closing(
            sqlite3.connect(ledger_file, isolation_level=None, check_same_thread=False)
        ) as other:
            other.execute("BEGIN EXCLUSIVE")
            letting_go = threading.Timer(2, lambda: other.execute("ROLLBACK"))
            letting_go.start()
            try:
                return in_memory(base)
            finally:
                letting_go.cancel()
                letting_go.join()

    monkeypatch.setattr(connection, "_in_memory", taken)
    with pytest.raises(ShootBusy):
        read(ledger_file)


# ---- what it never said --------------------------------------------------------------------------


def _rows(base: sqlite3.Connection) -> Iterator[tuple[int, str]]:
    yield from base.execute("SELECT number, row FROM files").fetchall()


@pytest.mark.parametrize(
    "spoil",
    [
        lambda row: json.dumps({**json.loads(row), "barnacles": 3}),
        lambda row: json.dumps({k: v for k, v in json.loads(row).items() if k != "lens"}),
        lambda row: json.dumps({**json.loads(row), "kind": "crab"}),
        lambda row: json.dumps({**json.loads(row), "position": "first"}),
        lambda row: json.dumps({**json.loads(row), "lens": ["a"]}),
        lambda row: json.dumps({**json.loads(row), "notes": 7}),
        lambda row: json.dumps({**json.loads(row), "sequence": [1]}),
        lambda row: row[:-1],
        lambda _: "[]",
        lambda _: "7",
        lambda _: "",
        lambda _: None,
        lambda _: "[" * 100_000,
    ],
)
@pytest.mark.parametrize("hold", [True, False])
def test_other_values_are_damage_in_words_and_the_file_stays(
    ledger_file: Path, spoil: object, *, hold: bool
) -> None:
    with closing(sqlite3.connect(ledger_file, isolation_level=None)) as base:
        number, row = next(_rows(base))
        base.execute("PRAGMA ignore_check_constraints = 1")
        try:
            base.execute("UPDATE files SET row = ? WHERE number = ?", (spoil(row), number))  # type: ignore[operator]
        except sqlite3.IntegrityError:  # NULL, where the first format refuses it by itself
            return
    before = ledger_file.read_bytes()
    with pytest.raises(LedgerDamaged, match="sha256sum -c"):
        Ledger(ledger_file.parent, hold=hold)
    assert ledger_file.read_bytes() == before
