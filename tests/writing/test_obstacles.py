"""What stands in a plan's way in the shoot is found before anything is done."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

import tides
from sorter.cli import commands
from writing.cards import contents, hold_whole, ingest, picture, tree

BURST = "0001_burst_4"


def _linked(path: Path) -> None:
    elsewhere = path.parent.parent / "elsewhere"
    elsewhere.mkdir(exist_ok=True)
    path.symlink_to(elsewhere)


OBSTACLES: dict[str, tuple[Callable[[Path], object], str]] = {
    "a file": (lambda path: path.write_bytes(b"limpet"), "is no folder"),
    "a pipe": (os.mkfifo, "is no folder"),
    "a link": (_linked, "is a link to another place"),
    "a link to nothing": (lambda path: path.symlink_to("nothing"), "is a link to another place"),
}
PLACES = ["clips", "singles", "unsorted", ".sorter/unfinished"]
card = tides.linkless_card


def seen(folder: Path) -> dict[str, tuple[int, int, bytes]]:
    """All that a write would change, but for the time of a folder in which the ledger says who holds it."""
    return {path: about for path, about in tree(folder).items() if not path.endswith("/.sorter")}


def refused(tmp_path: Path, says: str, *options: str) -> None:
    """Exit code 2 with the sentence, and nothing anywhere is changed."""
    before = seen(tmp_path)
    given = [str(tmp_path / "card"), str(tmp_path / "shoot"), *options]
    result = CliRunner().invoke(commands, ["ingest", *given], prog_name="sorter")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("Error: ")
    assert result.stderr.count("\n") == 1
    assert says in result.stderr
    assert seen(tmp_path) == before


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("obstacle", OBSTACLES)
def test_an_obstacle_is_found_before_the_first_byte_and_in_a_dry_run(
    card: Path, tmp_path: Path, place: str, obstacle: str
) -> None:
    make, says = OBSTACLES[obstacle]
    shoot = tmp_path / "shoot"
    (shoot / place).parent.mkdir(parents=True)
    make(shoot / place)
    refused(tmp_path, says)
    refused(tmp_path, says, "--dry-run")
    refused(tmp_path, says, "--move", "--yes")
    (shoot / place).unlink()
    ingest(card, shoot)
    hold_whole(shoot, contents(card))


@pytest.mark.parametrize("name", ["manifest.csv", "SHA256SUMS"])
def test_a_folder_in_the_place_of_a_list_is_found_too(
    card: Path, tmp_path: Path, name: str
) -> None:
    shoot = tmp_path / "shoot"
    ingest(card, shoot)
    picture(card / "DCIM" / "101TIDES" / "IMG_0009.JPG", 1500)
    (shoot / name).unlink()
    (shoot / name).mkdir()
    refused(tmp_path, f"{name} is a folder, and the sorter keeps a file of this name")
    (shoot / name).rmdir()
    ingest(card, shoot)
    hold_whole(shoot, contents(card))


def test_the_folder_of_a_series_that_became_a_file_is_found(card: Path, tmp_path: Path) -> None:
    shoot = tmp_path / "shoot"
    ingest(card, shoot)
    (shoot / BURST).rename(tmp_path / "kept")
    (shoot / BURST).write_bytes(b"limpet")
    refused(tmp_path, f"{BURST} is no folder")


def test_what_is_not_in_the_way_is_no_obstacle(card: Path, tmp_path: Path) -> None:
    shoot = tmp_path / "shoot"
    shoot.mkdir()
    (shoot / "markers").write_bytes(b"limpet")  # no marker is on this card
    (shoot / BURST).write_bytes(b"anemone")  # the series takes another name
    assert ingest(card, shoot).verified == len(contents(card))
    assert (shoot / "markers").read_bytes() == b"limpet"
    assert (shoot / f"{BURST}_2").is_dir()


def test_all_is_there_and_a_folder_that_is_not_needed_is_in_nobodys_way(
    card: Path, tmp_path: Path
) -> None:
    shoot = tmp_path / "shoot"
    ingest(card, shoot)
    (shoot / "results").write_bytes(b"limpet")
    assert ingest(card, shoot).new == ()
