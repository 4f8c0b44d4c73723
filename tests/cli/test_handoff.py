"""`sorter handoff` as a user calls it, on a shoot made for the purpose."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from handoff.pools import entry, lay_out, stack
from sorter.cli import commands, console
from sorter.errors import NoShoot
from sorter.model.kinds import Kind
from sorter.model.plan import Entry
from sorter.writing import records

POOL = [
    *stack(3, 3, "ORF", "JPG", far_to_near=True),
    *stack(4, 2, kind=Kind.MANUAL_STACK, told=False),
    *stack(7, 2, kind=Kind.BURST),
    entry("singles/P9170001.JPG", sequence=9, kind=Kind.SINGLE, frames=1),
]
THIRD, FOURTH, SEVENTH = "0003_focus-bracket_3", "0004_manual-stack_2", "0007_burst_2"

Know = Callable[[Sequence[Entry]], None]


@pytest.fixture
def known(monkeypatch: pytest.MonkeyPatch) -> Know:
    """Lets the command see a ledger of our making."""

    def know(entries: Sequence[Entry]) -> None:
        monkeypatch.setattr(records, "entries_of", lambda _: tuple(entries))

    return know


@pytest.fixture
def shoot(tmp_path: Path, known: Know) -> Path:
    known(POOL)
    return lay_out(tmp_path / "shoot", POOL)


def handoff(*arguments: str | Path) -> Result:
    return CliRunner().invoke(commands, ["handoff", *map(str, arguments)], prog_name="sorter")


def refused(result: Result, *says: str) -> None:
    """Exit code 2, nothing on stdout, one sentence on stderr."""
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("Error: ")
    assert result.stderr.count("\n") == 1
    for words in says:
        assert words in result.stderr


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


# ---- what goes well -------------------------------------------------------------------------


def test_lists_and_folders_are_shown_in_a_table_and_summed_up(shoot: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    result = handoff(shoot, "--list", out / "lists", "--folders", out / "stacks")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == (
        "#  kind           slices  order    name\n"
        f"3  focus-bracket       3  capture  {THIRD}.txt, {THIRD}/\n"
        f"4  manual-stack        2  capture  {FOURTH}.txt, {FOURTH}/\n"
        "\n"
        f"2 stacks, 5 slices: lists in {out}/lists; folders in {out}/stacks "
        "(hard links, no space used).\n"
    )
    assert names(out / "lists") == [f"{THIRD}.txt", f"{FOURTH}.txt"]
    assert names(out / "stacks") == [THIRD, FOURTH]


def test_a_relative_shoot_is_listed_by_absolute_paths(
    shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(shoot.parent)
    assert handoff("shoot", "--list", "lists").exit_code == 0
    lines = Path("lists", f"{FOURTH}.txt").read_text(encoding="utf-8").splitlines()
    assert lines == [f"{shoot}/{FOURTH}/P417000{place}.JPG" for place in (1, 2)]


def test_copies_are_counted_and_so_is_what_is_there_already(
    shoot: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    handoff(shoot, "--folders", tmp_path / "out", "--only", "3")

    def fail(*_: object) -> None:
        raise OSError(errno.EXDEV, "Invalid cross-device link")

    monkeypatch.setattr(os, "link", fail)
    result = handoff(shoot, "--folders", tmp_path / "out")
    assert f"{THIRD}/  there already\n" in result.stdout
    assert f"folders in {tmp_path}/out (2 files copied, 1 there already).\n" in result.stdout
    assert "(all there already)" in handoff(shoot, "--folders", tmp_path / "out").stdout


def test_raws_and_images_of_a_frame_are_one_slice_in_two_files(shoot: Path, tmp_path: Path) -> None:
    result = handoff(shoot, "--folders", tmp_path / "out", "--files", "both", "--only", "3")
    assert "1 stack, 3 slices in 6 files: " in result.stdout
    assert names(tmp_path / "out" / THIRD)[:2] == ["0001_P3170001.JPG", "0001_P3170001.ORF"]


def test_an_order_that_a_camera_does_not_tell_is_said(shoot: Path, tmp_path: Path) -> None:
    result = handoff(shoot, "--folders", tmp_path / "out", "--order", "near-first")
    assert result.exit_code == 0
    assert "near-first  0003" in result.stdout
    assert result.stderr == (
        f"{FOURTH}: in order of capture, as the camera did not tell the focus of every slice.\n"
    )
    assert names(tmp_path / "out" / THIRD)[0] == "0001_P3170003.JPG"


def test_numbers_of_another_kind_are_passed_over_and_named(shoot: Path, tmp_path: Path) -> None:
    result = handoff(shoot, "--list", tmp_path / "out", "--only", "3, 7")
    assert result.exit_code == 0
    assert names(tmp_path / "out") == [f"{THIRD}.txt"]
    assert result.stderr == (
        "sequence 7 is passed over: it is of kind burst. Give --kind burst for it.\n"
    )


def test_other_kinds_are_chosen_by_name(shoot: Path, tmp_path: Path) -> None:
    handoff(shoot, "--list", tmp_path / "out", "--kind", "burst", "--kind", "focus-bracket")
    assert names(tmp_path / "out") == [f"{THIRD}.txt", f"{SEVENTH}.txt"]


def test_a_shoot_without_stacks_says_so(known: Know, tmp_path: Path) -> None:
    known(stack(7, 2, kind=Kind.BURST))
    result = handoff(tmp_path, "--list", tmp_path / "out")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == (
        "No stacks in this shoot: it has no sequence of kind focus-bracket or manual-stack.\n"
    )
    assert not (tmp_path / "out").exists()


def test_long_work_shows_how_far_it_is(
    shoot: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told: list[tuple[int, int]] = []
    monkeypatch.setattr(console.Bar, "advance", lambda _, done, total: told.append((done, total)))
    handoff(shoot, "--folders", tmp_path / "out")
    assert told[-1] == (5, 5)


# ---- what is left out -----------------------------------------------------------------------


def test_a_stack_that_lacks_a_file_is_named_and_the_others_go(shoot: Path, tmp_path: Path) -> None:
    (shoot / THIRD / "P3170002.JPG").unlink()
    result = handoff(shoot, "--list", tmp_path / "out")
    assert result.exit_code == 1
    assert result.stderr.startswith(f"left out: {THIRD}: {THIRD}/P3170002.JPG is not there. ")
    assert result.stdout.endswith(
        f"1 stack, 2 slices: lists in {tmp_path}/out; 1 stack left out.\n"
    )
    assert names(tmp_path / "out") == [f"{FOURTH}.txt"]


def test_stacks_without_raws_are_named_and_that_is_all(known: Know, tmp_path: Path) -> None:
    known([*stack(5, 2), *stack(4, 2)])
    result = handoff(tmp_path, "--list", tmp_path / "out", "--files", "raw")
    assert (result.exit_code, result.stdout) == (
        1,
        "No stack was handed over; 2 stacks left out.\n",
    )
    first, second = result.stderr.splitlines()
    assert first.startswith("left out: 0004_focus-bracket_2: frame 1 (P4170001.JPG) has no raw")
    assert second.startswith("left out: 0005_focus-bracket_2: ")


def test_a_crafted_name_moves_no_cursor(known: Know, tmp_path: Path) -> None:
    entries = [entry("\x1b[2J/A.JPG", position=1), entry("\x1b[2J/B.JPG", position=2)]
    known(entries)
    shoot = lay_out(tmp_path / "shoot", entries)
    result = handoff(shoot, "--folders", tmp_path / "out")
    assert "\\x1b[2J/" in result.stdout
    (shoot / "\x1b[2J" / "A.JPG").unlink()
    result = handoff(shoot, "--folders", tmp_path / "out")
    assert "\x1b" not in result.stdout + result.stderr
    assert "\\x1b[2J/A.JPG is not there" in result.stderr


# ---- wrong usage ----------------------------------------------------------------------------


def test_somewhere_must_be_named(shoot: Path) -> None:
    refused(handoff(shoot), "--list DIR, --folders DIR, or both")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (["--only", "3,x"], "not understood"),
        (["--only", ""], "not understood"),
        (["--only", "9-7"], "runs backwards"),
        (["--only", "5"], "no sequence 5"),
        (["--only", "7"], "Give --kind burst"),
        (["--only", "3", "--kind", "burst"], "Give --kind focus-bracket"),
    ],
)
def test_a_choice_that_does_not_fit_is_refused_and_nothing_is_made(
    shoot: Path, tmp_path: Path, options: list[str], says: str
) -> None:
    refused(handoff(shoot, "--folders", tmp_path / "out", *options), says)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("option", ["--kind=clip", "--kind=limpet", "--order=up", "--files=xmp"])
def test_an_unknown_word_is_wrong_usage(shoot: Path, tmp_path: Path, option: str) -> None:
    result = handoff(shoot, "--list", tmp_path / "out", option)
    assert (result.exit_code, result.stdout) == (2, "")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("option", ["--list", "--folders"])
@pytest.mark.parametrize("below", ["", ".sorter", THIRD])
def test_the_shoots_own_folders_are_refused(shoot: Path, option: str, below: str) -> None:
    before = sorted(shoot.rglob("*"))
    refused(handoff(shoot, option, shoot / below), "keeps its own files")
    assert sorted(shoot.rglob("*")) == before


def test_a_shoot_whose_path_no_line_can_say_is_refused_for_lists_only(
    tmp_path: Path, known: Know
) -> None:
    known(POOL)
    shoot = lay_out(tmp_path / "rock\npool", POOL)
    refused(handoff(shoot, "--list", tmp_path / "out"), "rock\\npool has a line break")
    assert not (tmp_path / "out").exists()
    assert handoff(shoot, "--folders", tmp_path / "out").exit_code == 0


def test_a_place_that_is_a_file_is_refused(shoot: Path, tmp_path: Path) -> None:
    (tmp_path / "out").touch()
    refused(handoff(shoot, "--folders", tmp_path / "out"), "cannot be written")


def test_a_folder_that_is_no_shoot_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none(shoot: Path) -> tuple[Entry, ...]:
        raise NoShoot(f"{shoot}: this is no shoot folder.")

    monkeypatch.setattr(records, "entries_of", none)
    refused(handoff(tmp_path, "--list", tmp_path / "out"), "no shoot")


def test_a_full_disk_stops_with_three_and_one_sentence(
    shoot: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_handle: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    result = handoff(shoot, "--list", tmp_path / "out")
    assert (result.exit_code, result.stdout) == (3, "")
    assert "Make room there and run it again" in result.stderr
    assert result.stderr.count("\n") == 1
    assert names(tmp_path / "out") == []
