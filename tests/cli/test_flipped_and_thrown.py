"""What one wrong bit, or a disk that does not answer, must not hide; what a trash holds that a copy has too."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from faults.faulty import FailingRead, Faulty, FlipFirstRead, faulty
from faults.mounting import needed
from sorter.cli import commands
from writing.cards import LIMPETS, ingest, limpets, picture

FIRST = f"{LIMPETS}/IMG_0001.JPG"


def sorter(*arguments: str | Path) -> Result:
    return CliRunner().invoke(commands, list(map(str, arguments)), prog_name="sorter")


@pytest.fixture
def card(tmp_path: Path) -> Iterator[Faulty]:
    needed()
    limpets(tmp_path / "below")
    found = picture(tmp_path / "below" / "FOUND.000" / "FILE0000.JPG", 900)
    found.rename(found.with_suffix(".CHK"))
    picture(tmp_path / "below" / ".Trashes" / "IMG_0099.JPG", 901)
    with faulty(tmp_path / "card", tmp_path / "below") as disk:
        yield disk


@pytest.mark.parametrize("name", ["FILE0000.CHK", ".Trashes/IMG_0099.JPG"])
def test_a_bit_that_flips_once_hides_no_picture_in_a_folder_of_a_system(
    card: Faulty, tmp_path: Path, name: str
) -> None:
    """What it is, is told by one read: with another first byte it is system files, and in no last line."""
    flip = FlipFirstRead(name, offset=0)
    card.now(flip)
    result = sorter("ingest", card.mountpoint, tmp_path / "shoot", "--reread")
    assert card.met(flip)
    carried = (tmp_path / "shoot" / "unsorted" / name).exists()
    assert carried or name in result.stdout


def test_a_card_that_is_verified_is_looked_at_past_the_cache_in_a_repairs_folder_too(
    card: Faulty, tmp_path: Path
) -> None:
    """What the flipped read left in the system's cache says there again that this is no picture."""
    card.now(FlipFirstRead("FILE0000.CHK", offset=0))
    sorter("ingest", card.mountpoint, tmp_path / "shoot")
    result = sorter("verify", tmp_path / "shoot", "--card", card.mountpoint)
    assert "FOUND.000/FILE0000.CHK" in result.stdout


def test_a_dry_run_says_of_no_unreadable_file_that_it_is_carried(
    card: Faulty, tmp_path: Path
) -> None:
    """Nothing of it can be read, and the ingest itself says "could not be carried"."""
    card.now(FailingRead(FIRST))
    said = sorter("ingest", card.mountpoint, tmp_path / "shoot", "--dry-run").stdout
    heading = said.split(f"  {FIRST}: cannot be read")[0].splitlines()[-1]
    assert "carried as they are" not in heading


def test_a_picture_in_a_trash_that_the_shoot_has_is_not_said_to_be_in_no_copy(
    tmp_path: Path,
) -> None:
    """Its bytes are never compared with the copies, and the last line speaks of all of them."""
    card, shoot = limpets(tmp_path / "card"), tmp_path / "shoot"
    (card / ".Trashes").mkdir()
    shutil.copy(card / FIRST, card / ".Trashes")
    ingest(card, shoot)
    assert "is in no copy" not in sorter("verify", shoot, "--card", card).stdout


def test_a_list_that_cannot_be_read_is_not_called_edited(tmp_path: Path) -> None:
    needed()
    ingest(limpets(tmp_path / "card"), tmp_path / "below")
    with faulty(tmp_path / "shoot", tmp_path / "below", FailingRead("manifest.csv")):
        result = sorter("verify", tmp_path / "shoot")
    assert "edited since (sidecars, lists)\n  manifest.csv" not in result.stdout
