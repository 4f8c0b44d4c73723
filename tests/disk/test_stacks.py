"""Linking, copying and taking back, with the disks that do not play along."""

from __future__ import annotations

import errno
import hashlib
import os
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

from sorter.disk import stacks as door
from sorter.errors import NoRoom, OutputNotWritable

LIMPET = b"a limpet on its home scar\n" * 4000
DIGEST = hashlib.sha256(LIMPET).hexdigest()


def failing(number: int) -> Callable[..., None]:
    def fail(*_args: object, **_more: object) -> None:
        raise OSError(number, os.strerror(number))

    return fail


@pytest.fixture
def source(tmp_path: Path) -> Path:
    path = tmp_path / "shoot" / "IMG_0001.JPG"
    path.parent.mkdir()
    path.write_bytes(LIMPET)
    os.utime(path, ns=(1_779_022_931_000_000_000, 1_779_022_931_250_000_000))
    return path


@pytest.fixture
def target(tmp_path: Path) -> Path:
    (tmp_path / "out").mkdir()
    return tmp_path / "out" / "0001_IMG_0001.JPG"


@pytest.fixture
def no_links(monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk allows no hard links, or is another one than the shoot's."""
    monkeypatch.setattr(os, "link", failing(errno.EXDEV))


def place(source: Path, target: Path) -> bool:
    return door.place(source, target, size=len(LIMPET), sha256=DIGEST)


def left(target: Path) -> list[str]:
    return sorted(path.name for path in target.parent.iterdir())


def test_a_hard_link_where_the_disk_can(source: Path, target: Path) -> None:
    assert place(source, target) is False
    assert target.samefile(source)
    assert left(target) == [target.name]


@pytest.mark.parametrize("number", [errno.EXDEV, errno.EPERM, errno.EOPNOTSUPP, errno.EMLINK])
def test_else_a_copy_with_the_same_bytes_and_time(
    source: Path, target: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    monkeypatch.setattr(os, "link", failing(number))
    assert place(source, target) is True
    assert not target.samefile(source)
    assert target.read_bytes() == LIMPET
    assert target.stat().st_mtime_ns == source.stat().st_mtime_ns
    assert left(target) == [target.name]


@pytest.mark.usefixtures("no_links")
def test_a_copy_that_differs_on_the_disk_is_never_delivered(
    source: Path, target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fsync = os.fsync

    def spoil(handle: int) -> None:
        """A bit turns on its way to the disk."""
        fsync(handle)
        if stat.S_ISREG(os.fstat(handle).st_mode):
            os.pwrite(handle, b"\xff", 5)

    monkeypatch.setattr(os, "fsync", spoil)
    with pytest.raises(door.Spoiled, match="came out different"):
        place(source, target)
    assert left(target) == []


@pytest.mark.usefixtures("no_links")
def test_a_copy_that_is_cut_short_is_never_delivered(
    source: Path, target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fsync = os.fsync

    def cut(handle: int) -> None:
        fsync(handle)
        os.ftruncate(handle, 100)

    monkeypatch.setattr(os, "fsync", cut)
    with pytest.raises(door.Spoiled, match="came out different"):
        place(source, target)
    assert left(target) == []


@pytest.mark.usefixtures("no_links")
def test_a_file_of_the_shoot_that_changed_is_never_delivered(source: Path, target: Path) -> None:
    source.write_bytes(LIMPET.replace(b"home", b"lost"))
    with pytest.raises(door.Spoiled, match="no longer holds the bytes that were ingested"):
        place(source, target)
    assert left(target) == []


@pytest.mark.usefixtures("no_links")
def test_a_file_of_the_shoot_that_cannot_be_read_is_no_fault_of_the_target(
    source: Path, target: Path
) -> None:
    source.unlink()
    with pytest.raises(door.Spoiled, match=r"cannot be read \(No such file"):
        place(source, target)
    assert left(target) == []


@pytest.mark.usefixtures("no_links")
@pytest.mark.parametrize(
    ("number", "error"),
    [(errno.ENOSPC, NoRoom), (errno.EDQUOT, NoRoom), (errno.EIO, OutputNotWritable)],
)
def test_a_disk_that_fails_leaves_nothing_under_the_name(
    source: Path,
    target: Path,
    monkeypatch: pytest.MonkeyPatch,
    number: int,
    error: type[Exception],
) -> None:
    monkeypatch.setattr(os, "fsync", failing(number))
    with pytest.raises(error, match=os.strerror(number)):
        place(source, target)
    assert left(target) == []


@pytest.mark.usefixtures("no_links")
def test_ctrl_c_in_the_middle_leaves_nothing(
    source: Path, target: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(_handle: int) -> None:
        assert [name[:8] for name in left(target)] == [".sorter-"]  # never under its final name
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        place(source, target)
    assert left(target) == []


@pytest.mark.parametrize("links", [True, False])
def test_what_is_there_is_never_overwritten(
    source: Path, target: Path, monkeypatch: pytest.MonkeyPatch, *, links: bool
) -> None:
    if not links:
        monkeypatch.setattr(os, "link", failing(errno.EXDEV))
    target.write_bytes(b"an anemone")
    with pytest.raises(OutputNotWritable, match="File exists"):
        place(source, target)
    assert target.read_bytes() == b"an anemone"
    assert left(target) == [target.name]


def test_a_file_is_held_by_a_link_or_by_a_whole_copy_and_by_nothing_else(
    source: Path, target: Path
) -> None:
    def held() -> bool:
        return door.holds(target, source, size=len(LIMPET), sha256=DIGEST)

    assert not held()
    target.write_bytes(LIMPET)
    assert held()
    target.write_bytes(LIMPET[:-1])
    assert not held()
    target.write_bytes(LIMPET[:-1] + b"x")
    assert not held()
    target.unlink()
    target.symlink_to(source)
    assert not held()
    target.unlink()
    os.link(source, target)
    assert held()


def test_what_keeps_a_file_back_is_told(source: Path) -> None:
    size = len(LIMPET)
    assert door.obstacle(source, size) == ""
    assert f"has {size} bytes and not the {size + 1}" in door.obstacle(source, size + 1)
    assert door.obstacle(source.with_name("none"), size) == "is not there"
    assert door.obstacle(source / "below a file", size) == "is not there"
    assert door.obstacle(source.parent, size) == "is no plain file"
    link = source.with_name("link")
    link.symlink_to(source)
    assert door.obstacle(link, size) == "is no plain file"
    assert "File name too long" in door.obstacle(source.with_name("x" * 300), size)


def test_a_folder_tells_its_names_without_unfinished_ones(tmp_path: Path) -> None:
    assert door.names_in(tmp_path / "none") == frozenset()
    for name in ("A.JPG", ".sorter-0123456789ab.unfinished", ".sorter-mine"):
        (tmp_path / name).touch()
    assert door.names_in(tmp_path) == frozenset({"A.JPG", ".sorter-mine"})
    assert door.names_in(tmp_path / "A.JPG") is None
    (tmp_path / "link").symlink_to(tmp_path)
    assert door.names_in(tmp_path / "link") is None


def test_a_folder_that_cannot_be_listed_is_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Path, "iterdir", failing(errno.EACCES))
    with pytest.raises(OutputNotWritable, match="Permission denied"):
        door.names_in(tmp_path)


def test_unfinished_files_go_and_others_stay(tmp_path: Path) -> None:
    for name in ("A.JPG", ".sorter-0123456789ab.unfinished", ".sorter-mine"):
        (tmp_path / name).touch()
    door.remove_unfinished(tmp_path)
    assert sorted(path.name for path in tmp_path.iterdir()) == [".sorter-mine", "A.JPG"]
    door.remove_unfinished(tmp_path / "none")


def test_what_a_run_made_is_taken_back_and_the_rest_stays(source: Path, target: Path) -> None:
    place(source, target)
    other = target.with_name("B.JPG")
    other.touch()
    door.take_back(target.parent, [target.name, "none"])
    assert left(target) == ["B.JPG"]
    door.take_back(target.parent, ["B.JPG"])
    assert not target.parent.exists()
    assert source.read_bytes() == LIMPET


def test_a_folder_is_made_with_its_parents_or_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    door.make_folder(tmp_path / "a" / "b")
    door.make_folder(tmp_path / "a" / "b")
    assert (tmp_path / "a" / "b").is_dir()
    (tmp_path / "file").touch()
    for path in (tmp_path / "file", tmp_path / "file" / "below"):
        with pytest.raises(OutputNotWritable, match="Name a folder in another place"):
            door.make_folder(path)
    monkeypatch.setattr(os, "access", lambda *_: False)  # root may write anywhere
    with pytest.raises(OutputNotWritable, match="lets us write nothing"):
        door.make_folder(tmp_path / "a")
    monkeypatch.setattr(Path, "mkdir", failing(errno.ENOSPC))
    with pytest.raises(NoRoom, match="Make room"):
        door.make_folder(tmp_path / "c")


def test_a_list_on_a_full_disk_is_no_room_and_stays_what_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "0003.txt"
    door.write_list(path, b"limpet")
    for number, error in ((errno.ENOSPC, NoRoom), (errno.EIO, OutputNotWritable)):
        monkeypatch.setattr(os, "fsync", failing(number))
        with pytest.raises(error):
            door.write_list(path, b"anemone")
    assert path.read_bytes() == b"limpet"
    (tmp_path / "folder").mkdir()
    with pytest.raises(OutputNotWritable, match="is a folder"):
        door.write_list(tmp_path / "folder", b"limpet")


def test_a_place_is_told_through_links_and_before_it_is_there(tmp_path: Path) -> None:
    shoot = tmp_path / "shoot"
    shoot.mkdir()
    (tmp_path / "link").symlink_to(shoot)
    for inside in (shoot, shoot / "a" / "b", tmp_path / "link" / "a", shoot / "x" / ".." / "a"):
        assert door.lies_in(inside, [tmp_path / "none", shoot]) == shoot
    for outside in (tmp_path, tmp_path / "shoot2", shoot / ".."):
        assert door.lies_in(outside, [shoot]) is None
