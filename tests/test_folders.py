"""Folders of tests lie in memory only where there is enough of it."""

from __future__ import annotations

from pathlib import Path

import pytest

import folders

LOW, MUCH = "MemTotal: 900 kB\nMemAvailable: 512 kB\n", "MemFree: 1 kB\nMemAvailable: 64000000 kB\n"


@pytest.mark.parametrize(
    ("said", "count"), [(LOW, 524_288), (MUCH, 65_536_000_000), ("MemTotal: 900 kB\n", 0), ("", 0)]
)
def test_what_is_available_is_told_in_kilobytes(said: str, count: int) -> None:
    assert folders.available(said) == count


@pytest.mark.parametrize(("said", "room"), [(LOW, 600_000), (MUCH, 10**18)])
def test_where_memory_or_its_folder_is_short_folders_lie_on_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, said: str, room: int
) -> None:
    (tmp_path / "known").write_text(said)
    monkeypatch.setattr(folders, "ROOM", room)
    assert not folders.has_room(tmp_path, tmp_path / "known")


def test_where_both_are_there_they_lie_in_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "known").write_text(MUCH)
    monkeypatch.setattr(folders, "ROOM", 1)
    assert folders.has_room(tmp_path, tmp_path / "known")
    assert not folders.has_room(tmp_path / "nowhere", tmp_path / "known")
    assert not folders.has_room(tmp_path, tmp_path / "nowhere")


def test_tests_of_disks_have_a_real_one(pytestconfig: pytest.Config) -> None:
    for tests in folders.ON_DISK:
        assert (pytestconfig.rootpath / tests.partition("::")[0]).exists()
        assert folders.is_on_disk(f"{tests}test_it.py::test_it")
    assert not folders.is_on_disk("tests/writing/test_carry.py::test_it")
