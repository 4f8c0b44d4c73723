"""Names that differ in case or in Unicode form alone: two files for us, one for other systems.

Windows and macOS compare names without regard to case, macOS also without regard to form (NFC, NFD:
Unicode, UAX #15), so that a shoot which is copied there would lose one of them.
"""

from __future__ import annotations

import unicodedata
from pathlib import Path

import pytest

from sorter.planning import names
from writing.cards import (
    contents,
    destinations,
    found,
    hold_whole,
    ingest,
    picture,
    rows,
    tree,
    undo,
)

NFC, NFD = (unicodedata.normalize(form, "Ångström") for form in ("NFC", "NFD"))
TWINS = [
    ("IMG_0001.JPG", "img_0001.jpg"),
    ("IMG_0001.JPG", "IMG_0001.jpg"),
    (f"{NFC}.JPG", f"{NFD}.JPG"),
    (f"{NFC}.JPG", f"{NFD.upper()}.JPG"),
    ("straße.JPG", "STRASSE.JPG"),
]


def hold_apart(shoot: Path) -> None:
    """Fails where a system that folds names would take two paths of the shoot for one."""
    paths = [path.relative_to(shoot).as_posix() for path in shoot.rglob("*")]
    assert len({names.same(path) for path in paths}) == len(paths)


@pytest.mark.parametrize(("one", "other"), TWINS)
@pytest.mark.parametrize("folders", [("100TIDES", "101TIDES"), ("100TIDES", "100TIDES")])
def test_twins_on_a_card_are_both_there_and_the_second_says_so(
    tmp_path: Path, one: str, other: str, folders: tuple[str, str]
) -> None:
    card, shoot = tmp_path / "card", tmp_path / "shoot"
    for after_s, (folder, name) in enumerate(zip(folders, (one, other), strict=True)):
        picture(card / "DCIM" / folder / name, 600 * after_s, shade=70 + after_s)
    assert len(contents(card)) == 2
    assert ingest(card, shoot).is_whole
    hold_whole(shoot, contents(card))
    hold_apart(shoot)
    renamed = [row for row in rows(shoot) if row.destination.rpartition("_2.")[1]]
    assert len(renamed) == 1
    name = renamed[0].destination.rpartition("/")[2]
    assert f"named {name} here: another file has its name" in renamed[0].notes
    assert ingest(card, shoot).new == ()


@pytest.mark.parametrize(("one", "other"), [("100TIDES", "100tides"), (NFC, NFD)])
def test_twins_of_folders_on_a_card_give_each_file_a_name_of_its_own(
    tmp_path: Path, one: str, other: str
) -> None:
    card, shoot = tmp_path / "card", tmp_path / "shoot"
    for number, folder in enumerate((one, other)):
        for frame in (1, 2, 3):
            path = card / "DCIM" / folder / f"IMG_{frame:04d}.JPG"
            picture(path, 900 * number + frame / 4, shade=10 * number + frame)
    assert ingest(card, shoot).is_whole
    hold_whole(shoot, contents(card))
    hold_apart(shoot)


@pytest.mark.parametrize(("mine", "camera"), TWINS)
def test_a_file_of_someone_else_in_the_shoot_is_not_hit_by_its_twin(
    tmp_path: Path, mine: str, camera: str
) -> None:
    card, shoot = tmp_path / "card", tmp_path / "shoot"
    picture(card / "DCIM" / "100TIDES" / camera, 0)
    (shoot / "Singles").mkdir(parents=True)
    (shoot / "Singles" / mine).write_bytes(b"a crab")
    before = tree(shoot / "Singles")
    ingest(card, shoot)
    assert tree(shoot / "Singles") == before
    place = destinations(shoot)[f"DCIM/100TIDES/{camera}"]
    assert place.rpartition("_2.")[1]
    assert names.same(place) != names.same(f"singles/{mine}")
    assert found(shoot).added == [f"Singles/{mine}"]
    undo(shoot)
    assert contents(shoot) == {f"Singles/{mine}": b"a crab"}


def test_a_sequence_gets_no_folder_whose_twin_is_someone_elses(tmp_path: Path) -> None:
    card, shoot = tmp_path / "card", tmp_path / "shoot"
    for frame in (1, 2, 3):
        picture(card / "DCIM" / "100TIDES" / f"IMG_{frame:04d}.JPG", frame / 4, shade=frame)
    (shoot / NFD.upper()).mkdir(parents=True)
    ingest(card, shoot, folder="{name}", name=NFC)
    assert {path.partition("/")[0] for path in destinations(shoot).values()} == {f"{NFC}_2"}


@pytest.mark.parametrize("name", ["aux.JPG", "tide:pool.JPG", "low tide .JPG.", "what?.JPG"])
def test_a_name_that_windows_or_macos_refuses_is_changed_and_kept_in_the_manifest(
    tmp_path: Path, name: str
) -> None:
    card, shoot = tmp_path / "card", tmp_path / "shoot"
    made = picture(card / "DCIM" / "100TIDES" / "made.JPG", 0)
    made.rename(made.parent / name)
    ingest(card, shoot)
    (row,) = rows(shoot)
    assert row.source == f"DCIM/100TIDES/{name}"
    assert names.is_legal(row.destination.rpartition("/")[2])
    assert "its own name is not legal everywhere" in row.notes
    hold_whole(shoot, contents(card))
