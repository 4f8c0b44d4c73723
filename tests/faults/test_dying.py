"""A disk that dies at any call: nothing is lost, and the same command ends what was begun.

The tests at the end show that the disk sees what it looks for: each breaks a rule of the sorter.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

import pytest

from faults.cuts import cut_twice, every_cut, first_fault
from faults.sampling import SHARE, Cuts
from faults.scenarios import SCENARIOS, Pool
from outside.tools import differences, rebuilt, unlike_their_digests
from sorter.disk.files import NewFile, force_file, rename_new
from sorter.disk.shoot import Shoot
from sorter.model.change import Change
from sorter.model.operation import OperationState
from sorter.model.plan import Entry, State
from sorter.writing.ledger import Ledger
from writing.cards import by_source


@pytest.mark.parametrize("name", SCENARIOS)
def test_after_every_cut(base: Path, cuts: Cuts, name: str) -> None:
    """At every point, or at a sample of them: see sampling.py."""
    tried = every_cut(SCENARIOS[name], base, lambda count: cuts.points(count, name))
    assert not tried.faults, "\n".join(tried.faults)
    assert tried.points > 15
    assert tried.at == (tried.points + 1 if cuts.every else min(SHARE + 2, tried.points + 1))
    assert tried.cuts > tried.at + (5 if cuts.every else 0)


@pytest.mark.parametrize("name", SCENARIOS)
def test_after_two_cuts_while_threads_are_at_work(base: Path, cuts: Cuts, name: str) -> None:
    chance = cuts.chance("two cuts", name)
    for place in range(4 if cuts.every else 1):
        points = (chance.randrange(1, 80), chance.randrange(1, 60))
        tools_find_nothing(cut_twice(SCENARIOS[name], base / str(place), points))


def tools_find_nothing(pool: Pool) -> None:
    """Where the files are in a copy, and where they are back on the card: bytes and times."""
    for folder in (pool.shoot, pool.other):
        if (folder / "SHA256SUMS").exists():
            assert unlike_their_digests(folder) == []
        if sources_in(folder) == pool.originals.keys():
            again = rebuilt(folder, pool.base / f"{folder.name} rebuilt")
            assert differences(pool.original, again) == []
        elif folder == pool.shoot:
            assert differences(pool.original, pool.card) == []


def sources_in(folder: Path) -> set[str]:
    return set(by_source(folder)) if (folder / "manifest.csv").exists() else set()


# ---- that it would see what it looks for -------------------------------------------------------


def files_are_not_forced(patch: pytest.MonkeyPatch) -> None:
    _forces_only(patch, stat.S_ISDIR)


def folders_are_not_forced(patch: pytest.MonkeyPatch) -> None:
    _forces_only(patch, stat.S_ISREG)


def _forces_only(patch: pytest.MonkeyPatch, is_forced: Callable[[int], bool]) -> None:
    force = os.fsync
    patch.setattr(
        os, "fsync", lambda handle: force(handle) if is_forced(os.fstat(handle).st_mode) else None
    )


def forcing_all_forces_nothing(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(Shoot, "force_all", lambda _: True)


def copies_are_noted_only_when_placed(patch: pytest.MonkeyPatch) -> None:
    note = Ledger.note

    def late(self: Ledger, entries: Iterable[Entry]) -> None:
        note(self, [each for each in entries if each.state is not State.VERIFIED])

    patch.setattr(Ledger, "note", late)


def copies_are_noted_as_placed_before_they_are(patch: pytest.MonkeyPatch) -> None:
    note = Ledger.note

    def early(self: Ledger, entries: Iterable[Entry]) -> None:
        placed = {State.VERIFIED: State.PLACED}
        note(self, [replace(each, state=placed.get(each.state, each.state)) for each in entries])

    patch.setattr(Ledger, "note", early)


def the_card_is_emptied_before_copies_are_noted(patch: pytest.MonkeyPatch) -> None:
    note, cards = Ledger.note, Ledger.runs

    def late(self: Ledger, entries: Iterable[Entry]) -> None:
        entries = list(entries)
        for each in entries:
            if each.moves and each.state is State.VERIFIED:
                os.unlink(f"{cards(self)[-1].card}/{each.row.source}")  # noqa: PTH108  as it is watched
        note(self, entries)

    patch.setattr(Ledger, "note", late)


def the_shoot_is_emptied_before_the_card_is_filled(patch: pytest.MonkeyPatch) -> None:
    def early(self: Shoot, path: str, source: str, _: tuple[int, str]) -> None:
        data = (self.root / path).read_bytes()
        self.remove(path)
        with NewFile(f"{source}.sorter-unfinished") as file:
            file.write(memoryview(data))
        force_file(f"{source}.sorter-unfinished")
        rename_new(f"{source}.sorter-unfinished", source)

    patch.setattr(Shoot, "copy_back", early)


def an_undo_is_forgotten_before_its_files_are_gone(patch: pytest.MonkeyPatch) -> None:
    set_state = Ledger.set_state

    def early(self: Ledger, run: int, state: OperationState) -> None:
        set_state(self, run, state)
        if state is OperationState.UNDOING:
            self.forget(run)

    patch.setattr(Ledger, "set_state", early)


def files_are_moved_before_that_is_noted(patch: pytest.MonkeyPatch) -> None:
    add = Ledger.add_regrouping

    def late(self: Ledger, changes: Iterable[Change]) -> int:
        changes = tuple(changes)
        for each in changes:
            if each.moves:
                root = Shoot(self._hidden.parent)
                root.move(each.before.row.destination, each.after.row.destination)
        return add(self, changes)

    patch.setattr(Ledger, "add_regrouping", late)


def a_regrouping_is_ended_before_its_files_are_moved(patch: pytest.MonkeyPatch) -> None:
    changes = Ledger.changes

    def early(self: Ledger, regrouping: int) -> tuple[Change, ...]:
        self.end_regrouping(regrouping)
        return changes(self, regrouping)

    patch.setattr(Ledger, "changes", early)


BROKEN: list[tuple[Callable[[pytest.MonkeyPatch], None], str]] = [
    (files_are_not_forced, "copy"),
    (files_are_not_forced, "move to another disk"),
    (files_are_not_forced, "copy of a card that grew"),
    (files_are_not_forced, "undo of a move to another disk"),
    (folders_are_not_forced, "copy"),
    (folders_are_not_forced, "move on one disk"),
    (folders_are_not_forced, "move to another disk"),
    (folders_are_not_forced, "undo of a move on one disk"),
    (folders_are_not_forced, "undo of a move to another disk"),
    (forcing_all_forces_nothing, "copy, forced at once"),
    (copies_are_noted_only_when_placed, "copy"),
    (copies_are_noted_only_when_placed, "move on one disk"),
    (the_card_is_emptied_before_copies_are_noted, "move to another disk"),
    (the_shoot_is_emptied_before_the_card_is_filled, "undo of a move to another disk"),
    (an_undo_is_forgotten_before_its_files_are_gone, "undo of a copy"),
    (folders_are_not_forced, "regrouping"),
    (files_are_moved_before_that_is_noted, "regrouping"),
    (a_regrouping_is_ended_before_its_files_are_moved, "regrouping"),
]


@pytest.mark.parametrize("name", ["copy", "move on one disk"])
def test_a_copy_that_is_noted_as_placed_too_early_is_missed_and_carried_again(
    base: Path, cuts: Cuts, name: str
) -> None:
    """What an earlier run noted counts for nothing: its copies are looked for, and read."""
    whole = SCENARIOS[name]

    def work(pool: Pool) -> None:
        copies_are_noted_as_placed_before_they_are(pytest.MonkeyPatch())
        whole.work(pool)

    early = replace(whole, work=work, finish=whole.goes_on)
    tried = every_cut(early, base, lambda count: cuts.points(count, name))
    assert tried.points > 10
    assert tried.faults == ()


@pytest.mark.parametrize(
    ("broken", "name"), BROKEN, ids=lambda each: getattr(each, "__name__", each)
)
def test_a_broken_rule_is_found(
    base: Path, broken: Callable[[pytest.MonkeyPatch], None], name: str
) -> None:
    """Broken in the child that dies, behind the watch that is kept there; the run after it is sound."""
    whole = SCENARIOS[name]

    def work(pool: Pool) -> None:
        broken(pytest.MonkeyPatch())
        whole.work(pool)

    tried = first_fault(replace(whole, work=work, finish=whole.goes_on), base)
    assert tried.points > 10, tried.faults
    assert tried.faults
