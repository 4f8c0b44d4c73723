"""`sorter verify --adopt` as a user calls it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import tides
from sorter.cli import commands
from writing.cards import (
    LIMPETS,
    by_source,
    contents,
    destinations,
    hold_consistent,
    ingest,
    limpets,
    tree,
)

BURST = "0001_burst_4"
card = tides.readable_card
shoot = tides.shoot_of_card
terminal = tides.terminal


def sorter(*arguments: str | Path, answer: str | None = None) -> Result:
    return CliRunner().invoke(commands, list(map(str, arguments)), prog_name="sorter", input=answer)


@pytest.fixture
def moved(shoot: Path) -> Path:
    """The card without its link, a folder renamed and a file beside."""
    (shoot / BURST).rename(shoot / "limpets")
    (shoot / "singles" / "IMG_0001.JPG").rename(shoot / "anemone.JPG")
    return shoot


TOLD = f"  {BURST}/ → limpets/  (8 files)\n  singles/IMG_0001.JPG → anemone.JPG\n"


def test_what_was_moved_is_told_and_nothing_is_changed(moved: Path) -> None:
    before = tree(moved)
    result = sorter("verify", moved)
    assert (result.exit_code, result.stderr) == (1, "")
    assert result.stdout == (
        f"moved by you\n{TOLD}\n"
        f"12 of 12 files verified in {moved}, 9 of them moved by you.\n"
        "Give --adopt to note where the files lie now that you moved.\n"
    )
    assert tree(moved) == before


def test_it_is_noted_and_a_second_time_there_is_nothing_to_say(card: Path, moved: Path) -> None:
    result = sorter("verify", moved, "--adopt", "--yes")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == (
        f"moved by you, and noted so\n{TOLD}\n"
        f"12 of 12 files verified in {moved}, 9 of them moved by you.\n"
    )
    result = sorter("verify", moved)
    assert (result.exit_code, result.stdout) == (0, f"12 of 12 files verified in {moved}.\n")
    before = contents(moved)
    assert sorter("ingest", card, moved).exit_code == 0
    assert contents(moved) == before


def test_without_a_terminal_it_needs_yes(moved: Path) -> None:
    before = tree(moved)
    result = sorter("verify", moved, "--adopt")
    assert (result.exit_code, result.stdout) == (2, "")
    assert "give --yes" in result.stderr
    assert tree(moved) == before


@pytest.mark.usefixtures("terminal")
def test_on_a_terminal_it_asks(moved: Path) -> None:
    before, places = contents(moved), destinations(moved)
    result = sorter("verify", moved, "--adopt", answer="n\n")
    assert result.exit_code == 2
    assert f"moved by you in {moved}\n{TOLD}Note the new places of 9 files" in result.stderr
    assert (contents(moved), destinations(moved)) == (before, places)
    assert sorter("verify", moved).exit_code == 1
    assert sorter("verify", moved, "--adopt", answer="y\n").exit_code == 0
    assert sorter("verify", moved).exit_code == 0


@pytest.mark.usefixtures("terminal")
def test_where_nothing_was_moved_nothing_is_asked(shoot: Path) -> None:
    result = sorter("verify", shoot, "--adopt")
    assert (result.exit_code, result.stderr) == (0, "")


@pytest.mark.usefixtures("terminal")
def test_lists_that_a_stopped_adoption_left_are_asked_about(moved: Path) -> None:
    old = (moved / "manifest.csv").read_bytes()
    sorter("verify", moved, "--adopt", "--yes")
    (moved / "manifest.csv").write_bytes(old)
    result = sorter("verify", moved, "--adopt", answer="y\n")
    assert result.exit_code == 0
    assert "Write manifest.csv and SHA256SUMS" in result.stderr
    assert sorter("verify", moved).exit_code == 0


def test_what_is_missing_or_changed_all_the_same_is_4(moved: Path) -> None:
    (moved / "limpets" / "IMG_0001.JPG").unlink()
    (moved / "clips" / "MVI_0003.MP4").write_bytes(b"cut")
    for more in ((), ("--adopt", "--yes")):
        result = sorter("verify", moved, *more)
        assert result.exit_code == 4
        assert f"MISSING\n  {BURST}/IMG_0001.JPG\n" in result.stdout
        assert "CHANGED\n  clips/MVI_0003.MP4\n" in result.stdout
        assert "10 of 12 files verified" in result.stdout


def test_many_moves_are_counted(shoot: Path) -> None:
    for n in range(1, 5):
        for kind in ("JPG", "xmp"):
            (shoot / BURST / f"IMG_{n:04d}.{kind}").rename(shoot / BURST / f"limpet {n}.{kind}")
    result = sorter("verify", shoot)
    assert result.stdout.count(" → ") == 8
    assert "12 of 12 files verified" in result.stdout


def test_more_than_twenty_lines_are_bounded(tmp_path: Path) -> None:
    ingest(limpets(tmp_path / "card", 12), tmp_path / "shoot")
    for path in sorted((tmp_path / "shoot" / "0001_burst_12").iterdir()):
        path.rename(path.with_name(f"a {path.name}"))
    result = sorter("verify", tmp_path / "shoot")
    assert result.stdout.count(" → ") == 20
    assert "  and 4 more\n" in result.stdout


def test_each_copy_is_told_of_and_adopted(card: Path, tmp_path: Path) -> None:
    one, two = tmp_path / "one", tmp_path / "two"
    ingest(card, one, backup=two)
    (one / BURST).rename(one / "limpets")
    (two / "clips").rename(two / "splash")
    both = ("verify", one, "--backup", two)
    result = sorter(*both)
    assert result.exit_code == 1
    assert "8 of them moved by you" in result.stdout
    assert "1 of them moved by you" in result.stdout
    assert sorter(*both, "--mend", "--adopt", "--yes").exit_code == 0
    assert sorter(*both).exit_code == 0
    assert not (one / BURST).exists()


def test_a_repeated_ingest_names_the_way_out(card: Path, moved: Path) -> None:
    result = sorter("ingest", card, moved, "--dry-run")
    assert f"`sorter verify {moved} --adopt`" in result.stdout
    result = sorter("ingest", card, moved)
    assert f"`sorter verify {moved} --adopt`" in result.stderr


def test_a_tally_a_check_and_a_report_are_as_before(tmp_path: Path) -> None:
    shoot = tmp_path / "shoot"
    ingest(limpets(tmp_path / "card", side=256), shoot)
    commands = (("tally", shoot), ("check", shoot), ("report", shoot))
    before = [sorter(*each) for each in commands]
    (shoot / "west").mkdir()
    (shoot / BURST).rename(shoot / "west" / "limpets")
    assert sorter("check", shoot).exit_code == 1
    sorter("verify", shoot, "--adopt", "--yes")
    after = [sorter(*each) for each in commands]
    assert [each.exit_code for each in (*before, *after)] == [0] * 6
    assert [each.stdout for each in after] == [each.stdout for each in before]
    assert "west/limpets" in (shoot / "report" / "index.html").read_text()
    assert sorter("verify", shoot).exit_code == 0


def test_a_shoot_is_grouped_anew_out_of_folders_that_were_moved(tmp_path: Path) -> None:
    card, shoot = limpets(tmp_path / "card", side=256), tmp_path / "shoot"
    ingest(card, shoot)
    (shoot / BURST).rename(shoot / "limpets")
    sorter("verify", shoot, "--adopt", "--yes")
    said = tmp_path / "said.csv"
    first, last = (f"{LIMPETS}/IMG_000{n}.JPG" for n in (1, 2))
    said.write_text(f"first,last,kind,name\n{first},{last},manual-stack,whelk\n")
    assert sorter("check", shoot, "--apply", "--corrections", said).exit_code == 0
    folders = {row.partition("/")[0] for row in destinations(shoot).values()}
    assert folders == {"0001_manual-stack_2_whelk", "0002_burst_2"}
    assert sorter("verify", shoot).exit_code == 0
    hold_consistent(shoot)
    assert by_source(shoot) == contents(card)


def test_a_name_with_signs_that_move_the_cursor_is_made_safe(shoot: Path) -> None:
    (shoot / BURST).rename(shoot / "\x1b[2Jlimpets")
    result = sorter("verify", shoot)
    assert "\x1b" not in result.stdout
    assert "\\x1b[2Jlimpets/  (8 files)" in result.stdout


def test_what_cannot_be_noted_is_not_said_to_be(shoot: Path) -> None:
    """Of a name that is no text, and of a file that lies where another is noted still."""
    (shoot / BURST / "IMG_0001.JPG").rename(os.fsdecode(os.fsencode(shoot) + b"/limpet-\xff.JPG"))
    (shoot / BURST / "IMG_0002.JPG").rename(shoot / BURST / "IMG_0001.JPG")
    (shoot / "singles" / "IMG_0001.JPG").rename(shoot / "anemone.JPG")
    for noted in (True, False):
        result = sorter("verify", shoot, "--adopt", "--yes")
        said = (
            "moved by you, and noted so\n  singles/IMG_0001.JPG → anemone.JPG\n\n" if noted else ""
        )
        assert result.stdout == (
            f"{said}moved by you, and not noted\n"
            f"  {BURST}/IMG_0001.JPG: this is the place of a file that is noted here still: its own new "
            "name is no text (UTF-8)\n"
            "  limpet-\\xff.JPG: its name is no text (UTF-8), and cannot be noted: give it another one\n\n"
            f"12 of 12 files verified in {shoot}, {3 if noted else 2} of them moved by you.\n"
        )
        assert result.exit_code == 1
