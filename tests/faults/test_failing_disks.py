"""The sorter on cards and disks that fail in places, or are poor: all is named, and nothing is lost.

Poor disks have no exclusive renames, no second names, no types, nothing past the cache, as FAT and many
shares (from memory). See faulty.py for how they are made.
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
    NoSecondNames,
    NoStat,
    NoTypes,
    faulty,
)
from faults.mounting import killed, large_card, needed, said, sorter, started
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
DIRECT: list[tuple[Fault, ...]] = [(), (NoDirect(),)]
READS = ["taken", "refused"]
"""Whether the disk takes reads past the cache by O_DIRECT; else its pages are pushed out."""


@pytest.fixture(autouse=True)
def _there_is_a_disk() -> None:
    needed()


@pytest.fixture
def disk(base: Path) -> Iterator[Faulty]:
    """A disk without faults yet, and nothing on it."""
    with faulty(base / "disk", base / "below") as disk:
        yield disk


# ---- a card with a closed folder ---------------------------------------------------------------


@pytest.mark.parametrize("after", [None, 0], ids=["not opened", "not listed"])
@pytest.mark.parametrize("types", [(), (NoTypes(),)], ids=["types told", "no types"])
def test_a_closed_folder_is_named_and_the_rest_is_carried(
    disk: Faulty, tmp_path: Path, types: tuple[Fault, ...], after: int | None
) -> None:
    originals = contents(large_card(disk.mountpoint, 1))
    fault = ClosedFolder(ANEMONES, after=after)
    disk.now(fault, *types)
    for words in (("scan", disk.mountpoint), ("ingest", disk.mountpoint, tmp_path / "shoot")):
        done = sorter(*words)
        assert done.returncode == 1, said(done)
        assert ANEMONES in said(done)
    assert disk.met(fault) > 1
    hold_whole(tmp_path / "shoot", {path: originals[path] for path in originals if LIMPETS in path})


def test_a_folder_whose_listing_breaks_off_is_named(disk: Faulty, tmp_path: Path) -> None:
    originals = contents(limpets(disk.mountpoint, 6))
    disk.now(ClosedFolder(LIMPETS, after=5))
    done = sorter("ingest", disk.mountpoint, tmp_path / "shoot")
    assert done.returncode == 1, said(done)
    assert LIMPETS in said(done)
    disk.now()
    assert sorter("ingest", disk.mountpoint, tmp_path / "shoot").returncode == 0
    assert by_source(tmp_path / "shoot") == originals


# ---- a card that gives nothing back ------------------------------------------------------------


@pytest.mark.parametrize("copies", [1, 2])
def test_a_removal_that_fails_is_named_and_finished_later(
    disk: Faulty, base: Path, tmp_path: Path, copies: int
) -> None:
    originals = contents(limpets(disk.mountpoint))
    shoot = tmp_path / "shoot"
    fault = FailingUnlink(FIRST)
    disk.now(fault)
    words = ("ingest", disk.mountpoint, shoot, *MOVE)
    backup = ("--backup", tmp_path / "other") if copies > 1 else ()
    done = sorter(*words, *backup)
    assert disk.met(fault) > 0
    assert done.returncode == 1, said(done)
    assert FIRST in said(done)
    assert (base / "below" / FIRST).read_bytes() == originals[FIRST]
    hold_whole(shoot, originals)
    disk.now()
    done = sorter(*words, *backup)
    assert done.returncode == 0, said(done)
    assert contents(base / "below") == {}
    hold_whole(shoot, originals)


# ---- a shoot that is read back -----------------------------------------------------------------


@pytest.mark.parametrize("direct", DIRECT, ids=READS)
def test_copies_are_read_back_from_the_disk_and_not_from_memory(
    disk: Faulty, base: Path, direct: tuple[Fault, ...]
) -> None:
    large_card(base / "card", 1)
    shoot = disk.mountpoint / "shoot"
    disk.now(*direct)
    for command in (("ingest", base / "card", shoot), ("verify", shoot)):
        before = {path: disk.reads(shoot / path) for path in contents(shoot)}
        assert sorter(*command).returncode == 0
        for path in destinations(shoot).values():
            size = (shoot / path).stat().st_size
            assert disk.reads(shoot / path) - before.get(path, 0) >= size, path


@pytest.mark.parametrize("direct", DIRECT, ids=READS)
def test_verify_tells_a_flip_on_the_way_from_the_disk(
    disk: Faulty, base: Path, direct: tuple[Fault, ...]
) -> None:
    shoot = disk.mountpoint / "shoot"
    assert sorter("ingest", large_card(base / "card", 1), shoot).returncode == 0
    place = destinations(shoot)[FIRST]
    flip = FlipFirstRead(place, offset=300_000)
    disk.now(flip, *direct)
    done = sorter("verify", shoot)
    assert disk.met(flip) == 1
    assert done.returncode == 4, said(done)
    assert place in said(done)
    assert sorter("verify", shoot).returncode == 0


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


@pytest.mark.parametrize("fault", BAD, ids=BADLY)
def test_verify_names_what_it_cannot_read_and_goes_on_to_the_end(
    dying: Faulty, fault: Fault
) -> None:
    shoot = dying.mountpoint / "shoot"
    places = destinations(shoot)
    last = max(places.values())
    bad = places[f"{LIMPETS}/IMG_0002.JPG"]
    (shoot / last).write_bytes(b"the tide took it")
    dying.now(fault)
    done = sorter("verify", shoot)
    assert dying.met(fault) > 0
    assert done.returncode == 4, said(done)
    assert bad in said(done)
    assert last in said(done)
    assert last > bad
    assert f"{len(places) - 2} of {len(places)} files verified" in said(done)


@pytest.mark.parametrize("after", [None, 1], ids=["not opened", "not listed"])
def test_verify_names_a_folder_that_it_cannot_list(dying: Faulty, after: int | None) -> None:
    """Its files can be opened by their names, so all may be verified; what was added is not seen."""
    fault = ClosedFolder("0001_burst_4", after=after)
    dying.now(fault)
    done = sorter("verify", dying.mountpoint / "shoot")
    assert dying.met(fault) > 0
    assert done.returncode in (1, 4), said(done)
    assert "0001_burst_4" in said(done)


def test_verify_names_a_folder_that_it_cannot_ask_about(dying: Faulty) -> None:
    shoot = dying.mountpoint / "shoot"
    places = destinations(shoot).values()
    inside = [place for place in places if place.startswith("0001_burst_4/")]
    dying.now(NoStat("shoot/0001_burst_4"))
    done = sorter("verify", shoot)
    assert done.returncode == 4, said(done)
    assert [place for place in inside if place not in said(done)] == []
    whole = len(places) - len(inside)
    assert f"{whole} of {len(places)} files verified" in said(done)


@pytest.mark.parametrize("fault", BAD, ids=BADLY)
def test_a_repeated_ingest_names_what_it_cannot_read_in_the_shoot(
    dying: Faulty, base: Path, fault: Fault
) -> None:
    shoot = dying.mountpoint / "shoot"
    bad = destinations(shoot)[f"{LIMPETS}/IMG_0002.JPG"]
    picture(base / "good" / ANEMONES / "IMG_0010.JPG", 900, shade=11)
    dying.now(fault)
    done = sorter("ingest", base / "good", shoot)
    assert dying.met(fault) > 0
    assert done.returncode in (1, 4), said(done)
    assert bad in said(done)
    dying.now()
    assert (base / "good" / ANEMONES / "IMG_0010.JPG").read_bytes() in contents(shoot).values()


# ---- a shoot on a poor disk --------------------------------------------------------------------


NO_EXCLUSIVE: tuple[Fault, ...] = (NoExclusiveRename(),)
NO_SECOND: tuple[Fault, ...] = (NoExclusiveRename(), NoSecondNames())
NOTHING: tuple[Fault, ...] = (*NO_SECOND, NoDirect(), NoTypes())
MANY, HALF = 60, 25
"""Files of a card that takes long enough to be cut, and how many have their final names then."""


@pytest.mark.parametrize(
    ("poor", "options", "one_disk"),
    [
        pytest.param(NO_EXCLUSIVE, (), False, id="copied, no exclusive renames"),
        pytest.param(NO_EXCLUSIVE, MOVE, True, id="moved on one disk, no exclusive renames"),
        pytest.param(NO_SECOND, (), True, id="copied on one disk, no second names"),
        pytest.param(NO_SECOND, MOVE, False, id="moved, no second names"),
        pytest.param(NOTHING, MOVE, True, id="moved on one disk, nothing"),
        pytest.param(NOTHING, MOVE, False, id="moved, nothing"),
    ],
)
def test_an_ingest_onto_a_poor_disk_is_killed_and_goes_on(
    base: Path, poor: tuple[Fault, ...], options: tuple[str, ...], *, one_disk: bool
) -> None:
    with faulty(base / "disk", base / "below", *poor) as disk:
        card = (disk.mountpoint if one_disk else base) / "card"
        shoot = disk.mountpoint / "shoot"
        originals = contents(limpets(card, MANY // 2))
        process = started("ingest", card, shoot, *options)
        code = killed(process, lambda: placed(base / "below" / "shoot") > HALF)
        assert code < 0, "it was through before"
        nothing_is_lost(originals, card, shoot)
        assert sorter("ingest", card, shoot, *options).returncode == 0
        hold_whole(shoot, originals)
        assert contents(card) == ({} if options else originals)
        assert sorter("verify", shoot).returncode == 0


def placed(shoot: Path) -> int:
    """How many files have their final names."""
    return sum(len(list(folder.iterdir())) for folder in shoot.glob("0*"))


def nothing_is_lost(originals: dict[str, bytes], card: Path, shoot: Path) -> None:
    """Fails where an original is neither on the card nor in the shoot, or one there is partial."""
    left, there = contents(card), contents(shoot)
    waiting = [path.read_bytes() for path in (shoot / ".sorter").glob("unfinished/*")]
    known = {*there.values(), *waiting}
    assert [path for path, data in originals.items() if data not in (left.get(path), *known)] == []
    strange = {path for path, data in there.items() if data not in originals.values()}
    assert strange <= {"manifest.csv", "SHA256SUMS"}
