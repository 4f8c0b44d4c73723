"""The sorter on cards and shoots with faults: what it says, what it leaves, and that nothing is lost.

A reader that flips a bit once, a card whose files cannot all be asked about, removals that fail, a shoot
on a disk that is dying or poor: each as any program meets it, by a file system (see faulty.py).
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from faults.faulty import (
    ClosedFolder,
    FailingRead,
    FailingUnlink,
    Fault,
    Faulty,
    FlipFirstRead,
    NoDirect,
    NoExclusiveRename,
    NoStat,
    NoTypes,
    faulty,
)
from faults.mounting import hold_carried, large_card, needed, said, sorter
from writing.cards import (
    ANEMONES,
    LIMPETS,
    by_source,
    contents,
    destinations,
    hold_whole,
    limpets,
    picture,
)

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


# ---- a reader that flips a bit, once -----------------------------------------------------------


@pytest.mark.parametrize("direct", DIRECT, ids=READS)
def test_a_second_read_finds_the_flip_and_carries_what_is_true(
    card: Faulty, below: Path, shoot: Path, direct: tuple[Fault, ...]
) -> None:
    card.now(MIDDLE, *direct)
    done = sorter("ingest", card.mountpoint, shoot, "--reread")
    assert done.returncode == 0, said(done)
    assert card.met(MIDDLE) == 1
    assert FIRST in said(done)
    hold_whole(shoot, contents(below))


@pytest.mark.parametrize("direct", DIRECT, ids=READS)
def test_a_repeated_ingest_finds_the_copy_that_the_reader_spoiled(
    card: Faulty, below: Path, shoot: Path, direct: tuple[Fault, ...]
) -> None:
    card.now(MIDDLE, *direct)
    sorter("ingest", card.mountpoint, shoot)
    spoiled = destinations(shoot)[FIRST]
    assert (shoot / spoiled).read_bytes() != (below / FIRST).read_bytes()
    done = sorter("ingest", card.mountpoint, shoot)
    assert card.met(MIDDLE) == 1
    assert "IMG_0001.JPG" in said(done)
    assert (below / FIRST).read_bytes() in contents(shoot).values()


@pytest.mark.parametrize("direct", DIRECT, ids=READS)
def test_verifying_against_the_card_finds_the_copy_that_the_reader_spoiled(
    card: Faulty, below: Path, shoot: Path, direct: tuple[Fault, ...]
) -> None:
    card.now(MIDDLE, *direct)
    sorter("ingest", card.mountpoint, shoot)
    assert sorter("verify", shoot).returncode == 0, "the copy is what was read"
    before = {path: card.reads(card.mountpoint / path) for path in contents(below)}
    done = sorter("verify", shoot, "--card", card.mountpoint)
    assert done.returncode == 4, said(done)
    assert "IMG_0001.JPG" in said(done)
    for path, data in contents(below).items():
        assert card.reads(card.mountpoint / path) - before[path] >= len(data), path


# ---- a card that cannot be looked at in whole --------------------------------------------------


TYPES: list[tuple[Fault, ...]] = [(), (NoTypes(),)]
TOLD = ["types told", "no types"]


@pytest.mark.parametrize("command", ["scan", "ingest", "dry run"])
@pytest.mark.parametrize("types", TYPES, ids=TOLD)
def test_a_name_that_cannot_be_asked_about_is_named(
    card: Faulty, below: Path, shoot: Path, types: tuple[Fault, ...], command: str
) -> None:
    fault = NoStat(FIRST)
    card.now(fault, *types)
    done = sorter(*command_of(command, card, shoot))
    assert card.met(fault) > 0
    assert done.returncode == 1, said(done)
    assert FIRST in said(done)
    if command == "ingest":
        rest = {path: data for path, data in contents(below).items() if path != FIRST}
        hold_whole(shoot, rest)
    else:
        assert not shoot.exists()


def command_of(command: str, card: Faulty, shoot: Path) -> tuple[str | Path, ...]:
    if command == "scan":
        return ("scan", card.mountpoint)
    return ("ingest", card.mountpoint, shoot, *(("--dry-run",) if command == "dry run" else ()))


@pytest.mark.parametrize("command", ["scan", "ingest"])
@pytest.mark.parametrize("types", TYPES, ids=TOLD)
def test_a_folder_that_cannot_be_asked_about_is_named(
    card: Faulty, below: Path, shoot: Path, types: tuple[Fault, ...], command: str
) -> None:
    fault = NoStat(ANEMONES)
    card.now(fault, *types)
    done = sorter(*command_of(command, card, shoot))
    assert card.met(fault) > 0
    assert done.returncode == 1, said(done)
    assert ANEMONES in said(done)
    if command == "ingest":
        originals = contents(below)
        hold_whole(shoot, {path: originals[path] for path in originals if LIMPETS in path})


def test_a_name_that_can_be_asked_about_again_is_carried_then(
    card: Faulty, below: Path, shoot: Path
) -> None:
    card.now(NoStat(FIRST), NoTypes())
    sorter("ingest", card.mountpoint, shoot)
    card.now(NoTypes())
    done = sorter("ingest", card.mountpoint, shoot)
    assert done.returncode == 0, said(done)
    assert by_source(shoot) == contents(below)


def test_a_move_takes_no_part_of_a_frame_that_cannot_be_asked_about_in_whole(
    card: Faulty, below: Path, shoot: Path
) -> None:
    """The sidecar's picture may be there: what is not known of the card is not taken apart."""
    originals = contents(below)
    card.now(NoStat(FIRST), NoTypes())
    done = sorter("ingest", card.mountpoint, shoot, *MOVE)
    assert done.returncode == 1, said(done)
    assert FIRST in said(done)
    left = contents(below)
    assert left[FIRST] == originals[FIRST]
    hold_carried(shoot, {path: originals[path] for path in originals.keys() - left.keys()})


# ---- a card that gives nothing back ------------------------------------------------------------


def test_a_removal_that_fails_on_one_disk_leaves_no_file_twice(base: Path) -> None:
    """A rename by a second name and a removal: where that fails, the second name goes away again."""
    fault = FailingUnlink(FIRST)
    with faulty(base / "disk", base / "below", fault, NoExclusiveRename()) as disk:
        card, shoot = disk.mountpoint / "card", disk.mountpoint / "shoot"
        originals = contents(limpets(card))
        done = sorter("ingest", card, shoot, *MOVE)
        assert disk.met(fault) > 0
        assert done.returncode in (1, 3), said(done)
        assert FIRST in said(done)
        everywhere = [*contents(card).values(), *contents(shoot).values()]
        carried = [data for data in everywhere if data in originals.values()]
        assert sorted(carried) == sorted(originals.values())
        disk.now(NoExclusiveRename())
        done = sorter("ingest", card, shoot, *MOVE)
        assert done.returncode == 0, said(done)
        hold_whole(shoot, originals)
        assert contents(card) == {}


# ---- a shoot on a disk that is dying -----------------------------------------------------------


@pytest.fixture
def dying(base: Path) -> Iterator[Faulty]:
    """A disk with a shoot on it, and the card beside it in good order."""
    limpets(base / "good")
    picture(base / "good" / ANEMONES / "IMG_0009.JPG", 300, shade=7)
    with faulty(base / "disk", base / "below") as disk:
        assert sorter("ingest", base / "good", disk.mountpoint / "shoot").returncode == 0
        yield disk


BAD: list[Fault] = [FailingRead("IMG_0002.JPG"), NoStat("IMG_0002.JPG")]
BADLY = ["not read", "not asked about"]


@pytest.mark.parametrize("options", [(), MOVE], ids=["of a copy", "of a move"])
@pytest.mark.parametrize("fault", BAD, ids=BADLY)
def test_an_undo_names_what_it_cannot_read_and_keeps_it(
    base: Path, fault: Fault, options: tuple[str, ...]
) -> None:
    originals = contents(limpets(base / "good"))
    second = f"{LIMPETS}/IMG_0002.JPG"
    with faulty(base / "disk", base / "below") as disk:
        shoot = disk.mountpoint / "shoot"
        assert sorter("ingest", base / "good", shoot, *options).returncode == 0
        bad = destinations(shoot)[second]
        disk.now(fault)
        done = sorter("undo", shoot, "--yes")
        assert disk.met(fault) > 0
        assert done.returncode == 1, said(done)
        assert bad in said(done)
        disk.now()
        assert (shoot / bad).read_bytes() == originals[second]
        back = contents(base / "good")
        assert back.items() <= originals.items()
        if not options:
            assert back == originals
        else:
            assert back.keys() >= {path for path in originals if "IMG_0002" not in path}


def test_an_undo_of_a_shoot_with_a_closed_folder_goes_on_to_the_end(
    dying: Faulty, base: Path
) -> None:
    """Its files can be opened by their names, so it may well be taken back in whole."""
    originals = contents(base / "good")
    dying.now(ClosedFolder("0001_burst_4"))
    done = sorter("undo", dying.mountpoint / "shoot", "--yes")
    assert done.returncode in (0, 1), said(done)
    assert done.returncode == 0 or "0001_burst_4" in said(done)
    assert contents(base / "good") == originals
    dying.now()
    singles = dying.mountpoint / "shoot" / "singles"
    assert not singles.exists()
