"""Copies on a card: which files are one picture, and how little of the card is read for it."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from reading.builders import LITTLE, TIME, exif_tiff, jpeg
from sorter.disk.card import Card
from sorter.reading.cards import read_card

PICTURE = jpeg(exif_tiff([LITTLE.text(0x010F, "Maker")], [TIME]))
LONG = PICTURE[:-2] + bytes(200_000) + PICTURE[-2:]


def frames(root: Path, files: dict[str, bytes]) -> list[tuple[str, ...]]:
    """The files of every frame of a card of these files."""
    for name, data in files.items():
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    card = Card(root)
    found = read_card(card, card.listing()).frames
    return [tuple(file.path for file in frame.files) for frame in found]


@pytest.mark.parametrize(
    "copy",
    ["D/IMG_0202 (1).JPG", "D/IMG_0202 copy.JPG", "D/Copy of IMG_0202.JPG", "E/limpet.JPG",
     "A/IMG_0202 2.JPG", "A/a1.JPG"],
)  # fmt: skip
def test_equal_bytes_are_one_frame_wherever_they_lie(copy: str, tmp_path: Path) -> None:
    assert frames(tmp_path, {"D/IMG_0202.JPG": LONG, copy: LONG}) == [("D/IMG_0202.JPG", copy)]


def test_a_copy_of_a_copy_is_the_same_frame(tmp_path: Path) -> None:
    names = ["D/IMG_0202.JPG", "D/IMG_0202 (1).JPG", "D/IMG_0202 (2).JPG"]
    assert frames(tmp_path, dict.fromkeys(names, LONG)) == [tuple(names)]
    (tmp_path / names[0]).unlink()
    assert frames(tmp_path, {}) == [(names[1], names[2])]


@pytest.mark.parametrize("seed", range(6))
def test_one_other_byte_anywhere_is_another_picture(seed: int, tmp_path: Path) -> None:
    other = bytearray(LONG)
    other[random.Random(seed).randrange(len(PICTURE), len(LONG) - 2)] ^= 1
    files = {"D/IMG_0202.JPG": LONG, "D/IMG_0202 (1).JPG": bytes(other)}
    assert len(frames(tmp_path, files)) == 2


def test_two_numbers_of_one_row_are_two_presses(tmp_path: Path) -> None:
    """A camera numbers every press: of small or dark pictures two may have equal bytes."""
    assert len(frames(tmp_path, {"D/IMG_0202.JPG": LONG, "D/IMG_0203.JPG": LONG})) == 2


def test_the_copy_of_an_image_beside_a_raw_goes_with_both(tmp_path: Path) -> None:
    raw = exif_tiff([LITTLE.text(0x010F, "Maker")], [TIME])
    files = {"D/IMG_0202.NEF": raw, "D/IMG_0202.JPG": LONG, "D/IMG_0202 (1).JPG": LONG}
    assert frames(tmp_path, files) == [("D/IMG_0202.NEF", "D/IMG_0202.JPG", "D/IMG_0202 (1).JPG")]


def test_nothing_is_read_whole_unless_it_may_be_a_copy(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[str] = []
    whole = Card.stream

    def counted(card: Card, path: str, *, past: bool = False) -> object:
        opened.append(path)
        return whole(card, path, past=past)

    monkeypatch.setattr(Card, "stream", counted)
    files = {f"D/IMG_{number:04d}.JPG": LONG for number in range(1, 9)}
    files |= {"E/IMG_0001.JPG": LONG, "E/b.JPG": LONG + b"\0"}
    frames(tmp_path, files)
    assert opened == []


def test_a_file_that_cannot_be_read_again_stays_a_frame(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, **__: object) -> object:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(Card, "stream", fails)
    assert len(frames(tmp_path, {"D/IMG_0202.JPG": LONG, "D/b.JPG": LONG})) == 2
