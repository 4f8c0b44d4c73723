"""A card that takes no write: a copy does not try one, a move copies and names what stays."""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from click.testing import CliRunner

from faults.disks import ENOUGH, may_mount, mounted
from sorter.cli import commands
from sorter.disk import files as door
from writing.cards import contents, hold_whole, ingest, limpets, tree

CAN_MOUNT = pytest.mark.skipif(not may_mount(), reason="mounting takes root: see the seeming card")
WAYS = [
    pytest.param("bound", marks=CAN_MOUNT),
    pytest.param("a disk of its own", marks=CAN_MOUNT),
    "seeming",
]


@contextmanager
def read_only(way: str, base: Path) -> Iterator[Path]:
    """A card of four frames with sidecars, which nothing can be written to."""
    card = base / "card"
    if way == "bound":
        with mounted(card, str(limpets(base / "there")), "--bind", "-o", "ro"):
            yield card
    elif way == "seeming":
        with pytest.MonkeyPatch.context() as patch:
            _refuse(patch, limpets(card))
            yield card
    else:
        with mounted(card, "tmpfs", "-o", f"size={ENOUGH}"):
            limpets(card)
            with mounted(base / "view", str(card), "--bind", "-o", "ro"):
                yield base / "view"


def _refuse(patch: pytest.MonkeyPatch, card: Path) -> None:
    unlink, rename = os.unlink, door._rename_exclusive  # noqa: SLF001  what a move does to a card

    def no_unlink(path: str) -> None:
        _check(path)
        unlink(path)

    def no_rename(source: str, target: str) -> None:
        _check(source)
        rename(source, target)

    def _check(path: str) -> None:
        if card in Path(path).parents:
            raise OSError(errno.EROFS, os.strerror(errno.EROFS), path)

    patch.setattr(os, "unlink", no_unlink)
    patch.setattr(door, "_rename_exclusive", no_rename)


@contextmanager
def tried_on(card: Path) -> Iterator[list[str]]:
    """What is tried on the card that would change it."""
    tried: list[str] = []

    def watch(patch: pytest.MonkeyPatch, owner: object, verb: str) -> None:
        done = getattr(owner, verb)

        def call(*given: object, **named: object) -> object:
            paths = [Path(each) for each in given if isinstance(each, (str, Path))]
            writes = verb != "open" or (given[1:] and int(str(given[1])) & (os.O_CREAT | 3))
            if writes and any(card in path.parents for path in paths):
                tried.append(f"{verb} {paths[0]}")
            return done(*given, **named)

        patch.setattr(owner, verb, call)

    with pytest.MonkeyPatch.context() as patch:
        for verb in ("open", "unlink", "rename", "replace", "link", "mkdir", "rmdir", "utime"):
            watch(patch, os, verb)
        watch(patch, door, "_rename_exclusive")
        yield tried


def sorter(*arguments: str | Path) -> tuple[int, str]:
    told = CliRunner().invoke(commands, [*map(str, arguments)], prog_name="sorter")
    return told.exit_code, told.stdout


@pytest.mark.parametrize("way", WAYS)
def test_a_copy_tries_nothing_on_it(base: Path, way: str) -> None:
    with read_only(way, base) as card:
        before, originals = tree(card), contents(card)
        with tried_on(card) as tried:
            assert sorter("ingest", card, base / "shoot")[0] == 0
        assert tried == []
        hold_whole(base / "shoot", originals)
        assert tree(card) == before


@pytest.mark.parametrize("way", WAYS)
def test_a_move_copies_and_names_what_stays(base: Path, way: str) -> None:
    with read_only(way, base) as card:
        before, originals = tree(card), contents(card)
        code, told = sorter("ingest", card, base / "shoot", "--move", "--yes")
        assert code == 1
        assert "still on the card" in told
        assert all(path in told for path in originals), told
        hold_whole(base / "shoot", originals)
        assert tree(card) == before


def test_what_is_tried_is_seen(base: Path) -> None:
    card = limpets(base / "card")
    with tried_on(card) as tried, contextlib.suppress(OSError):
        ingest(card, base / "shoot", moves=True)
    assert len(tried) == len(contents(base / "shoot").keys() - {"manifest.csv", "SHA256SUMS"})
