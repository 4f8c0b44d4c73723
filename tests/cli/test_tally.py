"""`sorter tally` as a user calls it, on shoots made for the purpose."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import sorter
from handoff.pools import changed, entry
from manifest.seasons import rock_pool
from sorter.cli import commands, console
from sorter.cli.layout import cells
from sorter.errors import NoShoot
from sorter.model.kinds import Kind
from sorter.model.plan import Entry, Placement, State
from sorter.model.row import Row
from sorter.writing import records
from writing.cards import ingest, tide_card, tree

POOL = rock_pool()
Know = Callable[[str, tuple[Row, ...]], Path]


@pytest.fixture
def know(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Know:
    """Makes a folder that the command sees as a shoot with these rows; others are none."""
    known: dict[Path, tuple[Entry, ...]] = {}

    def entries_of(path: Path) -> tuple[Entry, ...]:
        if path not in known:
            raise NoShoot(f"{path}: this is no shoot folder.")
        return known[path]

    def make(name: str, rows: tuple[Row, ...]) -> Path:
        (tmp_path / name).mkdir(parents=True)
        known[tmp_path / name] = tuple(
            Entry(
                number=number,
                run=1,
                placement=Placement(row=row),
                state=State.PLACED if row.destination else State.FAILED,
            )
            for number, row in enumerate(rows, 1)
        )
        return tmp_path / name

    monkeypatch.setattr(records, "entries_of", entries_of)
    return make


def tally(*arguments: str | Path) -> Result:
    return CliRunner().invoke(commands, ["tally", *map(str, arguments)], prog_name="sorter")


def refused(result: Result, *says: str) -> None:
    """Exit code 2, nothing on stdout, one sentence on stderr."""
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("Error: ")
    assert result.stderr.count("\n") == 1
    for words in says:
        assert words in result.stderr


# ---- what is printed ----------------------------------------------------------------------------


def test_a_shoot_is_told_in_tables(know: Know, golden: Callable[[Path, bytes], None]) -> None:
    result = tally(know("pool", POOL))
    assert result.exit_code == 0
    golden(Path(__file__).parent / "golden" / "tally-of-a-pool.txt", result.stdout.encode())
    assert result.stderr == (
        "pool: 1 file of its cards is not in the shoot, and not counted. Its manifest says why.\n"
    )


def test_several_shoots_are_told_each_and_together(know: Know) -> None:
    result = tally(know("pool", POOL[:4]), know("surf", POOL[4:13]))
    table = result.stdout.split("\n\n")[0].splitlines()
    assert [line.split() for line in table] == [
        ["shoot", "sequences", "frames", "results", "files", "space"],
        ["pool", "1", "2", "0", "4", "2.11", "kB"],
        ["surf", "4", "4", "4", "9", "13.7", "kB"],
        ["together", "5", "6", "4", "13", "15.8", "kB"],
    ]
    assert "2026-05-17  pool" in result.stdout
    assert result.stdout.endswith(
        "2 shoots, 5 sequences, 6 frames, 4 results, 13 files (15.8 kB).\n"
    )


@pytest.mark.parametrize("name", ["pool", "a" * 70, "潮だまり" * 12])
def test_no_line_is_wider_than_80(know: Know, name: str) -> None:
    lens = POOL[0].lens * 9
    rows = tuple(changed_row(row, lens=lens, size=row.bytes * 10**9) for row in POOL)
    result = tally(know(name, rows), know(f"{name}2", rows))
    assert max(map(cells, result.stdout.splitlines())) <= 80


def changed_row(row: Row, *, lens: str, size: int) -> Row:
    entry = Entry(number=1, run=1, placement=Placement(row=row), state=State.PLACED)
    return changed(entry, lens=lens, bytes=size).row


def test_a_shoot_that_is_named_twice_counts_once(know: Know, tmp_path: Path) -> None:
    pool = know("pool", POOL)
    (tmp_path / "link").symlink_to(pool)
    once = tally(pool)
    again = tally(pool, tmp_path / "link", pool / ".." / "pool")
    assert (again.exit_code, again.stdout) == (0, once.stdout)


def test_shoots_of_one_name_are_told_by_their_paths(know: Know) -> None:
    one, two = know("north/pool", POOL), know("south/pool", POOL)
    told = json.loads(tally(one, two, "--json").stdout)
    assert [each["shoot"] for each in told["shoots"]] == [str(one), str(two)]


def test_equal_pictures_in_two_shoots_are_told(know: Know) -> None:
    twins = tuple(
        entry(f"singles/{n}.{what}", sequence=n, kind=Kind.SINGLE).row
        for n in (1, 2)
        for what in ("ORF", "xmp")
    )
    result = tally(know("pool", twins), know("second", twins))
    assert result.exit_code == 0
    assert result.stderr == (
        "pool and second hold 2 pictures of the same bytes, counted in both. "
        "Name only one of them if the other is its second copy.\n"
    )


@pytest.mark.parametrize("rows", [(), POOL[-1:]])
def test_an_empty_shoot_says_so(know: Know, rows: tuple[Row, ...]) -> None:
    result = tally(know("pool", rows))
    assert (result.exit_code, result.stdout) == (0, "No file in this shoot.\n")


def test_a_crafted_lens_moves_no_cursor(know: Know) -> None:
    rows = tuple(changed_row(row, lens="\x1b[2J", size=1) for row in POOL)
    result = tally(know("pool", rows))
    assert "\x1b" not in result.stdout
    assert "\\x1b[2J" in result.stdout


def test_json_is_one_document_and_nothing_else(know: Know) -> None:
    result = tally(know("pool", POOL), "--json")
    told = json.loads(result.stdout)
    assert (told["together"]["total"]["frames"], told["together"]["not_in_the_shoot"]) == (6, 1)
    assert result.stdout.isascii()


def test_long_work_shows_how_far_it_is(know: Know, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[tuple[int, int]] = []
    monkeypatch.setattr(console.Bar, "advance", lambda _, done, total: told.append((done, total)))
    tally(know("pool", POOL), know("surf", POOL))
    assert told == [(0, 2), (1, 2), (2, 2)]


# ---- the file -----------------------------------------------------------------------------------


def test_the_file_is_written_and_the_answer_is_the_same(know: Know, tmp_path: Path) -> None:
    pool, target = know("pool", POOL), tmp_path / "season.csv"
    target.write_text("last year")
    result = tally(pool, "--csv", target)
    assert result.stdout == tally(pool).stdout
    with target.open(encoding="utf-8", newline="") as file:
        total, *_ = csv.DictReader(file)
    assert (total["shoot"], total["table"], total["frames"]) == ("pool", "total", "6")


@pytest.mark.parametrize("name", ["manifest.csv", "new.csv", ".sorter/ledger", "deep/new.csv"])
def test_nothing_is_written_into_a_shoot(know: Know, name: str) -> None:
    pool = know("pool", POOL)
    refused(tally(know("surf", POOL), pool, "--csv", pool / name), "lies in the shoot")
    assert list(pool.iterdir()) == []


def test_a_file_that_cannot_be_written_is_refused_before_anything_is_printed(
    know: Know, tmp_path: Path
) -> None:
    pool = know("pool", POOL)
    refused(tally(pool, "--csv", tmp_path / "none" / "a.csv"), "is not there")
    refused(tally(pool, "--csv", tmp_path), "is a folder")


# ---- wrong usage --------------------------------------------------------------------------------


def test_a_folder_that_is_no_shoot_ends_it_and_writes_nothing(know: Know, tmp_path: Path) -> None:
    target, other = tmp_path / "season.csv", tmp_path / "other"
    other.mkdir()
    refused(tally(know("pool", POOL), other, "--csv", target), "no shoot")
    refused(tally(other, know("surf", POOL), "--json"), "no shoot")
    assert not target.exists()


@pytest.mark.parametrize("arguments", [[], [""], ["pool", "--csv", ""]])
def test_a_path_must_be_given(arguments: list[str]) -> None:
    result = tally(*arguments)
    assert (result.exit_code, result.stdout) == (2, "")


# ---- a shoot on the disk ------------------------------------------------------------------------


def test_a_shoot_is_only_read(tmp_path: Path) -> None:
    ingest(tide_card(tmp_path / "card"), tmp_path / "shoot")
    before = tree(tmp_path / "shoot")
    result = tally(tmp_path / "shoot", "--json")
    assert result.exit_code == 0
    assert tree(tmp_path / "shoot") == before
    told = json.loads(result.stdout)["together"]
    # Four frames of a burst with a sidecar each, and two lone frames: tide_card makes them.
    assert [(each["kind"], each["frames"], each["files"]) for each in told["kinds"]][:2] == [
        ("burst", 4, 8),
        ("single", 2, 2),
    ]
    assert told["not_in_the_shoot"] == 1  # the link


def test_help_loads_no_tables() -> None:
    code = (
        "import sys; from sorter.cli import commands\n"
        "try: commands(['tally', '--help'], prog_name='sorter')\n"
        "except SystemExit: print(*sys.modules, file=sys.stderr)"
    )
    done = subprocess.run(  # noqa: S603  our own program
        [sys.executable, "-c", code],
        capture_output=True, text=True, check=True, cwd=Path(sorter.__file__).parents[1],
    )  # fmt: skip
    assert "Usage: sorter tally" in done.stdout
    loaded = set(done.stderr.split())
    assert "sorter.cli.tally" in loaded
    assert not loaded & {"pandas", "numpy", "rich", "sorter.pipeline", "sorter.manifest"}
