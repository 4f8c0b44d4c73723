"""The door to a card: lists everything, follows nothing, changes nothing."""

from __future__ import annotations

import errno
import os
import pickle
import shutil
from pathlib import Path

import pytest

from sorter import errors
from sorter.disk import card as door
from sorter.disk.card import Card


def put(root: Path, *paths: str, data: bytes = b"x") -> None:
    for path in paths:
        (root / path).parent.mkdir(parents=True, exist_ok=True)
        (root / path).write_bytes(data)


def paths(root: Path) -> list[str]:
    return [file.path for file in Card(root).listing().files]


def test_files_are_listed_in_the_order_of_their_paths(tmp_path: Path) -> None:
    put(tmp_path, "DCIM/101CANON/b.JPG", "DCIM/100CANON/a.JPG", "MISC/x.dat", "readme.txt")
    expected = ["DCIM/100CANON/a.JPG", "DCIM/101CANON/b.JPG", "MISC/x.dat", "readme.txt"]
    assert paths(tmp_path) == expected


@pytest.mark.parametrize(
    "system_files",
    ["DCIM/._IMG_0001.JPG", ".DS_Store", "Thumbs.db", "DESKTOP.INI", "lost+found/._a"],
)
def test_litter_is_counted_and_not_listed(tmp_path: Path, system_files: str) -> None:
    put(tmp_path, "DCIM/IMG_0001.JPG", system_files)
    listing = Card(tmp_path).listing()
    assert [file.path for file in listing.files] == ["DCIM/IMG_0001.JPG"]
    assert listing.system_files == 1


def test_only_litter_is_an_empty_card(tmp_path: Path) -> None:
    put(tmp_path, ".DS_Store")
    with pytest.raises(errors.CardEmpty, match="1 system file"):
        Card(tmp_path).listing()
    assert Card(tmp_path).listing(may_be_empty=True).system_files == 1


def test_an_empty_card_says_what_else_is_there(tmp_path: Path) -> None:
    put(tmp_path, ".Trashes/501/a.JPG", ".DS_Store", "limpets/.sorter/ledger.db")
    with pytest.raises(errors.CardEmpty, match="2 system files and the shoot limpets"):
        Card(tmp_path).listing()


def test_a_missing_card_is_told_from_a_file(tmp_path: Path) -> None:
    with pytest.raises(errors.CardNotFound, match="no such folder"):
        Card(tmp_path / "nowhere")
    put(tmp_path, "a.jpg")
    with pytest.raises(errors.CardNotFound, match="this is a file"):
        Card(tmp_path / "a.jpg")


def test_links_and_pipes_are_listed_with_their_obstacle(tmp_path: Path) -> None:
    outside = tmp_path / "outside"
    root = tmp_path / "card"
    put(outside, "secret.jpg")
    put(root, "a.jpg")
    (root / "to-file.jpg").symlink_to(outside / "secret.jpg")
    (root / "to-folder").symlink_to(outside)
    os.mkfifo(root / "pipe.jpg")
    obstacles = {file.path: file.obstacle for file in Card(root).listing().files}
    assert obstacles == {
        "a.jpg": "",
        "pipe.jpg": "a pipe: not opened",
        "to-file.jpg": "a link: not followed",
        "to-folder": "a link: not followed",
    }


def test_a_link_put_in_the_place_of_a_file_is_not_opened(tmp_path: Path) -> None:
    put(tmp_path, "a.jpg", "b.jpg")
    card = Card(tmp_path)
    (tmp_path / "a.jpg").unlink()
    (tmp_path / "a.jpg").symlink_to("b.jpg")
    with pytest.raises(OSError, match="symbolic"):
        card.open("a.jpg")


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    put(tmp_path, "a.jpg")
    os.mkfifo(tmp_path / "pipe.jpg")
    with pytest.raises(OSError, match="not a plain file"):
        Card(tmp_path).open("pipe.jpg")


def test_a_folder_that_cannot_be_listed_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path, "open/a.jpg", "closed/b.jpg")
    listed = os.scandir

    def scandir(path: str) -> object:
        if str(path).endswith("/closed"):
            raise PermissionError(errno.EACCES, "Permission denied")
        return listed(path)

    monkeypatch.setattr(os, "scandir", scandir)
    listing = Card(tmp_path).listing()
    assert listing.folders_closed == ("closed",)
    assert [file.path for file in listing.files] == ["open/a.jpg"]


def test_a_root_that_cannot_be_listed_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def scandir(_path: str) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(os, "scandir", scandir)
    with pytest.raises(errors.CardNotReadable, match="Permission denied"):
        Card(tmp_path)


def failing_stat(patch: pytest.MonkeyPatch, broken: Path) -> None:
    """The system tells nothing of this path but that its disk failed."""
    stat = os.stat

    def told(path: str | Path, **more: object) -> os.stat_result:
        if os.fspath(path) == os.fspath(broken):
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return stat(path, **more)  # type: ignore[arg-type]

    patch.setattr(os, "stat", told)


def test_a_root_that_cannot_be_looked_at_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path, "a.jpg")
    failing_stat(monkeypatch, tmp_path)
    with pytest.raises(errors.CardNotReadable, match="Input/output error"):
        Card(tmp_path)


def test_a_card_that_cannot_be_looked_at_any_more_has_gone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path, "a.jpg")
    card = Card(tmp_path)
    failing_stat(monkeypatch, tmp_path)
    with pytest.raises(errors.CardGone):
        card.expect()


def test_a_link_that_leads_to_itself_is_refused(tmp_path: Path) -> None:
    (tmp_path / "card").symlink_to(tmp_path / "card")
    with pytest.raises(errors.CardNotReadable, match="symbolic links"):
        Card(tmp_path / "card")


def test_a_system_that_fails_on_closing_ends_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path, "a.jpg", data=b"abc")
    window = Card(tmp_path).open("a.jpg")
    close = os.close

    def failing(handle: int) -> None:
        close(handle)
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    with monkeypatch.context() as patch:
        patch.setattr(os, "close", failing)
        window.close()
    assert window.head == b"abc"


def test_a_file_that_cannot_be_looked_at_once_open_is_closed_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path, "a.jpg")
    card = Card(tmp_path)
    close, closed = os.close, []

    def failing(_handle: int) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    def noting(handle: int) -> None:
        closed.append(handle)
        close(handle)

    with monkeypatch.context() as patch:
        patch.setattr(os, "fstat", failing)
        patch.setattr(os, "close", noting)
        with pytest.raises(OSError, match="Input/output error"):
            card.open("a.jpg")
    assert len(closed) == 1


def test_names_that_are_no_unicode_are_listed_and_opened(tmp_path: Path) -> None:
    name = os.fsencode(tmp_path) + b"/IMG_\xff.JPG"
    with open(name, "wb") as file:  # noqa: PTH123  a path of bytes
        file.write(b"abc")
    card = Card(tmp_path)
    [listed] = card.listing().files
    with card.open(listed.path) as window:
        assert window.read(0, 3) == b"abc"


def test_a_window_reads_ranges_short_at_the_end_and_none_beyond(tmp_path: Path) -> None:
    data = bytes(range(256)) * 1024
    put(tmp_path, "a.jpg", data=data)
    with Card(tmp_path).open("a.jpg") as window:
        assert window.size == len(data)
        assert window.read(10, 4) == data[10:14]
        assert window.read(200_000, 10) == data[200_000:200_010]
        assert window.read(len(data) - 3, 100) == data[-3:]
        assert window.read(len(data), 1) == b""
        assert window.read(-1, 5) == b""
        assert window.read(5, -1) == b""
        assert window.read(1 << 62, 1 << 62) == b""


def test_the_first_block_is_read_once_and_near_ranges_share_a_request(tmp_path: Path) -> None:
    put(tmp_path, "a.jpg", data=b"x" * 300_000)
    card = Card(tmp_path)
    with card.open("a.jpg") as window:
        for at in range(0, 60_000, 1000):
            window.read(at, 16)
        assert window.bytes_read == door.FIRST_BLOCK
        for at in range(100_000, 104_000, 100):
            window.read(at, 16)
        assert window.bytes_read == door.FIRST_BLOCK + door.NEXT_BLOCK
    assert card.bytes_read == door.FIRST_BLOCK + door.NEXT_BLOCK


def test_the_budget_ends_reading(tmp_path: Path) -> None:
    put(tmp_path, "a.jpg", data=b"x" * (6 << 20))
    with Card(tmp_path).open("a.jpg") as window:
        window.read(1 << 20, 1 << 20)
        assert window.bytes_read < door.BUDGET
        for at in range(1 << 20, 6 << 20, 1 << 20):
            window.read(at, 1 << 20)
        assert window.exhausted
        assert window.bytes_read <= door.BUDGET
        assert window.read(5 << 20, 100) == b""


def test_the_number_of_requests_is_bounded(tmp_path: Path) -> None:
    """Each may cost a card reader's delay, however little it fetches."""
    path = tmp_path / "a.jpg"
    with path.open("wb") as file:
        file.truncate(64 << 20)
    with Card(tmp_path).open("a.jpg") as window:
        for number in range(door.REQUESTS):
            assert len(window.read((1 << 20) + number * 8192, 8)) == 8
        assert window.read(60 << 20, 8) == b""
        assert window.exhausted
        assert len(window.read(1 << 20, 8)) == 8  # what was fetched stays


def test_a_read_error_is_tried_again_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    put(tmp_path, "a.jpg", data=b"abc")
    tried = []
    pread = os.pread

    def once(handle: int, length: int, offset: int) -> bytes:
        tried.append(offset)
        if len(tried) == 1:
            raise OSError(errno.EIO, "Input/output error")
        return pread(handle, length, offset)

    monkeypatch.setattr(os, "pread", once)
    with Card(tmp_path).open("a.jpg") as window:
        assert window.read(0, 3) == b"abc"
        assert window.obstacle == ""
    assert len(tried) == 2


def test_a_lasting_read_error_is_data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    put(tmp_path, "a.jpg", data=b"abc")

    def never(_handle: int, _length: int, _offset: int) -> bytes:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(os, "pread", never)
    with Card(tmp_path).open("a.jpg") as window:
        assert window.read(0, 3) == b""
        assert window.obstacle == "cannot be read: Input/output error"


def test_a_card_that_went_away_is_said_so(tmp_path: Path) -> None:
    root = tmp_path / "card"
    put(root, "a.jpg")
    card = Card(root)
    shutil.rmtree(root)
    with pytest.raises(errors.CardGone):
        card.open("a.jpg")


def test_a_card_that_was_unmounted_leaves_another_device(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path, "what the mount point held.txt")
    card = Card(tmp_path)
    card.expect()
    monkeypatch.setattr(card, "_device", -1)
    with pytest.raises(errors.CardGone):
        card.expect()


def test_a_file_that_went_away_from_a_card_is_no_card_gone(tmp_path: Path) -> None:
    put(tmp_path, "a.jpg", "b.jpg")
    card = Card(tmp_path)
    (tmp_path / "a.jpg").unlink()
    with pytest.raises(FileNotFoundError):
        card.open("a.jpg")


def test_nothing_on_the_card_changes(tmp_path: Path) -> None:
    put(tmp_path, "a.jpg", "b/c.jpg")
    before = {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")}
    card = Card(tmp_path)
    for file in card.listing().files:
        with card.open(file.path) as window:
            window.read(0, 1)
    assert {path: path.stat().st_mtime_ns for path in tmp_path.rglob("*")} == before


# ---- in another process ------------------------------------------------------------------------


def elsewhere(data: bytes) -> Card:
    """The card as another process has it."""
    card: Card = pickle.loads(data)  # noqa: S301  our own bytes
    return card


def test_a_card_pickles_as_its_root_and_looks_there_when_it_reads(tmp_path: Path) -> None:
    root = tmp_path / "card"
    put(root, "DCIM/100TIDES/IMG_0001.JPG", data=b"limpet")
    data = pickle.dumps(Card(root))
    shutil.move(root, tmp_path / "elsewhere")
    gone = elsewhere(data)
    with pytest.raises(errors.CardNotFound):
        gone.open("DCIM/100TIDES/IMG_0001.JPG")
    shutil.move(tmp_path / "elsewhere", root)
    with gone.open("DCIM/100TIDES/IMG_0001.JPG") as window:
        assert window.head == b"limpet"
    assert gone.bytes_read == len(b"limpet")
    assert [file.path for file in elsewhere(data).listing().files] == paths(root)


def test_a_card_of_a_relative_root_is_found_from_another_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    put(tmp_path / "card", "DCIM/100TIDES/IMG_0001.JPG")
    monkeypatch.chdir(tmp_path)
    data = pickle.dumps(Card(Path("card")))
    monkeypatch.chdir("/")
    assert len(elsewhere(data).listing().files) == 1


def test_a_shoot_that_is_read_as_a_card_is_so_in_another_process_too(tmp_path: Path) -> None:
    """And one that became a shoot meanwhile is refused there, every time."""
    put(tmp_path, "0001_limpet/IMG_0001.JPG")
    card, of_shoot = (
        pickle.dumps(each) for each in (Card(tmp_path), Card(tmp_path, of_shoot=True))
    )
    put(tmp_path, ".sorter/ledger.db")
    assert elsewhere(of_shoot).open("0001_limpet/IMG_0001.JPG").head == b"x"
    refused = elsewhere(card)
    for _ in range(2):
        with pytest.raises(errors.CardIsShoot):
            refused.open("0001_limpet/IMG_0001.JPG")
