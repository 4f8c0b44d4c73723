"""Files in folders of systems: told by their content, kept or named, never dropped without a word."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from reading.builders import LITTLE, TIME, exif_tiff, jpeg
from sorter.disk.card import Card
from sorter.model.frame import ReadFile, Reading
from sorter.model.kinds import Kind, Role
from sorter.reading import cards
from sorter.reading.recovered import RECOVERED

GOOD = jpeg(exif_tiff([LITTLE.text(0x010F, "Maker")], [TIME]))
RAW = exif_tiff([LITTLE.text(0x010F, "Maker")], [TIME]).replace(b"II*\0", b"IIRO", 1)
CLIP = b"\0\0\0\x18ftypmp42" + b"\0" * 12
SOUND = b"RIFF\x24\0\0\0WAVEfmt "
JUNK = b"splash" * 20
PICTURE = "DCIM/100TIDES/IMG_0001.JPG"


def put(root: Path, files: dict[str, bytes]) -> Path:
    for path, data in files.items():
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_bytes(data)
    return root


def read(root: Path, files: dict[str, bytes]) -> Reading:
    card = Card(put(root, {PICTURE: GOOD, **files}))
    return cards.read_card(card, card.listing())


def loose(reading: Reading) -> dict[str, tuple[Kind, ReadFile]]:
    return {file.path: (kind, file) for kind, file in reading.loose}


@pytest.mark.parametrize(
    ("data", "role"),
    [(GOOD, Role.IMAGE), (RAW, Role.RAW), (CLIP, Role.CLIP), (SOUND, Role.SOUND)],
)
@pytest.mark.parametrize("path", ["FOUND.000/FILE0000.CHK", "lost+found/#12345"])
def test_what_is_a_picture_or_clip_by_content_is_other_with_a_note(
    tmp_path: Path, path: str, data: bytes, role: Role
) -> None:
    reading = read(tmp_path, {path: data})
    assert [frame.path for frame in reading.frames] == [PICTURE]
    [(kind, file)] = reading.loose
    assert (file.path, kind, file.role, file.notes[0]) == (path, Kind.OTHER, role, RECOVERED)
    assert reading.system_files == 0


def test_its_time_is_known(tmp_path: Path) -> None:
    [(_, file)] = read(tmp_path, {"FOUND.000/FILE0000.CHK": GOOD}).loose
    assert file.facts.moment is not None


@pytest.mark.parametrize("data", [JUNK, b""])
def test_what_is_neither_is_passed_over_and_counted(tmp_path: Path, data: bytes) -> None:
    reading = read(tmp_path, {"FOUND.000/FILE0000.CHK": data, "lost+found/#7": data})
    assert (reading.loose, reading.system_files, reading.thrown_away) == ((), 2, ())


def test_what_is_left_of_a_picture_is_unreadable_and_kept(tmp_path: Path) -> None:
    [(kind, file)] = read(tmp_path, {"FOUND.000/FILE0000.CHK": b"\xff\xd8\xff\xe0 tide"}).loose
    assert (kind, file.notes[0], file.notes[-1]) == (Kind.UNREADABLE, RECOVERED, cards.NOTHING)


def test_names_that_were_kept_say_what_is_the_cards(tmp_path: Path) -> None:
    """In folders that a repair brings back whole, files have their names."""
    folder = "FOUND.000/DIR0000.CHK"
    found = loose(
        read(
            tmp_path,
            {f"{folder}/IMG_0002.JPG": JUNK, f"{folder}/IMG_0002.xmp": b"<x:xmpmeta/>",
             f"{folder}/MVI_0003.MP4": JUNK, f"{folder}/AUTPRINT.MRK": JUNK},
        )
    )  # fmt: skip
    assert {path: (kind, file.role) for path, (kind, file) in found.items()} == {
        f"{folder}/IMG_0002.JPG": (Kind.UNREADABLE, Role.IMAGE),
        f"{folder}/IMG_0002.xmp": (Kind.OTHER, Role.SIDECAR),
        f"{folder}/MVI_0003.MP4": (Kind.OTHER, Role.CLIP),
    }
    assert all(file.notes[0] == RECOVERED for _, file in found.values())


def test_a_recovered_twin_joins_no_frame(tmp_path: Path) -> None:
    reading = read(tmp_path, {"FOUND.000/IMG_0001.JPG": GOOD, "FOUND.000/IMG_0001.CR2": GOOD})
    assert [len(frame.files) for frame in reading.frames] == [1]
    assert {kind for kind, _ in reading.loose} == {Kind.OTHER}


def failing(patch: pytest.MonkeyPatch, name: str) -> None:
    """The card does not give a byte of files of this name."""
    opened = os.open

    def refuse(path: str, *more: int) -> int:
        if path.endswith(name):
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return opened(path, *more)

    patch.setattr(os, "open", refuse)


def test_what_cannot_be_read_may_be_a_picture_and_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    failing(monkeypatch, "#12345")
    [(kind, file)] = read(tmp_path, {"lost+found/#12345": GOOD}).loose
    reason = "cannot be read: Input/output error"
    assert (kind, file.file.obstacle, file.notes) == (
        Kind.UNREADABLE,
        reason,
        (RECOVERED, reason),
    )


def test_a_link_that_a_repair_brought_back_is_listed_as_on_the_card(tmp_path: Path) -> None:
    (tmp_path / "lost+found").mkdir()
    (tmp_path / "lost+found" / "#7").symlink_to(tmp_path)
    [(kind, file)] = read(tmp_path, {}).loose
    assert (kind, file.file.obstacle) == (Kind.OTHER, "a link: not followed")


def test_a_card_of_nothing_but_what_a_repair_brought_back(tmp_path: Path) -> None:
    card = Card(put(tmp_path, {"FOUND.000/FILE0000.CHK": GOOD, "FOUND.000/FILE0001.CHK": JUNK}))
    reading = cards.read_card(card, card.listing())
    assert ([file.path for _, file in reading.loose], reading.system_files) == (
        ["FOUND.000/FILE0000.CHK"],
        1,
    )


# ---- thrown away -----------------------------------------------------------------------------


def test_pictures_that_were_thrown_away_are_named_and_no_files_of_the_card(tmp_path: Path) -> None:
    reading = read(
        tmp_path,
        {
            ".Trashes/501/IMG_0002.JPG": GOOD,
            ".Trashes/501/._IMG_0002.JPG": JUNK,
            ".Trash-1000/files/limpet": RAW,
            ".Trash-1000/info/limpet.trashinfo": b"[Trash Info]\n",
            "$RECYCLE.BIN/S-1-5-21/$R12.MP4": CLIP,
            "$RECYCLE.BIN/S-1-5-21/$I12.MP4": b"\2\0\0\0\0\0\0\0" + JUNK,
            "$RECYCLE.BIN/S-1-5-21/desktop.ini": JUNK,
            ".TemporaryItems/a": GOOD,
            ".Spotlight-V100/store.db": JUNK,
            ".sorter/a.JPG": GOOD,
        },
    )
    assert reading.thrown_away == (
        "$RECYCLE.BIN/S-1-5-21/$R12.MP4",
        ".TemporaryItems/a",
        ".Trash-1000/files/limpet",
        ".Trashes/501/IMG_0002.JPG",
        ".sorter/a.JPG",
    )
    assert (reading.loose, reading.system_files) == ((), 5)
    assert [frame.path for frame in reading.frames] == [PICTURE]


def test_what_cannot_be_read_in_a_trash_is_named_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    failing(monkeypatch, "limpet")
    (tmp_path / ".Trash-1000").mkdir()
    (tmp_path / ".Trash-1000" / "link.JPG").symlink_to(tmp_path)
    reading = read(tmp_path, {".Trash-1000/limpet": GOOD})
    assert (reading.thrown_away, reading.system_files) == ((".Trash-1000/limpet",), 1)


def test_every_file_is_told_once(tmp_path: Path) -> None:
    """Frames, loose files, what was thrown away and system files come to all files that there are."""
    files = {
        f"{folder}/{name}": data
        for folder in ("DCIM", "FOUND.000", ".Trashes/501", "System Volume Information")
        for name, data in {"a.JPG": GOOD, "b": CLIP, "c": JUNK, "._d": JUNK, "e": b""}.items()
    }
    reading = read(tmp_path, files)
    of_card = sum(len(frame.files) for frame in reading.frames) + len(reading.loose)
    assert of_card + len(reading.thrown_away) + reading.system_files == len(files) + 1
    assert (len(reading.thrown_away), of_card) == (4, 7)


def test_shoots_and_closed_folders_are_handed_on(tmp_path: Path) -> None:
    reading = read(tmp_path, {"limpets/.sorter/ledger.db": b"", "limpets/singles/a.JPG": GOOD})
    assert (reading.shoots, reading.loose) == (("limpets",), ())


def test_tick_counts_what_was_thrown_away_too(tmp_path: Path) -> None:
    card = Card(put(tmp_path, {PICTURE: GOOD, ".Trashes/a": GOOD, ".fseventsd/b": JUNK}))
    listing, done = card.listing(), list[int]()
    cards.read_card(card, listing, done.append)
    assert done == [1, 2, 3]
    assert cards.files_to_read(listing) == 3
