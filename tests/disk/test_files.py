"""A rename that replaces nothing, where the file system has no call for it: by a second name."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from sorter.disk.files import rename_new
from writing.faults import no_way_to_rename

DATA = b"a limpet"


@pytest.fixture
def paths(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, Path]:
    """A file, and where it is to go, on a file system of second names."""
    no_way_to_rename(monkeypatch, second_names=True)
    (tmp_path / "one").write_bytes(DATA)
    return tmp_path / "one", tmp_path / "two"


def fails(
    patch: pytest.MonkeyPatch, number: int, *paths: Path, after: Callable[[str], None] | None = None
) -> None:
    """Taking these names away fails. after: done before the failure is told."""
    unlink = os.unlink

    def fail(path: str) -> None:
        if Path(path) in paths:
            if after is not None:
                after(path)
            raise OSError(number, os.strerror(number), path)
        unlink(path)

    patch.setattr(os, "unlink", fail)


def names(one: Path) -> list[str]:
    return sorted(path.name for path in one.parent.iterdir())


@pytest.mark.parametrize("number", [errno.EIO, errno.EACCES, errno.EROFS])
def test_a_file_that_keeps_its_first_name_loses_the_second_again(
    paths: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    one, two = paths
    with monkeypatch.context() as patch:
        fails(patch, number, one)
        with pytest.raises(OSError, match=os.strerror(number)):
            rename_new(str(one), str(two))
    assert (names(one), one.read_bytes()) == (["one"], DATA)
    rename_new(str(one), str(two))
    assert (names(one), two.read_bytes()) == (["two"], DATA)


def test_what_may_not_be_taken_away_may_still_be_renamed(
    paths: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """EPERM may mean that the file system knows no second names, so that the last way is tried too."""
    one, two = paths
    with monkeypatch.context() as patch:
        fails(patch, errno.EPERM, one)
        rename_new(str(one), str(two))
    assert (names(one), two.read_bytes()) == (["two"], DATA)


@pytest.mark.parametrize("number", [errno.EIO, errno.EPERM])
def test_where_both_names_stay_the_next_try_ends_it(
    paths: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    """It is told as what it is, and not as if another file were in the way."""
    one, two = paths
    with monkeypatch.context() as patch:
        fails(patch, number, one, two)
        for _ in range(2):
            with pytest.raises(OSError, match=os.strerror(number)) as told:
                rename_new(str(one), str(two))
            assert told.value.errno == number
    assert names(one) == ["one", "two"]
    rename_new(str(one), str(two))
    assert (names(one), two.read_bytes()) == (["two"], DATA)


def test_a_disk_that_lies_about_its_failure_loses_nothing(
    paths: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first name is gone, and the system says that this failed: the second is the only one."""
    one, two = paths
    unlink = os.unlink
    with monkeypatch.context() as patch:
        fails(patch, errno.EIO, one, after=unlink)
        with pytest.raises(OSError, match="Input/output error"):
            rename_new(str(one), str(two))
    assert (names(one), two.read_bytes()) == (["two"], DATA)


def test_a_first_name_that_somebody_else_took_away_is_no_failure(
    paths: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    one, two = paths
    unlink = os.unlink
    with monkeypatch.context() as patch:
        fails(patch, errno.ENOENT, one, after=unlink)
        rename_new(str(one), str(two))
    assert (names(one), two.read_bytes()) == (["two"], DATA)


def test_another_file_in_its_place_is_never_touched(
    paths: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    one, two = paths
    two.write_bytes(b"a crab")
    with monkeypatch.context() as patch:
        fails(patch, errno.EIO, one)
        with pytest.raises(FileExistsError):
            rename_new(str(one), str(two))
    assert (one.read_bytes(), two.read_bytes()) == (DATA, b"a crab")
