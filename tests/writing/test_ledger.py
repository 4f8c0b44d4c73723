"""The ledger: what is noted comes back, one run holds it, and a cut leaves what was noted last."""

from __future__ import annotations

import math
import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import sorter
from sorter.errors import LedgerDamaged, NoRoom, NoShoot, ShootBusy, ShootNotWritable
from sorter.model.change import Change
from sorter.model.damage import Damage
from sorter.model.kinds import DriveMode, FocusMode, Kind, Role, Who
from sorter.model.note import NotCarried, Related, Renamed, WhyRenamed
from sorter.model.operation import OperationState
from sorter.model.plan import Entry, Placement, Plan, State
from sorter.model.relation_kind import RelationKind
from sorter.model.row import Row
from sorter.writing.ledger import FILE, Ledger

HOME = Path(sorter.__file__).parents[1]

PATHS = st.binary(min_size=1, max_size=40).filter(lambda name: b"\0" not in name).map(os.fsdecode)
# A destination was made legal; what cameras and users say may hold undecodable bytes.
NAMES = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=20)
TEXTS = st.text(st.characters(exclude_characters="\0"), max_size=20)
COUNTS = st.none() | st.integers(0, 10**12)
FIGURES = st.none() | st.floats(allow_nan=False)

NOTES = (
    TEXTS
    | st.sampled_from(Damage)
    | st.builds(Related, what=st.sampled_from(RelationKind), sequence=st.integers(0, 10**6))
    | st.builds(Renamed, name=TEXTS, why=st.sampled_from(WhyRenamed))
    | st.builds(NotCarried, reason=TEXTS)
)

ROWS = st.builds(
    Row,
    source=PATHS,
    destination=NAMES,
    frame=COUNTS,
    sequence=COUNTS,
    kind=st.sampled_from(Kind),
    position=COUNTS,
    frames=COUNTS,
    planned=COUNTS,
    role=st.sampled_from(Role),
    captured=TEXTS,
    camera=TEXTS,
    serial=TEXTS,
    lens=TEXTS,
    focal_length_mm=FIGURES,
    f_number=FIGURES,
    exposure_time_s=FIGURES,
    iso=FIGURES,
    exposure_bias_ev=FIGURES,
    flash=TEXTS,
    focus_mode=st.none() | st.sampled_from(FocusMode),
    drive_mode=st.none() | st.sampled_from(DriveMode),
    focus_near_m=FIGURES,
    focus_far_m=FIGURES | st.just(math.inf),
    bytes=st.integers(0, 2**62),
    grounds=TEXTS,
    remarks=st.lists(NOTES, max_size=3).map(tuple),
    said_by=st.sampled_from(Who),
)
PLACEMENTS = st.builds(
    Placement,
    row=ROWS,
    container=st.sampled_from(["", "jpeg", "cr3"]),
    from_near=COUNTS,
    carrying_notes=st.lists(NOTES, max_size=3).map(tuple),
    unread=st.booleans(),
)


def placement(
    source: str, *, destination: str = "singles/limpet.JPG", **about: object
) -> Placement:
    row = Row(source=source, destination=destination, kind=Kind.SINGLE, role=Role.IMAGE, bytes=7)
    return Placement(row=replace(row, **about))  # type: ignore[arg-type]


def planned(*sources: str) -> Plan:
    places = (placement(name, destination=f"singles/{name}") for name in sources)
    return Plan(placements=tuple(places))


@pytest.fixture
def hidden(tmp_path: Path) -> Path:
    folder = tmp_path / "shoot" / ".sorter"
    folder.mkdir(parents=True)
    return folder


@contextmanager
def new_ledger() -> Iterator[Ledger]:
    with TemporaryDirectory() as folder, Ledger(Path(folder), hold=True, make=True) as ledger:
        yield ledger


# ---- what is noted comes back ----------------------------------------------------------------


@given(st.lists(PLACEMENTS, max_size=3), st.booleans())
@settings(max_examples=60, deadline=None)
def test_a_plan_comes_back_as_it_was_noted(placements: list[Placement], moves: bool) -> None:
    with new_ledger() as ledger:
        run = ledger.add_run("/media/card\udcff", Plan(placements=tuple(placements)), moves=moves)
        entries = ledger.entries()
        assert [entry.placement for entry in entries] == placements
        assert [entry.state for entry in entries] == [
            State.PLANNED if each.row.destination else State.LEFT for each in placements
        ]
        assert {(entry.run, entry.moves) for entry in entries} <= {(run, moves)}
        if placements:
            (noted,) = ledger.runs()
            assert (noted.run, noted.card, noted.is_open) == (run, "/media/card\udcff", True)


@given(PLACEMENTS, PLACEMENTS, st.sampled_from(State), st.booleans(), st.integers(0, 2**62))
@settings(max_examples=60, deadline=None)
def test_what_became_of_a_file_comes_back(
    before: Placement, other: Placement, state: State, gone: bool, modified_ns: int
) -> None:
    carried = {"destination": other.row.destination, "bytes": other.row.bytes}
    row = replace(before.row, **carried, sha256="ab" * 32)  # type: ignore[arg-type]
    after = replace(before, row=row, carrying_notes=other.carrying_notes)
    with new_ledger() as ledger:
        ledger.add_run("/card", Plan(placements=(before, before)), moves=True)
        first, second = ledger.entries()
        noted = replace(first, placement=after, state=state, gone=gone, modified_ns=modified_ns)
        ledger.note([noted])
        assert ledger.entries() == (noted, second)


def test_a_plan_of_nothing_new_is_no_ingest(hidden: Path) -> None:
    with Ledger(hidden, hold=True, make=True) as ledger:
        ledger.add_run("/card", planned("a.JPG"), moves=False)
        (entry,) = ledger.entries()
        better = replace(entry.placement, row=replace(entry.row, sha256="cd" * 32, frames=9))
        run = ledger.add_run(
            "/card", Plan(placements=(), updated=((entry.number, better),)), moves=False
        )
        assert (run, len(ledger.runs())) == (0, 1)
        assert ledger.entries()[0].row.frames == 9


def test_every_note_is_forced_to_the_disk(hidden: Path) -> None:
    """Only synchronous FULL (2) does so with this journal: SQLite's documentation of the pragma."""
    with Ledger(hidden, hold=True, make=True) as ledger:
        base = ledger._base  # noqa: SLF001  what a connection is set to, only it can tell
        assert base.one("PRAGMA synchronous") == 2
        assert base.one("PRAGMA journal_mode") == "delete"


# ---- taking an ingest back -------------------------------------------------------------------


def placed(ledger: Ledger) -> Entry:
    """The first entry, as its file is placed and its digest known."""
    entry = ledger.entries()[0]
    row = replace(entry.row, sha256="ab" * 32)
    done = replace(entry, placement=replace(entry.placement, row=row), state=State.PLACED)
    ledger.note([done])
    return done


def grown(entry: Entry) -> Plan:
    """A new file, and what is known of the one that is there since it came."""
    more = replace(
        entry.placement, from_near=2, row=replace(entry.row, frames=2, remarks=("grew",))
    )
    return Plan(
        placements=(placement("b.JPG", destination="singles/b.JPG"),),
        updated=((entry.number, more),),
    )


def test_forgetting_an_ingest_restores_what_it_changed_of_others(hidden: Path) -> None:
    with Ledger(hidden, hold=True, make=True) as ledger:
        first = ledger.add_run("/card", planned("a.JPG"), moves=False)
        before = placed(ledger)
        second = ledger.add_run("/card", grown(before), moves=False)
        assert ledger.entries()[0].row.notes == "grew"
        ledger.forget(second)
        assert [run.run for run in ledger.runs()] == [first, second]
        ledger.forget_run(second)
        assert ledger.entries() == (before,)
        assert [run.run for run in ledger.runs()] == [first]


def test_an_ingest_of_which_files_stay_is_known_by_them(hidden: Path) -> None:
    with Ledger(hidden, hold=True, make=True) as ledger:
        run = ledger.add_run("/card", planned("a.JPG", "b.JPG"), moves=True)
        one, two = ledger.entries()
        ledger.set_state(run, OperationState.UNDOING)
        ledger.forget(run, kept=[two.number])
        ledger.forget_run(run)
        assert ledger.entries() == (two,)
        assert [(each.run, each.state) for each in ledger.runs()] == [(one.run, "done")]


# ---- one at a time ---------------------------------------------------------------------------


def test_who_comes_second_is_told_who_is_at_work(hidden: Path) -> None:
    with Ledger(hidden, hold=True, make=True):
        for hold in (True, False):
            with pytest.raises(ShootBusy, match=f"process {os.getpid()}, since ") as busy:
                Ledger(hidden, hold=hold)
            assert busy.value.exit_code == 3
    Ledger(hidden, hold=True).close()
    assert [path.name for path in hidden.iterdir()] == [FILE]


def test_another_process_is_kept_out_too(hidden: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from sorter.errors import ShootBusy\n"
        "from sorter.writing.ledger import Ledger\n"
        "try: Ledger(Path(sys.argv[1]), hold=True)\n"
        "except ShootBusy as busy: print(busy)\n"
    )
    with Ledger(hidden, hold=True, make=True):
        said = subprocess.run(  # noqa: S603  our own program
            [sys.executable, "-c", code, str(hidden)],
            capture_output=True, check=True, cwd=HOME, text=True,
        ).stdout  # fmt: skip
    assert f"another run is at work here (process {os.getpid()}, since " in said


def test_readers_do_not_keep_each_other_out(hidden: Path) -> None:
    Ledger(hidden, hold=True, make=True).close()
    with Ledger(hidden, hold=False) as one, Ledger(hidden, hold=False) as two:
        assert one.entries() == two.entries() == ()


@pytest.mark.parametrize("said", [b"\xff\xfe", b"", b"red\x1b[31m"])
def test_a_holder_that_cannot_be_shown_is_another_process(hidden: Path, said: bytes) -> None:
    with Ledger(hidden, hold=True, make=True):
        (hidden / "holder").write_bytes(said)
        with pytest.raises(ShootBusy, match=r"\(another process\)"):
            Ledger(hidden, hold=True)


# ---- what is no ledger ------------------------------------------------------------------------


def test_where_there_is_none_it_is_no_shoot(hidden: Path) -> None:
    with pytest.raises(NoShoot, match="no ledger"):
        Ledger(hidden, hold=True)
    assert list(hidden.iterdir()) == []


@pytest.mark.parametrize("hold", [True, False])
def test_a_file_that_is_no_database_is_damaged_and_stays(hidden: Path, *, hold: bool) -> None:
    data = b"no database, but as long as the head of one " * 40
    (hidden / FILE).write_bytes(data)
    with pytest.raises(LedgerDamaged, match="sha256sum -c"):
        Ledger(hidden, hold=hold)
    assert (hidden / FILE).read_bytes() == data


@pytest.mark.parametrize("hold", [True, False])
@pytest.mark.parametrize("make", [True, False])
def test_another_form_is_refused_and_stays(hidden: Path, *, hold: bool, make: bool) -> None:
    Ledger(hidden, hold=True, make=True).close()
    base = sqlite3.connect(hidden / FILE)
    base.execute("PRAGMA user_version = 4")
    base.close()
    before = (hidden / FILE).read_bytes()
    with pytest.raises(LedgerDamaged, match="has form 4, and this sorter knows forms 1 to 3"):
        Ledger(hidden, hold=hold, make=make)
    assert (hidden / FILE).read_bytes() == before


@pytest.mark.parametrize("hold", [True, False])
def test_a_ledger_that_was_cut_before_its_first_commit_is_none(hidden: Path, *, hold: bool) -> None:
    (hidden / FILE).write_bytes(b"")  # what SQLite leaves there
    with pytest.raises(NoShoot):
        Ledger(hidden, hold=hold)
    with Ledger(hidden, hold=True, make=True) as ledger:
        assert ledger.runs() == ()


def test_another_database_is_no_ledger(hidden: Path) -> None:
    base = sqlite3.connect(hidden / FILE)
    base.execute("CREATE TABLE crabs (name TEXT)")
    base.close()
    with pytest.raises(LedgerDamaged, match="has form 0"):
        Ledger(hidden, hold=True, make=True)


def test_a_ledger_that_cannot_be_opened_is_not_called_damaged(
    hidden: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        error = sqlite3.OperationalError("unable to open database file")
        error.sqlite_errorcode = sqlite3.SQLITE_CANTOPEN
        raise error

    monkeypatch.setattr(sqlite3, "connect", refuse)
    with pytest.raises(ShootNotWritable, match="Check the disk"):
        Ledger(hidden, hold=True, make=True)


# ---- cut -------------------------------------------------------------------------------------

_CUT = """
import os, sys
from pathlib import Path
from sorter.model.plan import State
from sorter.writing.ledger import Ledger
from dataclasses import replace
ledger = Ledger(Path(sys.argv[1]), hold=True)
entries = ledger.entries()
ledger.note([replace(entries[0], state=State.VERIFIED)])
with ledger._committing():
    ledger._note_progress([replace(entry, state=State.PLACED, gone=True) for entry in entries])
    if sys.argv[2] == "spilled":  # a part of it is in the file already
        ledger._base.run("PRAGMA cache_spill = 1")
        ledger._base.run("PRAGMA cache_size = 1")
        ledger._base.run("UPDATE files SET grounds = hex(randomblob(20000))")
    os._exit(7)
"""


@pytest.mark.parametrize("cut", ["early", "spilled"])
def test_a_cut_within_a_commit_leaves_what_was_noted_before(hidden: Path, cut: str) -> None:
    with Ledger(hidden, hold=True, make=True) as ledger:
        ledger.add_run("/card", planned(*(f"{number}.JPG" for number in range(40))), moves=True)
        before = ledger.entries()
    done = subprocess.run(  # noqa: S603  our own program
        [sys.executable, "-c", _CUT, str(hidden), cut], check=False, cwd=HOME
    )
    assert done.returncode == 7
    assert (hidden / f"{FILE}-journal").exists()
    with Ledger(hidden, hold=False) as ledger:
        assert ledger.entries() == (replace(before[0], state=State.VERIFIED), *before[1:])


# ---- errors and threads ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "words", "wanted"),
    [
        (sqlite3.SQLITE_BUSY, "the disk is full", ShootBusy),
        (sqlite3.SQLITE_BUSY_SNAPSHOT, "anything", ShootBusy),
        (sqlite3.SQLITE_LOCKED, "anything", ShootBusy),
        (sqlite3.SQLITE_FULL, "database is locked", NoRoom),
        (sqlite3.SQLITE_READONLY, "database is full", ShootNotWritable),
        (sqlite3.SQLITE_IOERR_FSYNC, "busy", ShootNotWritable),
        (sqlite3.SQLITE_CANTOPEN_ISDIR, "anything", ShootNotWritable),
        (sqlite3.SQLITE_CORRUPT, "database is locked", LedgerDamaged),
        (sqlite3.SQLITE_NOTADB, "busy", LedgerDamaged),
        (sqlite3.SQLITE_ERROR, "no such table: files, it is locked", LedgerDamaged),
    ],
)
def test_errors_are_told_by_their_codes_and_not_by_words(
    hidden: Path, code: int, words: str, wanted: type[Exception]
) -> None:
    """The codes are those of SQLite's documentation, Result and Error Codes; extended ones too."""
    error = sqlite3.OperationalError(words)
    error.sqlite_errorcode = code
    with Ledger(hidden, hold=True, make=True) as ledger:
        speaking = ledger._base.speaking()  # noqa: SLF001  where all statements go through
        with pytest.raises(wanted) as raised, speaking:
            raise error
    assert str(raised.value).count("\n") == 0


def test_mistakes_in_a_program_that_uses_it_pass_through(hidden: Path) -> None:
    ledger = Ledger(hidden, hold=True, make=True)
    ledger.close()
    with pytest.raises(sqlite3.ProgrammingError):
        ledger.entries()


def test_threads_of_one_process_may_share_it(hidden: Path) -> None:
    names = [f"{number}.JPG" for number in range(64)]
    with Ledger(hidden, hold=True, make=True) as ledger:
        ledger.add_run("/card", planned(*names), moves=False)
        found = ledger.entries()

        def note(entry: Entry) -> int:
            ledger.note([replace(entry, state=State.PLACED)])
            return len(ledger.entries())

        with ThreadPoolExecutor(8) as workers:
            assert set(workers.map(note, found)) == {len(names)}
        assert {entry.state for entry in ledger.entries()} == {State.PLACED}
    with Ledger(hidden, hold=False) as ledger:
        assert {entry.state for entry in ledger.entries()} == {State.PLACED}


@given(st.lists(st.tuples(st.integers(0, 4), st.integers(0, 5)), max_size=12))
@settings(max_examples=40, deadline=None)
def test_what_is_held_in_memory_is_what_the_file_says(steps: list[tuple[int, int]]) -> None:
    """Whatever is noted in whatever order: who opens the file afterwards reads the same."""
    with TemporaryDirectory() as folder:
        hidden = Path(folder)
        with Ledger(hidden, hold=True, make=True) as ledger:
            ledger.add_run("/card", planned(*(f"{n}.JPG" for n in range(6))), moves=True)
            for what, which in steps:
                _step(ledger, what, which)
                held = ledger.entries()
            held = ledger.entries()
        with Ledger(hidden, hold=False) as ledger:
            assert ledger.entries() == held


def _step(ledger: Ledger, what: int, which: int) -> None:
    known = ledger.entries()
    if not known:
        return
    entry = known[which % len(known)]
    said = (*entry.placement.carrying_notes, NotCarried(reason="a wave"))
    noted = replace(
        entry, state=State.FAILED, placement=replace(entry.placement, carrying_notes=said)
    )
    match what:
        case 0:
            ledger.note([noted])
        case 1:
            ledger.add_run("/card", grown(entry), moves=False)
        case 2:
            ledger.forget(ledger.runs()[-1].run, kept=[entry.number])
        case 3:
            change = Change(number=entry.number, before=entry.placement, after=noted.placement)
            operation = ledger.add_regrouping([change])
            ledger.note_place(operation, noted)
            ledger.end_regrouping(operation)
        case _:
            ledger.add_result(ledger.next_number(), placement("", destination="results/a.tif"))
