"""The pass over a card's folders: whose each file is, and what a failing disk does to it."""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Self

import pytest

from sorter import errors
from sorter.disk.card import Card
from sorter.disk.walk import is_system_file
from sorter.model.card import CardFile, Listing

PICTURE = "DCIM/100TIDES/IMG_0001.JPG"


def put(root: Path, *paths: str) -> None:
    for path in paths:
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_bytes(b"limpet")


def listed(root: Path, *more: str) -> Listing:
    put(root, PICTURE, *more)
    return Card(root).listing()


def paths(files: tuple[CardFile, ...]) -> list[str]:
    return [file.path for file in files]


# ---- whose a file is -------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    [
        "FOUND.000/FILE0000.CHK",
        "found.012/FILE0000.CHK",
        "FOUND.000/DIR0000.CHK/IMG_0002.JPG",
        "lost+found/#12345",
        "LOST+FOUND/#1/#2",
        "DCIM/100TIDES/lost+found/#7",
    ],
)
def test_what_a_repair_brought_back_is_the_cards(tmp_path: Path, path: str) -> None:
    listing = listed(tmp_path, path)
    assert {file.path: file.recovered for file in listing.files} == {PICTURE: False, path: True}
    assert (listing.system_files, listing.thrown, listing.aside) == (0, (), ())


@pytest.mark.parametrize("name", ["FOUND.0000", "FOUND.00A", "found", "lost+found.old", "lost"])
def test_names_that_no_repair_gives_are_the_cards_own(tmp_path: Path, name: str) -> None:
    listing = listed(tmp_path, f"{name}/IMG_0002.JPG")
    assert [file.recovered for file in listing.files] == [False, False]


@pytest.mark.parametrize("name", ["FOUND.000", ".Trash-1000", ".Spotlight-V100"])
def test_a_folder_of_a_system_that_is_given_as_the_card_is_a_card(
    tmp_path: Path, name: str
) -> None:
    put(tmp_path, f"{name}/a.JPG", f"{name}/b/c.JPG")
    listing = Card(tmp_path / name).listing()
    assert [(file.path, file.recovered) for file in listing.files] == [
        ("a.JPG", False),
        ("b/c.JPG", False),
    ]


@pytest.mark.parametrize(
    "path",
    [
        ".Trashes/501/IMG_1.JPG",
        ".Trash-1000/files/IMG_1.JPG",
        ".Trash/1000/files/IMG_1.JPG",
        "$RECYCLE.BIN/S-1-5-21-1/$R0001.JPG",
        "$Recycle.Bin/a.JPG",
        "DCIM/.trashes/501/a/b.JPG",
        ".Trashes/501/FOUND.000/FILE0000.CHK",
        "FOUND.000/.Trashes/501/a.JPG",
        ".Trash-1000/.Spotlight-V100/a.JPG",
        ".Trash-1000/files/limpets/.sorter/ledger.db",
    ],
)
def test_what_lies_in_a_trash_was_thrown_away(tmp_path: Path, path: str) -> None:
    listing = listed(tmp_path, path)
    assert (paths(listing.files), paths(listing.thrown)) == ([PICTURE], [path])
    assert (listing.system_files, listing.aside, listing.shoots) == (0, (), ())


@pytest.mark.parametrize("beside", ["INFO2", "desktop.ini", "S-1-5-21-10-20/Dc2.JPG"])
@pytest.mark.parametrize("name", ["RECYCLER", "Recycled"])
def test_an_old_trash_is_told_by_what_is_in_it(tmp_path: Path, name: str, beside: str) -> None:
    listing = listed(tmp_path, f"{name}/Dc1.JPG", f"{name}/{beside}")
    assert f"{name}/Dc1.JPG" in paths(listing.thrown)
    assert paths(listing.files) == [PICTURE]


def test_a_folder_of_pictures_of_things_that_are_recycled_is_the_cards(tmp_path: Path) -> None:
    listing = listed(tmp_path, "recycled/IMG_0002.JPG")
    assert paths(listing.files) == [PICTURE, "recycled/IMG_0002.JPG"]


@pytest.mark.parametrize(
    "path",
    [
        ".Spotlight-V100/Store-V2/a.JPG",
        ".fseventsd/0000000000a1b2c3",
        ".TemporaryItems/folders.501/a.JPG",
        "System Volume Information/a.JPG",
        "DCIM/.sorter/a.JPG",
        ".sorter/a.JPG",
        "FOUND.000/.TemporaryItems/a.JPG",
        ".TemporaryItems/FOUND.000/FILE0000.CHK",
    ],
)
def test_other_folders_of_systems_are_no_part_of_the_card(tmp_path: Path, path: str) -> None:
    listing = listed(tmp_path, path)
    assert (paths(listing.files), paths(listing.aside)) == ([PICTURE], [path])
    assert (listing.system_files, listing.thrown) == (0, ())


@pytest.mark.parametrize(
    "folder", ["lost+found", "FOUND.000", ".Trashes/501", ".fseventsd", "$RECYCLE.BIN"]
)
@pytest.mark.parametrize("name", ["._IMG_0001.JPG", ".DS_Store", "Thumbs.db", "desktop.ini"])
def test_litter_is_litter_wherever_it_lies(tmp_path: Path, folder: str, name: str) -> None:
    listing = listed(tmp_path, f"{folder}/{name}")
    assert (listing.system_files, paths(listing.files)) == (1, [PICTURE])
    assert (listing.thrown, listing.aside) == ((), ())


@pytest.mark.parametrize(
    ("path", "is_one"),
    [
        ("singles/._a.JPG", True),
        ("lost+found/a", True),
        (".Trashes/501/a.JPG", True),
        ("singles/a.JPG", False),
        ("old/.sorter/a.JPG", False),
    ],
)
def test_litter_is_told_by_its_path(path: str, *, is_one: bool) -> None:
    assert is_system_file(path) is is_one


# ---- shoots ----------------------------------------------------------------------------------


@pytest.mark.parametrize("hidden", ["ledger.db", "unfinished/1"])
def test_shoots_within_a_tree_are_named_and_not_looked_into(tmp_path: Path, hidden: str) -> None:
    listing = listed(
        tmp_path,
        f"2026/anemones/.sorter/{hidden}",
        "2026/anemones/singles/IMG_0002.JPG",
        f"FOUND.000/limpets/.sorter/{hidden}",
        "FOUND.000/limpets/singles/IMG_0003.JPG",
    )
    assert listing.shoots == ("2026/anemones", "FOUND.000/limpets")
    assert (paths(listing.files), listing.aside) == ([PICTURE], ())


def test_a_shoot_that_cannot_be_listed_is_a_shoot(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path, "limpets/.sorter/ledger.db")
    close(monkeypatch, tmp_path / "limpets", after=0)
    listing = listed(tmp_path)
    assert (listing.shoots, listing.folders_closed) == (("limpets",), ())


# ---- disks that fail -------------------------------------------------------------------------


class Broken:
    """A listing that breaks off after so many entries."""

    def __init__(self, entries: Iterator[os.DirEntry[str]], after: int) -> None:
        self._entries = entries
        self._left = after

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def __iter__(self) -> Self:
        return self

    def __next__(self) -> os.DirEntry[str]:
        self._left -= 1
        if self._left < 0:
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return next(self._entries)


def close(patch: pytest.MonkeyPatch, folder: Path, *, after: int) -> None:
    """The system's listing of this folder breaks off after so many entries, in order of their names."""
    scandir = os.scandir

    def broken(path: str | Path) -> object:
        if os.fspath(path) != os.fspath(folder):
            return scandir(path)
        return Broken(iter(sorted(scandir(path), key=lambda entry: entry.name)), after)

    patch.setattr(os, "scandir", broken)


class Untyped:
    """An entry of a file system that tells no types in its listings, and fails when it is asked."""

    def __init__(self, entry: os.DirEntry[str], *, fails_later: bool) -> None:
        self.name = entry.name
        self.path = entry.path
        self._fails_later = fails_later

    def is_dir(self, *, follow_symlinks: bool = True) -> bool:
        assert not follow_symlinks
        if self._fails_later:
            return False
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    def stat(self, *, follow_symlinks: bool = True) -> os.stat_result:
        assert not follow_symlinks
        raise OSError(errno.EIO, os.strerror(errno.EIO))


def blind(patch: pytest.MonkeyPatch, names: set[str], *, fails_later: bool = False) -> None:
    """The system fails to tell what is behind these names."""
    scandir = os.scandir

    class Entries:
        def __init__(self, path: str) -> None:
            self._entries = scandir(path)

        def __enter__(self) -> Iterator[object]:
            return (
                Untyped(entry, fails_later=fails_later) if entry.name in names else entry
                for entry in self._entries
            )

        def __exit__(self, *_: object) -> None:
            self._entries.close()

    patch.setattr(os, "scandir", Entries)


def test_a_listing_that_breaks_off_keeps_what_it_gave_and_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path, *(f"DCIM/101TIDES/IMG_000{number}.JPG" for number in range(1, 5)))
    close(monkeypatch, tmp_path / "DCIM/101TIDES", after=2)
    listing = listed(tmp_path)
    assert listing.folders_closed == ("DCIM/101TIDES",)
    assert paths(listing.files) == [
        PICTURE,
        "DCIM/101TIDES/IMG_0001.JPG",
        "DCIM/101TIDES/IMG_0002.JPG",
    ]


def test_a_root_whose_listing_breaks_off_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path, "a.JPG", "b.JPG")
    close(monkeypatch, tmp_path, after=1)
    listing = Card(tmp_path).listing()
    assert (paths(listing.files), listing.folders_closed) == (["a.JPG"], (".",))


@pytest.mark.parametrize("folder", [".Trashes", ".Trashes/501", "System Volume Information"])
def test_a_folder_of_a_system_that_cannot_be_listed_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, folder: str
) -> None:
    put(tmp_path, f"{folder}/a.JPG")
    close(monkeypatch, tmp_path / folder, after=0)
    assert listed(tmp_path).folders_closed == (folder,)


def test_a_card_with_nothing_but_a_closed_trash_is_empty(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path, ".Trashes/501/a.JPG")
    close(monkeypatch, tmp_path / ".Trashes", after=0)
    with pytest.raises(errors.CardEmpty, match=r"a folder that cannot be listed: \.Trashes"):
        Card(tmp_path).listing()


def test_a_card_whose_only_folder_is_closed_is_not_called_empty(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path, PICTURE)
    close(monkeypatch, tmp_path / "DCIM", after=0)
    for may_be_empty in (False, True):
        with pytest.raises(errors.CardNotReadable, match="DCIM"):
            Card(tmp_path).listing(may_be_empty=may_be_empty)


@pytest.mark.parametrize("fails_later", [False, True])
def test_what_the_system_says_nothing_of_is_kept_with_its_obstacle(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, fails_later: bool
) -> None:
    put(tmp_path, "FOUND.000/#1", ".Trashes/501/a.JPG")
    blind(monkeypatch, {"IMG_0002.JPG", "#1", "a.JPG"}, fails_later=fails_later)
    listing = listed(tmp_path, "DCIM/100TIDES/IMG_0002.JPG", "DCIM/100TIDES/IMG_0003.JPG")
    reason = "cannot be read: Input/output error"
    assert [(file.path, file.obstacle, file.plain) for file in listing.files] == [
        (PICTURE, "", True),
        ("DCIM/100TIDES/IMG_0002.JPG", reason, True),
        ("DCIM/100TIDES/IMG_0003.JPG", "", True),
        ("FOUND.000/#1", reason, True),
    ]
    assert [(file.path, file.obstacle) for file in listing.thrown] == [
        (".Trashes/501/a.JPG", reason)
    ]


def test_a_folder_that_lies_in_itself_is_not_walked_for_ever(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A damaged directory tree may lead back; here the system says so of one folder."""
    put(tmp_path, "DCIM/101TIDES/x.JPG")
    stat = os.stat

    def looped(path: str | Path, **more: object) -> os.stat_result:
        is_loop = os.fspath(path).endswith("101TIDES")
        return stat(tmp_path / "DCIM" if is_loop else path, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "stat", looped)
    files = {file.path: (file.obstacle, file.plain) for file in listed(tmp_path).files}
    assert files == {
        PICTURE: ("", True),
        "DCIM/101TIDES": ("a folder that it lies in itself: not followed", False),
    }


def test_a_tree_deeper_than_the_system_can_name_is_listed_as_far_as_it_can(tmp_path: Path) -> None:
    card = tmp_path / "card"
    put(card, PICTURE)
    at = os.open(card, os.O_RDONLY)
    for _ in range(24):  # a path of Linux has 4,096 bytes at the most
        os.mkdir("t" * 200, dir_fd=at)
        below = os.open("t" * 200, os.O_RDONLY, dir_fd=at)
        os.close(at)
        at = below
    os.close(at)
    listing = Card(card).listing()
    assert paths(listing.files) == [PICTURE]
    assert len(listing.folders_closed) == 1


def test_a_tree_of_many_levels_is_listed_whole(tmp_path: Path) -> None:
    put(tmp_path, "t/" * 300 + "IMG_0002.JPG")
    assert len(listed(tmp_path).files) == 2


def test_the_times_of_a_file_are_noted(tmp_path: Path) -> None:
    [file] = listed(tmp_path).files
    about = (tmp_path / PICTURE).stat()
    assert (file.modified_ns, file.changed_ns) == (about.st_mtime_ns, about.st_ctime_ns)
