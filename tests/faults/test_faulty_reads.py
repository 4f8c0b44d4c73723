"""Reads past the page cache: a reader that flips a bit once, and files that other programs have in memory.

The disk counts what is read below the cache (see faulty.py), so a second read that never came from it
is seen as such.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from faults.faulty import Fault, Faulty, FlipFirstRead, NoDirect, faulty
from faults.mounting import hold_carried, large_card, mapped, needed, on_one_line, said, sorter
from writing.cards import LIMPETS, by_source, contents, destinations

FIRST = f"{LIMPETS}/IMG_0001.JPG"
MOVE = ("--move", "--yes")
MIDDLE = FlipFirstRead(FIRST, offset=300_000, bit=3)
"""Where nothing but the carrying itself reads."""
DIRECT: list[tuple[Fault, ...]] = [(), (NoDirect(),)]
READS = ["taken", "refused"]
"""Whether the disk takes reads past the cache by O_DIRECT; else its pages are pushed out."""


@pytest.fixture(autouse=True)
def _there_is_a_disk() -> None:
    needed()


@pytest.fixture
def below(base: Path) -> Path:
    """What truly lies on the card."""
    return base / "below"


@pytest.fixture
def card(base: Path, below: Path) -> Iterator[Faulty]:
    """A card of large files that nobody has read yet."""
    large_card(below)
    assert (below / FIRST).stat().st_size > 500_000
    with faulty(base / "card", below) as disk:
        yield disk


@pytest.fixture
def shoot(tmp_path: Path) -> Path:
    """A place for a shoot, on another disk than the card."""
    return tmp_path / "shoot"


# ---- what is copied, once and again ------------------------------------------------------------


@pytest.mark.parametrize("place", [0, 5000, -1])
def test_a_flip_where_the_scan_reads_too_is_not_carried(
    card: Faulty, below: Path, shoot: Path, place: int
) -> None:
    """It may take the frame for another, and says so then; its bytes are the card's all the same."""
    flip = FlipFirstRead(FIRST, offset=place % (below / FIRST).stat().st_size)
    card.now(flip)
    done = sorter("ingest", card.mountpoint, shoot, "--reread")
    assert card.met(flip) == 1
    assert done.returncode in (0, 1), said(done)
    assert by_source(shoot) == contents(below)


@pytest.mark.parametrize("direct", DIRECT, ids=READS)
def test_a_second_read_is_one_of_the_card(
    card: Faulty, below: Path, shoot: Path, direct: tuple[Fault, ...]
) -> None:
    card.now(*direct)
    assert sorter("ingest", card.mountpoint, shoot, "--reread").returncode == 0
    for path, data in contents(below).items():
        assert card.reads(card.mountpoint / path) >= 2 * len(data), path


def test_what_was_read_once_is_called_so(card: Faulty, shoot: Path) -> None:
    done = sorter("ingest", card.mountpoint, shoot)
    assert done.returncode == 0
    assert "as the card gave it, read once" in on_one_line(done)


@pytest.mark.parametrize("direct", DIRECT, ids=READS)
def test_a_repeated_ingest_reads_the_card_and_not_the_cache(
    card: Faulty, below: Path, shoot: Path, direct: tuple[Fault, ...]
) -> None:
    card.now(*direct)
    assert sorter("ingest", card.mountpoint, shoot).returncode == 0
    before = {path: card.reads(card.mountpoint / path) for path in contents(below)}
    assert sorter("ingest", card.mountpoint, shoot).returncode == 0
    for path, data in contents(below).items():
        assert card.reads(card.mountpoint / path) - before[path] >= len(data), path


def test_a_repeated_ingest_reads_what_another_program_has_mapped_from_the_card(
    card: Faulty, shoot: Path
) -> None:
    """Pages that are mapped stay where they are: only O_DIRECT goes past them."""
    assert sorter("ingest", card.mountpoint, shoot).returncode == 0
    with mapped(card.mountpoint / FIRST) as size:
        before = card.reads(card.mountpoint / FIRST)
        assert sorter("ingest", card.mountpoint, shoot).returncode == 0
        assert card.reads(card.mountpoint / FIRST) - before >= size


# ---- what a move takes off the card ------------------------------------------------------------


@pytest.mark.parametrize("copies", [1, 2])
@pytest.mark.parametrize("direct", DIRECT, ids=READS)
def test_a_move_removes_no_original_whose_second_read_is_another(
    card: Faulty,
    below: Path,
    shoot: Path,
    tmp_path: Path,
    *,
    direct: tuple[Fault, ...],
    copies: int,
) -> None:
    originals = contents(below)
    card.now(MIDDLE, *direct)
    backup = ("--backup", tmp_path / "other") if copies > 1 else ()
    done = sorter("ingest", card.mountpoint, shoot, *MOVE, *backup)
    assert card.met(MIDDLE) == 1
    assert done.returncode in (1, 4), said(done)
    assert FIRST in said(done)
    left = contents(below)
    assert left[FIRST] == originals[FIRST]
    assert left == {path: originals[path] for path in left}
    hold_carried(shoot, {path: originals[path] for path in originals.keys() - left.keys()})


def test_a_move_takes_nothing_off_the_card_that_was_perhaps_read_from_memory(
    card: Faulty, below: Path, shoot: Path
) -> None:
    """Another program has the file mapped, so its pages cannot be pushed out, and no error is told."""
    card.now(NoDirect())
    with mapped(card.mountpoint / FIRST):
        done = sorter("ingest", card.mountpoint, shoot, *MOVE)
    assert done.returncode == 1, said(done)
    assert "perhaps from memory" in on_one_line(done)
    assert FIRST in contents(below)


# ---- what is verified --------------------------------------------------------------------------


@pytest.fixture
def mapped_copy(base: Path, card: Faulty) -> Iterator[tuple[Faulty, Path]]:
    """A shoot on a disk of its own, and a copy there that another program has in memory."""
    with faulty(base / "disk", base / "there") as disk:
        shoot = disk.mountpoint / "shoot"
        assert sorter("ingest", card.mountpoint, shoot).returncode == 0
        copy = shoot / destinations(shoot)[FIRST]
        with mapped(copy):
            yield disk, copy


def test_verify_reads_what_another_program_has_mapped_from_the_disk(
    mapped_copy: tuple[Faulty, Path],
) -> None:
    disk, copy = mapped_copy
    before = disk.reads(copy)
    assert sorter("verify", copy.parents[1]).returncode == 0
    assert disk.reads(copy) - before >= copy.stat().st_size


def test_verify_says_what_was_perhaps_read_from_memory(mapped_copy: tuple[Faulty, Path]) -> None:
    disk, copy = mapped_copy
    disk.now(NoDirect())
    assert "perhaps from memory" in on_one_line(sorter("verify", copy.parents[1]))
