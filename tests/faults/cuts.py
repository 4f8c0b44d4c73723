"""Every cut of a scenario: the work done up to a point, what was not forced spoiled, and run again."""

from __future__ import annotations

import json
import os
import shutil
import traceback
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import Final, TypeAlias

import pytest

from faults.dying import (
    NEVER,
    UNFINISHED,
    Death,
    Name,
    died,
    files_of,
    lose_names,
    one_after_the_other,
    spoil,
)
from faults.scenarios import BATCH, Pool, Scenario, small_card, two_disks
from sorter.writing import carry
from writing.cards import contents

PROCESSES: Final = 2
Wanted: TypeAlias = Callable[[int], Sequence[int]]
"""Which of the points from 1 to that number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """How many points there are, at how many of them how many cuts were tried, and what went wrong."""

    points: int
    at: int
    cuts: int
    faults: tuple[str, ...]


def every_cut(scenario: Scenario, base: Path, wanted: Wanted) -> Tried:
    """Each cut at the points of the scenario that are wanted, each process in a place of its own."""
    return _tried(scenario, base, wanted, PROCESSES, to_first=False)


def first_fault(scenario: Scenario, base: Path) -> Tried:
    """As many cuts as it takes to find a fault: a point in the middle first, then between and between."""
    return _tried(scenario, base, halving, 1, to_first=True)


def halving(count: int) -> list[int]:
    """All points from 1 on, far apart at first."""
    bits = count.bit_length()
    order = sorted(range(2**bits), key=lambda place: f"{place:0{bits}b}"[::-1])
    return [point for point in order[1:] if point <= count]


def _tried(
    scenario: Scenario, base: Path, wanted: Wanted, processes: int, *, to_first: bool
) -> Tried:
    with pytest.MonkeyPatch.context() as patch, one_after_the_other():
        patch.setattr(carry, "BATCH_FILES", BATCH)
        scenario.disk(patch)
        share = [
            _Share(scenario, base / str(k), wanted, slice(k, None, processes), to_first=to_first)
            for k in range(processes)
        ]
        tried = list(_in_processes([each.tried for each in share], base))
    return Tried(
        points=tried[0].points,
        at=sum(each.at for each in tried),
        cuts=sum(each.cuts for each in tried),
        faults=tuple(fault for each in tried for fault in each.faults),
    )


def cut_twice(scenario: Scenario, base: Path, points: tuple[int, int]) -> Pool:
    """Cut at a point, cut at another while it goes on, and ended; with threads as they are.

    Returns the place. Fails where something is lost on the way, or where it does not hold in the end.
    """
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(carry, "BATCH_FILES", BATCH)
        scenario.disk(patch)
        pool = prepared(scenario, base)
        for work, point in zip((scenario.work, scenario.goes_on), points, strict=True):
            died(partial(work, pool), point, pool.scratch)
            nothing_is_lost(pool)
        scenario.goes_on(pool)
        scenario.holds(pool)
    return pool


def prepared(
    scenario: Scenario, base: Path, make_card: Callable[[Path], object] = small_card
) -> Pool:
    """A new pool with a card, all that comes before the work done."""
    pool = Pool(base=base)
    make_card(pool.card)
    _remember(pool)
    scenario.prepare(pool)
    _remember(pool)
    return pool


def _remember(pool: Pool) -> None:
    """What is on the card now; copied for tools of others too, with its times."""
    pool.originals |= contents(pool.card)
    shutil.copytree(pool.card, pool.original, dirs_exist_ok=True)


def _in_processes(works: list[Callable[[], Tried]], base: Path) -> Iterator[Tried]:
    base.mkdir(parents=True, exist_ok=True)
    children = [_started(work, base / f"tried{place}.json") for place, work in enumerate(works)]
    for place, child in enumerate(children):
        os.waitpid(child, 0)
        told = json.loads((base / f"tried{place}.json").read_text())
        yield Tried(**{**told, "faults": tuple(told["faults"])})


def _started(work: Callable[[], Tried], told: Path) -> int:
    child = os.fork()
    if child:
        return child
    try:
        tried = work()
    except BaseException:  # noqa: BLE001  told as a fault
        tried = Tried(points=0, at=0, cuts=0, faults=(traceback.format_exc(),))
    try:
        told.write_text(json.dumps(asdict(tried)))
    finally:
        os._exit(0)


class _Share:
    """The cuts that fall to one process."""

    def __init__(
        self, scenario: Scenario, base: Path, wanted: Wanted, own: slice, *, to_first: bool
    ) -> None:
        self._scenario = scenario
        self._pool = Pool(base=base)
        self._before = base / "before"
        self._dead = base / "dead"
        self._wanted = wanted
        self._own = own
        self._to_first = to_first

    def tried(self) -> Tried:
        """The cuts that fall to us. The point behind the last is the end of the work."""
        self._pool = prepared(self._scenario, self._pool.base)
        shutil.copytree(self._pool.disk, self._before)
        points = self._cut(NEVER).point
        at, cuts, faults = 0, 0, []
        for point in self._wanted(points + 1)[self._own]:
            at += 1
            death = self._cut(point)
            for fault in self._endings(death, zeros=bool(point & 2), is_over=point > points):
                cuts += 1
                faults += [f"point {point}, {fault}"] if fault else []
            if faults and self._to_first:
                break
        return Tried(points=points, at=at, cuts=cuts, faults=tuple(faults))

    def _cut(self, point: int) -> Death:
        put(self._before, self._pool.disk)
        return died(lambda: self._scenario.work(self._pool), point, self._pool.scratch)

    def _endings(self, death: Death, *, zeros: bool, is_over: bool) -> Iterator[str]:
        """What went wrong after each of the ways in which the cut can end; empty where nothing did."""
        dirty = files_of(self._pool.disk, death.dirty)
        put(self._pool.disk, self._dead)
        for name, ending in _endings_of(death, dirty, self._roots(), zeros=zeros):
            put(self._dead, self._pool.disk)
            ending()
            fault = self._fault(dirty, is_over=is_over)
            yield f"before {death.verb}, {name}: {fault}" if fault else ""

    def _roots(self) -> tuple[Path, ...]:
        pool = self._pool
        return (pool.shoot, pool.card) if self._scenario.disk is two_disks else (pool.disk,)

    def _fault(self, dirty: Iterable[Path], *, is_over: bool) -> str:
        """What is wrong now, or after the work was ended. What was over needs no second run."""
        try:
            half = [path for path in dirty if not is_unfinished(path)]
            assert not half, f"under their final names, and never forced to the disk: {half}"
            nothing_is_lost(self._pool)
            if is_over:
                self._scenario.lasts(self._pool)
            self._scenario.goes_on(self._pool)
            self._scenario.holds(self._pool)
        except Exception as error:  # noqa: BLE001  every one is a fault of the work
            where = traceback.extract_tb(error.__traceback__)[-1]
            return f"{type(error).__name__}: {str(error)[:900]} ({where.name}, line {where.lineno})"
        return ""


def _endings_of(
    death: Death, dirty: list[Path], roots: Iterable[Path], *, zeros: bool
) -> Iterator[tuple[str, Callable[[], None]]]:
    """What a cut may leave behind: all that was done, or what was forced and no more.

    roots: the disks, each of which loses its names, or the last of them, apart from the others. Where
    names are lost, the bytes that were not forced are lost too.
    """
    yield "killed", lambda: None
    if dirty:
        yield "bytes lost", lambda: spoil(dirty, zeros=zeros)
    for root in roots:
        names = death.names_below(root)
        if names:
            yield f"names of the {root.name} lost", partial(_lose, dirty, names, zeros=zeros)
        if names[1:]:
            some = names[len(names) // 2 :]
            yield f"last names of the {root.name} lost", partial(_lose, dirty, some, zeros=zeros)


def _lose(dirty: list[Path], names: tuple[Name, ...], *, zeros: bool) -> None:
    spoil(dirty, zeros=zeros)
    lose_names(names)


def put(there: Path, here: Path) -> None:
    """The folder is a copy of the other one."""
    shutil.rmtree(here, ignore_errors=True)
    shutil.copytree(there, here, symlinks=True)


def is_unfinished(path: Path) -> bool:
    """Whether a file may be half-written where it lies."""
    inside, ending = UNFINISHED
    return inside in str(path) or str(path).endswith(ending)


def nothing_is_lost(pool: Pool) -> None:
    """Every original is on the card or in the shoot, under a final name or waiting for one; nothing is partial."""
    card, shoot = contents(pool.card), contents(pool.shoot)
    waiting = [path.read_bytes() for path in (pool.shoot / ".sorter").glob("unfinished/*")]
    there = {*shoot.values(), *waiting}
    lost = [path for path, data in pool.originals.items() if data not in (card.get(path), *there)]
    assert not lost, f"neither on the card nor in the shoot: {lost}"
    known = {*pool.originals.values(), *pool.strange}
    partial = [
        path
        for path, data in {**card, **shoot}.items()
        if data not in known
        and path not in ("manifest.csv", "SHA256SUMS")
        and not path.endswith(UNFINISHED[1])
    ]
    assert not partial, f"no file of the card under a final name: {partial}"
