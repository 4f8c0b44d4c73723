"""Disks that fill at any size: a clean stop, nothing partial, and the same command ends it after."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest

from faults.cuts import nothing_is_lost
from faults.disks import ENOUGH, limited, may_mount, mounted, quota, resize
from faults.sampling import SHARE, Cuts
from faults.scenarios import (
    BATCH,
    SCENARIOS,
    Pool,
    Scenario,
    is_copied,
    is_taken_back,
    more,
    move,
    small_card,
    take_back,
)
from sorter.disk.shoot import Shoot
from sorter.errors import NoRoom, SorterError
from sorter.writing import carry
from writing.cards import contents, ingest

BLOCK = 4096
"""A disk in memory grows by whole pages."""
CAN_MOUNT = pytest.mark.skipif(not may_mount(), reason="mounting takes root: see the seeming disks")
WAYS = [pytest.param("mounted", marks=CAN_MOUNT), "seeming"]


@pytest.fixture(autouse=True)
def _no_look_before(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another program takes the room after the sorter looked how much there is."""
    monkeypatch.setattr(carry, "BATCH_FILES", BATCH)
    monkeypatch.setattr(Shoot, "free_space", lambda _: sys.maxsize)


def step_of(way: str) -> int:
    return BLOCK if way == "mounted" else 701


def sizes(cuts: Cuts, *what: object) -> Iterator[int]:
    """How many steps are left: every number from none on, or in a sample one of each few by chance."""
    if cuts.every:
        yield from count()
    yield 0
    chance = cuts.chance("full", *what)
    for low in count(1, SHARE):
        yield low + chance.randrange(SHARE)


def pool_at(base: Path) -> Pool:
    pool = Pool(base=base)
    small_card(pool.card)
    pool.originals = contents(pool.card)
    return pool


def stops(scenario: Scenario, pool: Pool) -> bool:
    """Whether the work was stopped by the disk, cleanly."""
    error = error_of(scenario, pool)
    nothing_is_lost(pool)
    if error is None:
        return False
    assert error.exit_code == 3, error
    assert "again" in str(error)
    return True


def error_of(scenario: Scenario, pool: Pool) -> SorterError | None:
    try:
        scenario.work(pool)
    except SorterError as error:
        return error
    return None


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", ["copy", "copy, forced at once", "move to another disk"])
def test_a_shoot_fills_at_any_size(
    base: Path, monkeypatch: pytest.MonkeyPatch, cuts: Cuts, name: str, way: str
) -> None:
    """At any, or at a sample of them: see sampling.py."""
    scenario = SCENARIOS[name]
    scenario.disk(monkeypatch)
    last = 0
    for stopped in sizes(cuts, name, way):
        pool = pool_at(base / str(stopped))
        with limited(pool.shoot, (stopped + 1) * step_of(way), way) as make_room:
            if not stops(scenario, pool):
                break
            make_room()
            last = stopped
            scenario.goes_on(pool)
            scenario.holds(pool)
    assert last >= 7


@pytest.mark.parametrize("way", WAYS)
def test_a_shoot_fills_while_more_comes(base: Path, cuts: Cuts, way: str) -> None:
    """The ledger grows there, and the manifest is written anew. By whole pages it is full a few times only."""
    last = 0
    for stopped in count() if way == "mounted" else sizes(cuts, "more"):
        pool = pool_at(base / str(stopped))
        with limited(pool.shoot, ENOUGH, way) as make_room:
            ingest(pool.card, pool.shoot)
            make_room()
            more(pool)
            pool.originals = contents(pool.card)
            left = stopped * step_of(way)
            if not fills_while(pool, way, left):
                break
            last = stopped
            ingest(pool.card, pool.shoot)
            is_copied(pool)
    assert last >= 3


def fills_while(pool: Pool, way: str, left: int, scenario: Scenario = SCENARIOS["copy"]) -> bool:
    """Whether work was stopped by a disk with so many bytes left; there is room again after."""
    if way == "mounted":
        resize(pool.shoot, ENOUGH - room(pool.shoot) + left)
        stopped = stops(scenario, pool)
        resize(pool.shoot, ENOUGH)
        return stopped
    used = sum(path.stat().st_size for path in pool.shoot.rglob("*") if path.is_file())
    with quota(pool.shoot, used + left):
        return stops(scenario, pool)


def room(folder: Path) -> int:
    about = os.statvfs(folder)
    return about.f_bavail * about.f_frsize


@pytest.mark.parametrize("way", WAYS)
def test_a_card_fills_while_a_move_is_taken_back(
    base: Path, monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    """The shoot lies on another disk, and something else came onto the card since."""
    scenario = SCENARIOS["undo of a move to another disk"]
    scenario.disk(monkeypatch)
    for stopped in count():
        pool = Pool(base=base / str(stopped))
        with limited(pool.card, ENOUGH, way) as make_room:
            small_card(pool.card)
            pool.originals = contents(pool.card)
            move(pool)
            make_room()
            if not card_fills(scenario, pool, way, (stopped + 1) * step_of(way)):
                break
            assert list(pool.card.rglob("*.sorter-unfinished")) == []
            scenario.goes_on(pool)
            is_taken_back(pool)
    assert stopped > 3


def card_fills(scenario: Scenario, pool: Pool, way: str, size: int) -> bool:
    """Whether an undo was stopped on a card that holds so many bytes; there is room again."""
    if way == "mounted":
        resize(pool.card, size)
        stopped = stops(scenario, pool)
        resize(pool.card, ENOUGH)
        return stopped
    with quota(pool.card, size):
        return stops(scenario, pool)


@CAN_MOUNT
@pytest.mark.parametrize("size", [BLOCK, 20 * BLOCK, 64 * BLOCK])
def test_a_disk_that_is_too_small_is_told_before_anything_is_done(
    base: Path, monkeypatch: pytest.MonkeyPatch, size: int
) -> None:
    monkeypatch.undo()
    pool = pool_at(base)
    with mounted(pool.shoot, "tmpfs", "-o", f"size={size}"):
        with pytest.raises(NoRoom, match="Nothing was done there: make room") as refused:
            ingest(pool.card, pool.shoot)
        assert refused.value.exit_code == 3
        assert list(pool.shoot.iterdir()) == []
        resize(pool.shoot, ENOUGH)
        ingest(pool.card, pool.shoot)
        is_copied(pool)


def test_an_undo_of_copies_needs_no_room(base: Path) -> None:
    pool = pool_at(base)
    ingest(pool.card, pool.shoot)
    with quota(pool.shoot, 0):
        take_back(pool)
    is_taken_back(pool)


@pytest.mark.parametrize("name", ["regrouping", "undo of a regrouping"])
@pytest.mark.parametrize("way", WAYS)
def test_a_shoot_fills_while_it_is_regrouped(base: Path, way: str, name: str) -> None:
    """The ledger grows, folders are made, and the lists are written anew."""
    scenario = SCENARIOS[name]
    for stopped in count():
        pool = pool_at(base / str(stopped))
        with limited(pool.shoot, ENOUGH, way) as make_room:
            scenario.prepare(pool)
            pool.originals = contents(pool.card)
            make_room()
            if not fills_while(pool, way, stopped * step_of(way), scenario):
                break
            scenario.work(pool)
            scenario.holds(pool)
    assert stopped > 0
