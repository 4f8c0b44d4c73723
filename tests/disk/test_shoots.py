"""What is a shoot is told by its ledger, and is taken for no card."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from sorter import errors
from sorter.disk import shoots
from sorter.disk.card import Card
from sorter.writing import ledger
from writing.cards import ingest, tide_card


@pytest.fixture
def shoot(tmp_path: Path) -> Path:
    """A shoot that a card was carried to, with a second copy beside it."""
    folder, second = tmp_path / "shoot", tmp_path / "second"
    ingest(tide_card(tmp_path / "card"), folder, backup=second)
    return folder


def test_the_ledgers_name_is_the_ledgers_own() -> None:
    assert f".sorter/{ledger.FILE}" == shoots.LEDGER


def test_a_shoot_and_its_second_copy_are_shoots(shoot: Path) -> None:
    assert shoots.is_shoot(str(shoot))
    assert shoots.is_shoot(str(shoot.with_name("second")))
    assert not shoots.is_shoot(str(shoot.with_name("card")))


@pytest.mark.parametrize(
    ("inside", "is_one"),
    [
        (".sorter/ledger.db", True),
        (".sorter/unfinished/", True),
        (".sorter/", False),
        (".sorter/notes.txt", False),
        (".sorter/ledger.db/", False),
        (".sorter/unfinished", False),
        (".sorter", False),
    ],
)
def test_a_shoot_has_a_ledger_or_the_place_of_unfinished_files(
    tmp_path: Path, inside: str, *, is_one: bool
) -> None:
    path = tmp_path / inside
    path.parent.mkdir(exist_ok=True)
    path.mkdir(parents=True) if inside.endswith("/") else path.write_bytes(b"")
    assert shoots.is_shoot(str(tmp_path)) is is_one


def test_what_is_closed_to_us_under_our_own_name_is_a_shoot(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def closed(*_: object) -> None:
        raise PermissionError

    (tmp_path / "card").mkdir()
    (tmp_path / "shoot" / ".sorter").mkdir(parents=True)
    with monkeypatch.context() as patch:
        patch.setattr(os, "stat", closed)
        assert shoots.is_shoot(str(tmp_path / "shoot"))
        assert not shoots.is_shoot(str(tmp_path / "card"))


@pytest.mark.parametrize("below", ["", "unsorted", ".sorter", ".sorter/unfinished"])
def test_a_shoot_is_no_card_nor_is_what_lies_in_it(shoot: Path, below: str) -> None:
    assert shoots.shoot_around(shoot / below) == shoot
    with pytest.raises(
        errors.CardIsShoot, match="is a shoot" if not below else "lies in the shoot"
    ):
        Card(shoot / below)


def test_a_second_copy_is_no_card_either(shoot: Path) -> None:
    with pytest.raises(errors.CardIsShoot):
        Card(shoot.with_name("second"))


@pytest.mark.parametrize("below", ["", "unsorted"])
def test_a_link_into_a_shoot_is_no_card(shoot: Path, tmp_path: Path, below: str) -> None:
    (tmp_path / "link").symlink_to(shoot / below)
    (tmp_path / "folder").mkdir()
    (tmp_path / "folder" / "link").symlink_to(shoot)
    for card in (tmp_path / "link", tmp_path / "folder" / "link" / below):
        with pytest.raises(errors.CardIsShoot):
            Card(card)


def test_a_folder_of_a_shoot_can_be_read_as_a_card_is(shoot: Path) -> None:
    with Card(shoot, of_shoot=True).open("manifest.csv") as window:
        assert window.head.startswith(b"source,")


def test_a_folder_with_a_stray_hidden_folder_is_a_card(tmp_path: Path) -> None:
    (tmp_path / ".sorter").mkdir()
    (tmp_path / "a.JPG").write_bytes(b"x")
    assert [file.path for file in Card(tmp_path).listing().files] == ["a.JPG"]
