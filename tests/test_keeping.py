"""What is made once and kept: once, whole, anew where anything changed, and not for ever."""

from __future__ import annotations

import multiprocessing
import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from cardmaking import pictures
from keeping import DAY_S, HOME, kept, prune

LIMPETS = "DCIM/limpets.jpg"


def made(folder: Path) -> None:
    (folder / "DCIM").mkdir()
    (folder / LIMPETS).write_bytes(b"limpets")


@pytest.fixture
def source(tmp_path: Path) -> Path:
    """What the maker is told by."""
    (path := tmp_path / "maker.py").write_text("limpets = 7")
    return path


@pytest.fixture
def ask(tmp_path: Path, source: Path) -> Callable[..., Path]:
    """Asks for the pool, as whoever needs it does."""
    return lambda make=made, name="pool": kept(name, [source], make, tmp_path / "kept")


def never(_: Path) -> None:
    pytest.fail("it was made again")


def test_it_is_made_once(ask: Callable[..., Path]) -> None:
    assert (ask() / LIMPETS).read_bytes() == b"limpets"
    assert (ask(never) / LIMPETS).read_bytes() == b"limpets"


def test_another_source_makes_another(ask: Callable[..., Path], source: Path) -> None:
    first = ask()
    source.write_text("limpets = 8")
    assert ask() != first
    source.write_text("limpets = 7")
    assert ask(never) == first


def grown(folder: Path) -> None:
    (folder / "whelks.txt").touch()


def touched(folder: Path) -> None:
    os.utime(folder / LIMPETS, ns=(0, 0))


def cut(folder: Path) -> None:
    (folder / LIMPETS).write_bytes(b"limpet")


def lost(folder: Path) -> None:
    (folder / LIMPETS).unlink()


@pytest.mark.parametrize("spoil", [grown, touched, cut, lost])
def test_what_was_changed_is_made_anew(
    ask: Callable[..., Path], spoil: Callable[[Path], None]
) -> None:
    spoil(ask())
    found = ask()
    assert sorted(path.name for path in found.rglob("*.*")) == ["limpets.jpg", "whole.json"]
    assert (found / LIMPETS).read_bytes() == b"limpets"
    ask(never)


def fails(folder: Path) -> None:
    made(folder)
    raise OSError("the tide came in")


def dies(folder: Path) -> None:
    made(folder)
    os.kill(os.getpid(), signal.SIGKILL)


def test_a_maker_that_fails_leaves_nothing(ask: Callable[..., Path], tmp_path: Path) -> None:
    with pytest.raises(OSError, match="tide"):
        ask(fails)
    assert [path.name for path in (tmp_path / "kept").iterdir()] == ["pool.lock"]
    ask()


def test_a_maker_that_is_killed_leaves_no_half(ask: Callable[..., Path], tmp_path: Path) -> None:
    child = multiprocessing.get_context("fork").Process(target=ask, args=(dies,))
    child.start()
    child.join()
    assert child.exitcode == -signal.SIGKILL
    assert len(list((tmp_path / "kept").glob("pool.making.*"))) == 1
    assert (ask() / LIMPETS).read_bytes() == b"limpets"
    assert list((tmp_path / "kept").glob("pool.making.*")) == []


def test_of_two_at_once_one_makes_and_the_other_waits(
    ask: Callable[..., Path], tmp_path: Path
) -> None:
    def slowly(folder: Path) -> None:
        with (tmp_path / "makers").open("a") as file:
            file.write("one\n")
        time.sleep(0.3)
        made(folder)

    fork = multiprocessing.get_context("fork")
    children = [fork.Process(target=ask, args=(slowly,)) for _ in range(3)]
    for child in children:
        child.start()
    for child in children:
        child.join()
    assert [child.exitcode for child in children] == [0, 0, 0]
    assert (tmp_path / "makers").read_text() == "one\n"
    ask(never)


def aged(path: Path, seconds: float) -> Path:
    then = time.time() - seconds
    os.utime(path, (then, then))
    return path


def test_what_nobody_asked_for_since_yesterday_is_removed(
    ask: Callable[..., Path], source: Path
) -> None:
    old, other = ask(), ask(name="pool of others")
    source.write_text("limpets = 8")
    late = ask()
    aged(old, DAY_S + 60)
    aged(other, DAY_S + 60)
    aged(late, DAY_S - 60)
    source.write_text("limpets = 9")
    new = ask()
    assert not old.exists()
    assert late.exists()
    assert new.exists()
    assert other.exists(), "it has another name, and may be in use"


def test_pictures_that_nobody_asked_for_are_removed(tmp_path: Path) -> None:
    def asked(number: int) -> None:
        shown = pictures.encoded(number, make=lambda: (b"preview", b"small"), folder=tmp_path)
        assert shown == (b"preview", b"small")

    asked(1)
    asked(2)
    for path in tmp_path.iterdir():
        aged(path, pictures.UNUSED_S + 60)
    asked(2)
    pictures.tidy(tmp_path)
    assert len(list(tmp_path.iterdir())) == 1
    asked(2)


def test_the_place_of_what_is_kept_is_no_part_of_the_repository() -> None:
    assert HOME.parts[-2:] == ("build", "kept")
    assert "/build/" in (HOME.parents[1] / ".gitignore").read_text().splitlines()


def test_nothing_is_removed_of_what_is_not_there(tmp_path: Path) -> None:
    prune([tmp_path / "gone"], 0)
    assert list(tmp_path.iterdir()) == []
