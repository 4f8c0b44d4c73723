"""`sorter check --apply` as its user runs it: a shoot grouped as pictures and user say, and that undone."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sorter.cli import commands
from sorter.disk.shoot import MEASUREMENTS, Shoot
from writing.regrouping import sequences


@pytest.fixture(scope="module")
def card(demo_card: Path) -> Path:
    return demo_card


@pytest.fixture
def unseen(demo_shoot: Path, tmp_path: Path) -> Iterator[Path]:
    """A shoot of the test's own, that no other test has looked at; taken back wholly in the end."""
    folder = tmp_path / "shoot"
    shutil.copytree(demo_shoot, folder)
    yield folder
    undone = run("undo", folder, "--yes")
    assert undone.exit_code == 0, undone.stderr
    assert not folder.exists(), "an undo leaves nothing behind, checks.csv neither"


@pytest.fixture
def shoot(unseen: Path, demo_report: Path) -> Path:
    """The same, with what was measured of its pictures."""
    shutil.copytree(demo_report / MEASUREMENTS, unseen / MEASUREMENTS)
    return unseen


def run(*words: object) -> Result:
    return CliRunner().invoke(commands, [str(word) for word in words])


def lists(shoot: Path) -> dict[str, bytes]:
    return {name: (shoot / name).read_bytes() for name in ("manifest.csv", "SHA256SUMS")}


def sources(shoot: Path, number: int) -> list[str]:
    """The paths on the card of the sequence's frames, one a frame, by position."""
    with (shoot / "manifest.csv").open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["sequence"] == str(number)]
    first = {int(row["position"]): row["source"] for row in reversed(rows) if row["position"]}
    return [first[position] for position in sorted(first)]


def corrections(folder: Path, *lines: str) -> Path:
    file = folder / "limpets.csv"
    file.write_text("\n".join(["first,last,kind,name", *lines, ""]), encoding="utf-8")
    return file


def test_what_the_pictures_say_is_applied_and_undone(unseen: Path) -> None:
    shoot = unseen
    before, grouped = lists(shoot), sequences(shoot)
    done = run("check", shoot, "--apply")
    assert done.exit_code == 0, done.stderr
    assert "1 sequence is new or changed" in done.stderr
    now = sequences(shoot)
    other = {n for n in grouped if grouped[n] != now[n]}
    assert [(grouped[n][0], now[n][0]) for n in other] == [("single", "marker")]
    assert [path.suffix for path in (shoot / "markers").iterdir()] == [".CR3"]
    assert run("verify", shoot).exit_code == 0
    again = run("check", shoot, "--apply")
    assert "nothing is to be applied" in again.stderr
    assert run("undo", shoot, "--yes").exit_code == 0
    assert (lists(shoot), sequences(shoot)) == (before, grouped)
    assert not (shoot / "checks.csv").exists(), "it tells of other sequences"


def test_what_the_user_says_goes_before_what_the_pictures_say(shoot: Path, tmp_path: Path) -> None:
    before, grouped = lists(shoot), sequences(shoot)
    asked = run("check", shoot, "--write-corrections", tmp_path / "pictures.csv")
    assert asked.exit_code == 0, asked.stderr
    (_, line) = (tmp_path / "pictures.csv").read_text(encoding="utf-8").splitlines()
    marker = line.split(",")[0]
    own = sources(shoot, 3)
    file = corrections(
        tmp_path, f"{marker},,single,", f"{own[0]},{own[29]},,west pool", f"{own[30]},{own[-1]},,"
    )
    done = run("check", shoot, "--apply", "--corrections", file)
    assert done.exit_code == 0, done.stderr
    now = sequences(shoot)
    new = max(now)
    assert now[3] == ("focus-bracket", grouped[3][1][:30])
    assert now[new] == ("focus-bracket", grouped[3][1][30:])
    assert [n for n in grouped if n != 3 and grouped[n] != now[n]] == []
    assert (shoot / "0003_focus-bracket_30_west pool").is_dir()
    assert run("verify", shoot).exit_code == 0
    # Said once is said: the pictures do not join the halves again, nor make the single a marker.
    later = run("check", shoot, "--apply")
    assert "nothing is to be applied" in later.stderr
    assert sequences(shoot) == now
    assert run("undo", shoot, "--yes").exit_code == 0
    assert (lists(shoot), sequences(shoot)) == (before, grouped)


def test_a_name_alone_renames_a_folder(shoot: Path, tmp_path: Path) -> None:
    own = sources(shoot, 4)
    file = corrections(tmp_path, f"{own[0]},{own[-1]},,barnacles")
    assert run("check", shoot, "--apply", "--corrections", file).exit_code == 0
    assert (shoot / "0004_focus-bracket_30_barnacles").is_dir()
    assert not (shoot / "0004_focus-bracket_30").exists()
    assert "nothing is" in run("check", shoot, "--apply", "--corrections", file).stderr
    assert run("undo", shoot, "--yes").exit_code == 0


def test_a_hand_off_refuses_findings_of_other_frames(shoot: Path, tmp_path: Path) -> None:
    assert run("check", shoot).exit_code == 0
    old = (shoot / "checks.csv").read_text(encoding="utf-8")
    Shoot(shoot).replace(
        "checks.csv", old.replace("4,focus-bracket,30", "4,focus-bracket,29").encode()
    )
    refused = run("handoff", shoot, "--list", tmp_path / "lists", "--trim")
    assert refused.exit_code == 2
    assert "sequence 4 had 29 frames, and has 30. Run `sorter check`" in refused.stderr
    assert not (tmp_path / "lists").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--apply",), "is no shoot"),
        (("--corrections", "limpets.csv"), "goes with --apply"),
        (("--folder", "{sequence}"), "goes with --apply"),
    ],
)
def test_a_card_is_not_regrouped(card: Path, words: tuple[str, ...], said: str) -> None:
    refused = run("check", card, *words)
    assert refused.exit_code == 2
    assert said in refused.stderr
