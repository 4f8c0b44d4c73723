"""A whole card: every file comes out once, and none of them stops the run."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from reading.builders import LITTLE, TIME, exif_tiff, jpeg
from sorter.disk.card import Card
from sorter.errors import CardGone
from sorter.model.damage import Damage
from sorter.model.frame import Reading
from sorter.model.kinds import Kind, Role
from sorter.reading import cards
from sorter.reading.builder import FactsBuilder
from sorter.reading.source import Source

GOOD = jpeg(exif_tiff([LITTLE.text(0x010F, "Maker")], [TIME]))


def read(root: Path, **files: bytes) -> Reading:
    for name, data in files.items():
        path = root / name.replace("__", "/").replace("_dot_", ".")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    card = Card(root)
    return cards.read_card(card, card.listing())


def test_every_file_comes_out_once(tmp_path: Path) -> None:
    reading = read(
        tmp_path,
        D__IMG0001_dot_JPG=GOOD,
        D__IMG0001_dot_xmp=b"<x:xmpmeta/>",
        D__IMG0002_dot_JPG=b"",
        D__IMG0003_dot_JPG=b"\xff\xd8\xff",
        D__IMG0004_dot_CR3=b"text",
        D__IMG0005_dot_JPG=jpeg(),
        D__clip_dot_mp4=b"\0\0\0\x18ftypmp42",
        MISC__list_dot_mrk=b"list",
    )
    kinds = {file.path: kind for kind, file in reading.loose}
    assert [frame.path for frame in reading.frames] == ["D/IMG0001.JPG"]
    assert [file.role for file in reading.frames[0].files] == [Role.IMAGE, Role.SIDECAR]
    assert kinds == {
        "D/IMG0002.JPG": Kind.UNREADABLE,
        "D/IMG0003.JPG": Kind.UNREADABLE,
        "D/IMG0004.CR3": Kind.UNREADABLE,
        "D/IMG0005.JPG": Kind.UNDATED,
        "D/clip.mp4": Kind.CLIP,
        "MISC/list.mrk": Kind.OTHER,
    }


def test_a_file_of_any_kind_that_cannot_be_opened_has_an_obstacle(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def closed(_card: Card, path: str) -> None:
        raise PermissionError(errno.EACCES, "Permission denied", path)

    monkeypatch.setattr(Card, "open", closed)
    ((kind, file),) = read(tmp_path, notes_dot_txt=b"limpets").loose
    assert (kind, file.file.obstacle) == (Kind.OTHER, "cannot be read: Permission denied")


def test_a_clip_under_a_pictures_name_says_so(tmp_path: Path) -> None:
    ((kind, file),) = read(tmp_path, IMG0001_dot_JPG=b"\0\0\0\x18ftypmp42").loose
    assert (kind, file.notes) == (Kind.CLIP, ("its name says jpg, its content is mp4",))


def test_what_cannot_be_read_has_its_reason(tmp_path: Path) -> None:
    reading = read(tmp_path, a_dot_jpg=b"", b_dot_jpg=b"text", c_dot_jpg=jpeg())
    reasons = {file.path: file.notes for _, file in reading.loose}
    assert reasons == {
        "a.jpg": (Damage.EMPTY,),
        "b.jpg": (cards.NO_PICTURE,),
        "c.jpg": ("no Exif",),
    }


def test_a_read_error_is_a_note_and_the_run_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.jpg").write_bytes(b"bad")
    (tmp_path / "b.jpg").write_bytes(GOOD)
    pread = os.pread

    def failing(handle: int, length: int, offset: int) -> bytes:
        if length == 3:
            raise OSError(errno.EIO, "Input/output error")
        return pread(handle, length, offset)

    monkeypatch.setattr(os, "pread", failing)
    card = Card(tmp_path)
    reading = cards.read_card(card, card.listing())
    [(kind, file)] = reading.loose
    assert (kind, len(reading.frames)) == (Kind.UNREADABLE, 1)
    assert "cannot be read: Input/output error" in file.notes


def test_a_file_without_permission_is_a_note(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.jpg").write_bytes(GOOD)

    def closed(_card: Card, path: str) -> None:
        raise PermissionError(errno.EACCES, "Permission denied", path)

    monkeypatch.setattr(Card, "open", closed)
    card = Card(tmp_path)
    [(kind, file)] = cards.read_card(card, card.listing()).loose
    assert (kind, file.notes) == (Kind.UNREADABLE, ("cannot be read: Permission denied",))


def test_a_card_pulled_while_it_is_read_ends_the_run(tmp_path: Path) -> None:
    root = tmp_path / "card"
    root.mkdir()
    (root / "a.jpg").write_bytes(GOOD)
    card = Card(root)
    listing = card.listing()
    shutil.rmtree(root)
    with pytest.raises(CardGone):
        cards.read_card(card, listing)


def test_tick_is_called_with_the_number_of_files_done(tmp_path: Path) -> None:
    for name in "abc":
        (tmp_path / name).write_bytes(b"x")
    card = Card(tmp_path)
    done: list[int] = []
    cards.read_card(card, card.listing(), done.append)
    assert done == [1, 2, 3]


def test_an_interruption_ends_the_run_at_once(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(GOOD)
    card = Card(tmp_path)
    listing = card.listing()

    def interrupted(_done: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        cards.read_card(card, listing, interrupted)


def test_a_link_is_listed_and_not_opened(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(GOOD)
    (tmp_path / "b.jpg").symlink_to("a.jpg")
    card = Card(tmp_path)
    reading = cards.read_card(card, card.listing())
    [(kind, file)] = reading.loose
    assert (kind, file.path, file.notes) == (Kind.UNREADABLE, "b.jpg", ("a link: not followed",))


@pytest.mark.parametrize("error", [ValueError, IndexError, ZeroDivisionError])
def test_a_hole_in_a_reader_does_not_end_the_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: type[Exception]
) -> None:
    def failing(_container: object, _source: Source, _draft: FactsBuilder) -> None:
        raise error

    fake: Callable[..., None] = failing
    monkeypatch.setattr("sorter.reading.containers.block.standard.read", fake)
    reading = read(tmp_path, a_dot_jpg=GOOD)
    [(_, file)] = reading.loose
    assert cards.NOT_UNDERSTOOD in file.notes
