"""A disk that gives another bit than was written: on the way back once or twice, or later on.

Where the file itself changes on the disk, tests/writing (carry, verify, repeat, undo) has the cases;
here what lies there is good, or turns bad between two commands, and the command says so.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from faults.scenarios import two_disks
from sorter.cli import commands
from sorter.disk import streams
from writing.cards import LIMPETS, by_source, contents, destinations, found, hold_whole, limpets

FIRST, SIDECAR = f"{LIMPETS}/IMG_0001.JPG", f"{LIMPETS}/IMG_0001.xmp"
PLACES: dict[str, Callable[[int], int]] = {
    "first byte": lambda _: 0,
    "in the middle": lambda size: size // 2,
    "last byte": lambda size: size - 1,
}
BITS = [0, 7]


@pytest.fixture
def card(base: Path) -> Path:
    return limpets(base / "card", 3)


@pytest.fixture
def shoot(base: Path) -> Path:
    return base / "shoot"


def sorter(*arguments: str | Path) -> Result:
    return CliRunner().invoke(commands, [*map(str, arguments)], prog_name="sorter")


def lies(
    patch: pytest.MonkeyPatch, root: Path, data: bytes, *, times: int, at: int, bit: int
) -> None:
    """So many times, who reads a file of these bytes below the folder gets one bit that is another."""
    left, read_at = [times], streams._read_at  # noqa: SLF001  the one place where files are read whole

    def lie(handle: int, memory: memoryview, start: int) -> int:
        count = read_at(handle, memory, start)
        if left[0] and start <= at < start + count and _is_below(handle, root, data):
            left[0] -= 1
            memory[at - start] ^= 1 << bit
        return count

    patch.setattr(streams, "_read_at", lie)


def _is_below(handle: int, root: Path, data: bytes) -> bool:
    about = os.fstat(handle)
    if about.st_size != len(data) or os.pread(handle, len(data), 0) != data:
        return False
    files = (path for path in root.rglob("*") if path.is_file())
    return any(os.path.samestat(about, path.stat()) for path in files)


def flip(path: Path, place: Callable[[int], int], bit: int) -> None:
    """The file on the disk has another bit; its size and times are as they were."""
    about, data = path.stat(), bytearray(path.read_bytes())
    data[place(len(data))] ^= 1 << bit
    path.write_bytes(data)
    os.utime(path, ns=(about.st_atime_ns, about.st_mtime_ns))


# ---- while it is read back ---------------------------------------------------------------------


@pytest.mark.parametrize("bit", BITS)
@pytest.mark.parametrize("place", PLACES)
def test_once_and_the_file_is_copied_again(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, place: str, bit: int
) -> None:
    data = (card / FIRST).read_bytes()
    lies(monkeypatch, shoot, data, times=1, at=PLACES[place](len(data)), bit=bit)
    assert sorter("ingest", card, shoot).exit_code == 0
    hold_whole(shoot, contents(card))


@pytest.mark.parametrize("bit", BITS)
@pytest.mark.parametrize("place", PLACES)
def test_twice_and_it_never_has_a_final_name(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, place: str, bit: int
) -> None:
    originals = contents(card)
    data = originals[FIRST]
    with monkeypatch.context() as patch:
        lies(patch, shoot, data, times=2, at=PLACES[place](len(data)), bit=bit)
        told = sorter("ingest", card, shoot)
    assert told.exit_code == 4
    assert FIRST in told.stdout
    assert data not in contents(shoot).values()
    assert by_source(shoot) == {path: originals[path] for path in originals if path != FIRST}
    assert sorter("ingest", card, shoot).exit_code == 0
    hold_whole(shoot, originals)


def test_twice_and_a_move_leaves_the_whole_frame_on_the_card(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    two_disks(monkeypatch)
    with monkeypatch.context() as patch:
        lies(patch, shoot, originals[FIRST], times=2, at=5, bit=3)
        assert sorter("ingest", card, shoot, "--move", "--yes").exit_code == 4
    assert contents(card) == {path: originals[path] for path in (FIRST, SIDECAR)}
    assert sorter("ingest", card, shoot, "--move", "--yes").exit_code == 0
    hold_whole(shoot, originals)
    assert contents(card) == {}


# ---- later on ----------------------------------------------------------------------------------


@pytest.mark.parametrize("place", PLACES)
def test_a_lie_to_verify_is_told_and_changes_nothing(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, place: str
) -> None:
    sorter("ingest", card, shoot)
    data = (card / FIRST).read_bytes()
    lies(monkeypatch, shoot, data, times=1, at=PLACES[place](len(data)), bit=0)
    told = sorter("verify", shoot)
    assert told.exit_code == 4
    assert destinations(shoot)[FIRST] in told.stdout
    assert sorter("verify", shoot).exit_code == 0


@pytest.mark.parametrize("bit", BITS)
@pytest.mark.parametrize("place", PLACES)
def test_a_flip_after_all_was_well_is_found_and_carried_beside(
    card: Path, shoot: Path, place: str, bit: int
) -> None:
    sorter("ingest", card, shoot)
    spoiled = destinations(shoot)[FIRST]
    flip(shoot / spoiled, PLACES[place], bit)
    assert found(shoot).changed == [spoiled]
    assert sorter("verify", shoot).exit_code == 4
    told = sorter("ingest", card, shoot)
    assert spoiled in told.stdout
    good = [path for path, data in contents(shoot).items() if data == (card / FIRST).read_bytes()]
    assert len(good) == 1
    assert spoiled not in good


@pytest.mark.parametrize("place", PLACES)
def test_a_flip_before_an_undo_keeps_the_file_where_it_is(
    card: Path, shoot: Path, place: str
) -> None:
    """Of a copy and of a move: nothing says which of two is the good one."""
    originals = contents(card)
    for options in ((), ("--move", "--yes")):
        sorter("ingest", card, shoot, *options)
        spoiled = shoot / destinations(shoot)[FIRST]
        flip(spoiled, PLACES[place], 4)
        told = sorter("undo", shoot, "--yes")
        assert told.exit_code == 1
        assert spoiled.name in told.stdout
        assert spoiled.exists()
        flip(spoiled, PLACES[place], 4)
        if options:
            assert sorter("undo", shoot, "--yes").exit_code == 0
        else:
            spoiled.unlink()
            spoiled.parent.rmdir()
        assert contents(card) == originals
        assert not shoot.exists() or not contents(shoot)


@pytest.mark.parametrize("place", PLACES)
def test_a_lie_of_the_card_while_a_move_comes_back_stops_the_undo(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, place: str
) -> None:
    originals = contents(card)
    two_disks(monkeypatch)
    sorter("ingest", card, shoot, "--move", "--yes")
    data = originals[FIRST]
    with monkeypatch.context() as patch:
        lies(patch, card, data, times=1, at=PLACES[place](len(data)), bit=2)
        assert sorter("undo", shoot, "--yes").exit_code == 3
    assert data in contents(shoot).values()
    assert sorter("undo", shoot, "--yes").exit_code == 0
    assert contents(card) == originals
    assert not shoot.exists()


def test_a_copy_back_that_turned_bad_on_the_card_never_has_its_final_name(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once it has, the next undo takes it for another file in this place, and the moved one stays."""
    originals = contents(card)
    two_disks(monkeypatch)
    sorter("ingest", card, shoot, "--move", "--yes")
    force = os.fsync

    def spoil(handle: int) -> None:
        force(handle)
        for path in card.rglob("*.sorter-unfinished"):
            flip(path, PLACES["in the middle"], 1)

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", spoil)
        assert sorter("undo", shoot, "--yes").exit_code == 3
    assert contents(card).items() <= originals.items()
    assert sorter("undo", shoot, "--yes").exit_code == 0
    assert contents(card) == originals
