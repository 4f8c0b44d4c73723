"""The door to a shoot folder lets nothing lead out of it, and makes a folder where one is missing."""

from __future__ import annotations

from pathlib import Path

import pytest

from sorter.disk.shoot import Shoot
from sorter.errors import BadShoot, ShootNotWritable


def prepared(tmp_path: Path) -> Shoot:
    """A shoot in which two unfinished files wait, 1 and 2."""
    shoot = Shoot(tmp_path / "rock-pool")
    shoot.prepare()
    for number in (1, 2):
        with shoot.new_file(number) as file:
            file.write(memoryview(b"limpet"))
    return shoot


@pytest.mark.parametrize(
    "path", ["/limpet", "/etc/limpet", "../limpet", "pool/../../limpet", "pool//limpet", "a\0b"]
)
def test_no_path_leads_out_of_the_shoot(tmp_path: Path, path: str) -> None:
    shoot = prepared(tmp_path)
    assert shoot.size("limpet") is None  # what is known of the folder itself opens no other way
    with pytest.raises(BadShoot, match="lead out of the shoot"):
        shoot.size(path)


def test_a_file_is_placed_in_a_folder_that_is_made_and_in_one_that_is_there(tmp_path: Path) -> None:
    shoot = prepared(tmp_path)
    shoot.place(1, "pool/limpet.jpg")
    shoot.place(2, "pool/anemone.jpg")
    there = sorted(path.name for path in (shoot.root / "pool").iterdir())
    assert there == ["anemone.jpg", "limpet.jpg"]


def test_a_folder_that_went_away_between_two_files_is_made_again(tmp_path: Path) -> None:
    shoot = prepared(tmp_path)
    shoot.place(1, "pool/limpet.jpg")
    (shoot.root / "pool").rename(tmp_path / "elsewhere")
    shoot.place(2, "pool/anemone.jpg")
    assert (shoot.root / "pool/anemone.jpg").read_bytes() == b"limpet"


def test_a_file_in_the_way_of_a_folder_is_named_and_stays(tmp_path: Path) -> None:
    shoot = prepared(tmp_path)
    (shoot.root / "pool").write_text("barnacle")
    with pytest.raises(ShootNotWritable, match="pool is a file"):
        shoot.place(1, "pool/limpet.jpg")
    assert (shoot.root / "pool").read_text() == "barnacle"


def test_nothing_is_replaced_by_what_is_placed(tmp_path: Path) -> None:
    shoot = prepared(tmp_path)
    shoot.place(1, "pool/limpet.jpg")
    with pytest.raises(FileExistsError):
        shoot.place(2, "pool/limpet.jpg")
