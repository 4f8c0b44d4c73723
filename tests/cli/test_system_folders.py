"""Cards with folders that systems made, trees with shoots in them, and shoots given as cards."""

from __future__ import annotations

import csv
import errno
import json
import os
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from sorter.cli import commands
from writing.cards import LIMPETS, contents, destinations, hold_whole, limpets, picture, rows, tree
from writing.cards import ingest as carried

RECOVERED = (
    "FOUND.000/FILE0000.CHK",
    "FOUND.000/FILE0001.CHK",
    "LOST+FOUND/#13",
    "found.012/DIR0000.CHK/IMG_0417.JPG",
    "lost+found/#12345",
    "lost+found/#4/#5",
)
THROWN = (
    "$RECYCLE.BIN/S-1-5-21-1/$R0001.JPG",
    ".Spotlight-V100/Store-V2/a.JPG",
    ".TemporaryItems/folders.501/a.JPG",
    ".Trash-1000/files/IMG_0001.JPG",
    ".Trashes/501/IMG_0001.JPG",
    ".fseventsd/a.JPG",
    "DCIM/100TIDES/.Trashes/501/IMG_0002.JPG",
    "RECYCLED/Dc1.JPG",
    "RECYCLER/S-1-5-21-1/Dc1.JPG",
    "System Volume Information/a.JPG",
)
LITTER = (
    "$RECYCLE.BIN/S-1-5-21-1/$I0001.JPG",
    ".DS_Store",
    ".Trash-1000/info/IMG_0001.JPG.trashinfo",
    "FOUND.000/._FILE0000.CHK",
    "FOUND.000/FILE0002.CHK",
    "FOUND.000/Thumbs.db",
    "RECYCLED/INFO2",
    "lost+found/.DS_Store",
    "lost+found/#12346",
)
CLIP = b"\0\0\0\x10ftypmp42\0\0\0\0" + b"splash" * 400


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(commands, list(map(str, arguments)), prog_name="sorter")


def mended(folder: Path) -> Path:
    """A burst of four limpets, and every folder that systems make, with pictures of barnacles."""
    limpets(folder)
    for number, path in enumerate((*RECOVERED, *THROWN)):
        made = picture(folder / "new.JPG", 600 + 60 * number, shade=number)
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        made.rename(folder / path)
    (folder / "FOUND.000/FILE0001.CHK").write_bytes(CLIP)
    for path in LITTER:
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(b"Z splash")
    return folder


@pytest.fixture
def card(tmp_path: Path) -> Path:
    return mended(tmp_path / "card")


@pytest.fixture
def shoot(tmp_path: Path) -> Path:
    return tmp_path / "shoot"


# ---- scan ------------------------------------------------------------------------------------


def test_a_scan_lists_what_a_repair_brought_back_and_names_what_was_thrown_away(card: Path) -> None:
    before = tree(card)
    result = run("scan", card)
    assert (result.exit_code, result.stderr) == (0, "")
    lines = result.stdout.splitlines()
    for path in RECOVERED:
        assert any(
            line.startswith(f"  other       {path}: recovered by a repair of the card")
            for line in lines
        )
    start = next(place for place, line in enumerate(lines) if line.startswith("left on the card"))
    assert lines[start + 1 : start + 1 + len(THROWN)] == [f"  {path}" for path in THROWN]
    assert lines[-1] == (
        "4 frames in 1 sequence: 1 burst (4); 6 files are no frames; 9 system files "
        "passed over; 10 files are left on the card in a trash or a system folder."
    )
    assert tree(card) == before


def test_the_manifest_has_a_row_for_what_a_repair_brought_back_and_none_for_the_rest(
    card: Path, tmp_path: Path
) -> None:
    manifest = tmp_path / "manifest.csv"
    assert run("scan", card, "--manifest", manifest).exit_code == 0
    with manifest.open(encoding="utf-8", newline="") as file:
        told = {row["source"]: row for row in csv.DictReader(file)}
    assert told.keys() == {
        *RECOVERED,
        *(f"{LIMPETS}/IMG_000{n}.{end}" for n in range(1, 5) for end in ("JPG", "xmp")),
    }
    for path in RECOVERED:
        row = told[path]
        assert (row["kind"], row["frame"], row["sequence"], row["position"]) == (
            "other",
            "",
            "",
            "",
        )
        assert row["role"] == ("clip" if path == "FOUND.000/FILE0001.CHK" else "image")
        assert "recovered by a repair of the card" in row["notes"]


def test_json_has_the_same(card: Path) -> None:
    result = run("scan", card, "--json")
    whole = json.loads(result.stdout)
    assert whole["thrown_away"] == list(THROWN)
    assert (whole["litter"], whole["shoots"]) == (len(LITTER), [])
    kinds = {file["source"]: file["kind"] for file in whole["no_frame"]}
    assert {path: kinds[path] for path in RECOVERED} == dict.fromkeys(RECOVERED, "other")


def test_a_repairs_folder_given_as_the_card_is_a_card(card: Path) -> None:
    whole = json.loads(run("scan", card / "FOUND.000", "--json").stdout)
    assert whole["frames"] == 1
    assert {file["source"] for file in whole["no_frame"]} == {"FILE0001.CHK", "FILE0002.CHK"}
    assert whole["litter"] == 2


def test_a_card_with_nothing_but_pictures_in_a_trash_names_them(tmp_path: Path) -> None:
    picture(tmp_path / ".Trashes" / "501" / "IMG_0001.JPG", 1)
    result = run("scan", tmp_path)
    assert result.exit_code == 0
    assert "  .Trashes/501/IMG_0001.JPG" in result.stdout.splitlines()
    assert result.stdout.endswith(
        "No frames; 1 file is left on the card in a trash or a system folder.\n"
    )


@pytest.mark.parametrize("path", ["FOUND.000/FILE0000.CHK", ".Trashes/501/a.JPG", ".fseventsd/1"])
def test_a_card_with_nothing_but_litter_is_empty(tmp_path: Path, path: str) -> None:
    (tmp_path / path).parent.mkdir(parents=True)
    (tmp_path / path).write_bytes(b"splash")
    result = run("scan", tmp_path)
    assert result.exit_code == 2
    assert "there is no file here but 1 system file" in result.stderr


# ---- faults ----------------------------------------------------------------------------------


def test_a_disk_that_fails_on_one_file_in_a_repairs_folder_is_named_and_gone_on_with(
    card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened = os.open

    def failing(path: str, *more: int, **most: int) -> int:
        if str(path).endswith("#12346"):
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return opened(path, *more, **most)

    monkeypatch.setattr(os, "open", failing)
    result = run("scan", card)
    assert result.exit_code == 1
    assert (
        "  unreadable  lost+found/#12346: cannot be read: Input/output error, recovered by a repair "
        "of the card"
    ) in result.stdout.splitlines()


@pytest.mark.parametrize("command", ["scan", "check"])
def test_a_root_that_fails_is_a_sentence(
    card: Path, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    stat = os.stat

    def failing(path: str | Path, **more: object) -> os.stat_result:
        if os.fspath(path) == os.fspath(card):
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return stat(path, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "stat", failing)
    result = run(command, card)
    assert result.exit_code == 2
    assert "the system does not let us list this folder (Input/output error)" in result.stderr


# ---- ingest ----------------------------------------------------------------------------------


def test_a_dry_run_plans_what_a_repair_brought_back_to_unsorted(card: Path, shoot: Path) -> None:
    result = run("ingest", card, shoot, "--dry-run")
    assert result.exit_code == 0
    assert "unsorted/  6 files" in result.stdout
    for name in ("FILE0001.CHK", "#13", "IMG_0417.JPG", "#12345", "#5"):
        assert name in result.stdout
    assert "FILE0002.CHK" not in result.stdout
    assert not shoot.exists()


def test_an_ingest_carries_what_a_repair_brought_back_and_a_second_one_finds_it(
    card: Path, shoot: Path
) -> None:
    left = {*THROWN, *LITTER}
    originals = {path: data for path, data in contents(card).items() if path not in left}
    carried(card, shoot)
    hold_whole(shoot, originals)
    assert {destinations(shoot)[path].partition("/")[0] for path in RECOVERED} == {"unsorted"}
    for row in rows(shoot):
        if row.source in RECOVERED:
            assert "recovered by a repair of the card" in row.notes
    again = carried(card, shoot)
    assert (again.new, again.failed) == ((), ())
    hold_whole(shoot, originals)


def test_a_move_leaves_what_was_thrown_away_on_the_card(card: Path, shoot: Path) -> None:
    carried(card, shoot, moves=True)
    assert set(contents(card)) == {*THROWN, *LITTER}
    assert {row.source for row in rows(shoot)} >= set(RECOVERED)


# ---- shoots ----------------------------------------------------------------------------------


def refused(result: Result) -> None:
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("Error: ")
    assert result.stderr.count("\n") == 1
    assert "and is no card" in result.stderr


@pytest.mark.parametrize("through", ["", "link"])
@pytest.mark.parametrize("below", ["", "unsorted", ".sorter"])
def test_a_shoot_is_refused_as_a_card(
    card: Path, shoot: Path, tmp_path: Path, below: str, through: str
) -> None:
    carried(card, shoot, backup=tmp_path / "second")
    for folder in (shoot, tmp_path / "second"):
        given = folder / below
        if through:
            (tmp_path / f"to-{folder.name}").symlink_to(given)
            given = tmp_path / f"to-{folder.name}"
        before = tree(folder)
        refused(run("scan", given))
        refused(run("ingest", given, tmp_path / "other", "--dry-run"))
        refused(run("ingest", given, tmp_path / "other"))
        if below:
            refused(run("check", given))
        assert tree(folder) == before
    assert not (tmp_path / "other").exists()


def test_check_takes_a_shoot_and_its_link(shoot: Path, tmp_path: Path) -> None:
    carried(limpets(tmp_path / "card", side=200), shoot)
    (tmp_path / "link").symlink_to(shoot)
    for given in (shoot, tmp_path / "link"):
        assert run("check", given).exit_code == 0
    assert (shoot / "checks.csv").exists()


def test_a_tree_with_shoots_in_it_is_scanned_without_them_and_each_is_named(
    card: Path, tmp_path: Path
) -> None:
    carried(card, tmp_path / "tree" / "2026" / "anemones")
    carried(card, tmp_path / "tree" / "barnacles")
    limpets(tmp_path / "tree" / "card", side=200)
    result = run("scan", tmp_path / "tree")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    start = lines.index("shoots, no part of the card: not looked into")
    assert lines[start + 1 : start + 3] == ["  2026/anemones/", "  barnacles/"]
    assert lines[-1] == "4 frames in 1 sequence: 1 burst (4); 2 shoots not looked into."
    whole = json.loads(run("scan", tmp_path / "tree", "--json").stdout)
    assert (whole["shoots"], whole["frames"]) == (["2026/anemones", "barnacles"], 4)
    checked = run("check", tmp_path / "tree")
    assert checked.exit_code == 0
    assert "not looked into: barnacles/ is a shoot" in checked.stderr


def test_a_tree_of_nothing_but_shoots_says_so(card: Path, tmp_path: Path) -> None:
    carried(card, tmp_path / "tree" / "anemones")
    carried(card, tmp_path / "tree" / "limpets")
    result = run("scan", tmp_path / "tree")
    assert result.exit_code == 2
    assert "there is no file here but the shoots anemones, limpets" in result.stderr


def test_a_stray_hidden_folder_makes_no_shoot_and_none_of_its_files_is_the_cards(
    card: Path,
) -> None:
    (card / "DCIM" / ".sorter").mkdir()
    (card / "DCIM" / ".sorter" / "a.txt").write_text("tide")
    picture(card / ".sorter" / "a.JPG", 3)
    whole = json.loads(run("scan", card, "--json").stdout)
    assert (whole["frames"], whole["litter"]) == (4, len(LITTER) + 1)
    assert whole["thrown_away"] == sorted((*THROWN, ".sorter/a.JPG"))
