"""Stacks become lists and folders on the disk."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from sorter.disk import stacks as disk
from sorter.errors import BadChoice
from sorter.handoff.lists import cannot_be_listed, list_text, refuse_shoot
from sorter.handoff.naming import first_part
from sorter.model.plan import Entry, State
from sorter.model.stack import Handed, LeftOut, Slice, Stack

_PART: Final = " Its folder still holds the part of it that a stopped run made."


def refuse_shoots_own(shoot: Path, target: Path, entries: Iterable[Entry]) -> None:
    """Returns where the target is none of the places in which the shoot keeps its own files.

    These are the shoot itself, `.sorter`, and every folder that holds files of a card; other
    folders in the shoot will do. Nothing is written to find out. Raises BadChoice.
    """
    held = {first_part(each.row.destination) for each in entries if each.state is State.PLACED}
    own = [shoot / name for name in sorted({*held, ".sorter"} - {""})]
    inside = disk.lies_in(target, own)
    if inside is None and disk.lies_in(target, [shoot]) and disk.lies_in(shoot, [target]):
        inside = shoot  # each lies in the other: they are one
    if inside is not None:
        raise BadChoice(
            f"{target} is where the shoot keeps its own files ({inside}). Name a folder outside of "
            f"it, or a new one in it such as {shoot / 'stacks'}."
        )


def refuse_lists(shoot: Path, lists: Path, folders: Path | None, stacks: Iterable[Stack]) -> None:
    """Returns where lists can be written there and hold the shoot's path.

    Raises BadChoice, and OutputNotWritable where something is there that no list takes the place of.
    """
    refuse_shoot(str(shoot))
    names = [each.name for each in stacks]
    inside = disk.lies_in(lists, [folders / name for name in names] if folders else [])
    if inside is not None:
        raise BadChoice(
            f"--list {lists} lies in {inside}, which is to hold a stack and nothing else. "
            "Name another folder for the lists."
        )
    for name in names:
        disk.check_list(lists / f"{name}.txt")


def obstacle(shoot: Path, stack: Stack) -> str:
    """The first file that keeps the stack from being handed over; empty where none does."""
    for each in stack.slices:
        reason = disk.obstacle(shoot / each.row.destination, each.row.bytes)
        if reason:
            ask = disk.ASK_ADOPT if reason == disk.NOT_THERE else disk.ASK_VERIFY
            return f"{each.row.destination} {reason}. {ask}"
    return ""


def unlistable(stack: Stack, instead: str) -> str:
    """The first file that no list can name, and what to do instead; empty where there is none."""
    for each in stack.slices:
        reason = cannot_be_listed(each.row.destination)
        if reason:
            return f"{each.row.destination} {reason}, and cannot be listed. {instead}"
    return ""


@dataclass(slots=True, kw_only=True)
class Delivery:
    """Hands stacks over, one after the other.

    shoot, lists, folders: absolute paths; lists and folders None where they are not asked for.
    progress: told how many slices of all are done.
    """

    shoot: Path
    lists: Path | None
    folders: Path | None
    progress: Callable[[int, int], None]
    _done: int = field(default=0, init=False)
    _total: int = field(default=0, init=False)

    def hand_over(self, stacks: tuple[Stack, ...]) -> tuple[Handed | LeftOut, ...]:
        """What became of each stack. One that cannot be handed over does not keep back the others.

        Raises OutputNotWritable, NoRoom.
        """
        for target in (self.lists, self.folders):
            if stacks and target is not None:
                disk.make_folder(target)
        self._total = sum(len(stack.slices) for stack in stacks)
        return tuple(self._hand_over(stack) for stack in stacks)

    def _hand_over(self, stack: Stack) -> Handed | LeftOut:
        before = self._done
        reason = obstacle(self.shoot, stack)
        if not reason and self.lists is not None:
            reason = unlistable(stack, "Use only --folders.")
        outcome = _left_out(stack, reason) if reason else self._deliver(stack)
        self._done = before
        self._step(len(stack.slices))
        return outcome

    def _deliver(self, stack: Stack) -> Handed | LeftOut:
        outcome: Handed | LeftOut = Handed(stack=stack)
        if self.folders is not None:
            outcome = self._fill(self.folders / stack.name, stack)
        if self.lists is not None and isinstance(outcome, Handed):
            text = list_text(str(self.shoot), stack)
            disk.write_list(self.lists / f"{stack.name}.txt", text.encode())
        return outcome

    # ---- folders ----------------------------------------------------------------------------

    def _fill(self, folder: Path, stack: Stack) -> Handed | LeftOut:
        there = disk.names_in(folder)
        if there is None:
            return _left_out(stack, f"{folder} is no folder. Move it away, or name another DIR.")
        if unknown := self._unknown_entry(folder, stack, there):
            return _left_out(stack, _about_unknown_entry(folder, unknown))
        todo = [each for each in stack.slices if each.name not in there]
        self._step(len(stack.slices) - len(todo))
        if todo:
            disk.make_folder(folder)
        disk.remove_unfinished(folder)
        return self._fill_up(folder, stack, todo)

    def _fill_up(self, folder: Path, stack: Stack, todo: list[Slice]) -> Handed | LeftOut:
        copied: dict[str, bool] = {}
        for each in todo:
            row = each.row
            try:
                copied[each.name] = disk.place(
                    self._source(each), folder / each.name, size=row.bytes, sha256=row.sha256
                )
            except disk.Spoiled as why:
                disk.take_back(folder, copied)
                part = _PART if len(todo) < len(stack.slices) else ""
                return _left_out(stack, f"{each.row.destination} {why}{part}")
            self._step()
        disk.settle(folder)
        copies = sum(copied.values())
        return Handed(
            stack=stack, linked=len(copied) - copies, copied=copies, there_already=not todo
        )

    def _unknown_entry(self, folder: Path, stack: Stack, there: frozenset[str]) -> str:
        """The name of something in the folder that is no slice of this stack; empty where none is."""
        wanted = {each.name: each for each in stack.slices}
        for name in sorted(there):
            if name not in wanted or not self._is_held(folder / name, wanted[name]):
                return name
        return ""

    def _is_held(self, path: Path, each: Slice) -> bool:
        row = each.row
        return disk.holds(path, self._source(each), size=row.bytes, sha256=row.sha256)

    def _source(self, each: Slice) -> Path:
        return self.shoot / each.row.destination

    def _step(self, slices: int = 1) -> None:
        self._done += slices
        self.progress(self._done, self._total)


def _left_out(stack: Stack, reason: str) -> LeftOut:
    return LeftOut(number=stack.number, name=stack.name, reason=reason)


def _about_unknown_entry(folder: Path, name: str) -> str:
    return (
        f"{folder} holds {name}, which is no slice of this stack as it is asked for now. Nothing in "
        "it was touched: move that folder away, or name another DIR."
    )
