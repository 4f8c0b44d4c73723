"""Which stack a picture was merged from, by its name or by its time. Pure."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from typing import Final

from sorter.handoff.naming import base_name, folded
from sorter.model.stack import Stack

BY_NAME: Final = "its name"
BY_SLICE: Final = "the name of a slice"
BY_TIME: Final = "its time"


def by_name(name: str, stacks: Iterable[Stack]) -> tuple[int, str] | None:
    """The stack whose name the file's begins with, or one of whose slices it names, and which it was.

    None where no stack's is in it, or more than one's.
    """
    stacks = tuple(stacks)
    stem = folded(name.rpartition(".")[0] or name)
    begun = {each.number: each.name for each in stacks if _begins(stem, folded(each.name))}
    longest = max(map(len, begun.values()), default=0)
    named = {number for number, each in begun.items() if len(each) == longest}
    if len(named) == 1:
        return named.pop(), BY_NAME
    sliced = {each.number for each in stacks if any(_holds(stem, one) for one in _stems(each))}
    return (sliced.pop(), BY_SLICE) if len(sliced) == 1 else None


def by_time(captured: str, camera: str, stacks: Iterable[Stack]) -> tuple[int, str] | None:
    """The one stack that was being taken at this time by this camera; None where there is not one.

    captured: as the manifest writes it. Offsets are left aside, for programs drop them.
    """
    time = _local(captured)
    if not time:
        return None
    found = {
        each.number
        for each in stacks
        if _span(each)[0] <= time <= _span(each)[1] and camera in _cameras(each, camera)
    }
    return (found.pop(), BY_TIME) if len(found) == 1 else None


def _begins(stem: str, name: str) -> bool:
    return stem.startswith(name) and not stem[len(name) : len(name) + 1].isalnum()


def _holds(stem: str, name: str) -> bool:
    """Whether the name stands there by itself, and not as a part of a longer one."""
    return re.search(rf"(?<![^\W_]){re.escape(name)}(?![^\W_])", stem) is not None


def _stems(stack: Stack) -> set[str]:
    names = (base_name(each.row.destination) for each in stack.slices)
    return {folded(name.rpartition(".")[0] or name) for name in names}


def _span(stack: Stack) -> tuple[str, str]:
    """When the stack was begun and ended, to the second; a span that holds nothing where untold."""
    times = sorted(filter(None, (_local(each.row.captured) for each in stack.slices)))
    return (times[0], times[-1]) if times else ("~", "")


def _local(captured: str) -> str:
    """The time to the second, without its fraction and its offset."""
    return captured[:19]


def _cameras(stack: Stack, own: str) -> Collection[str]:
    """The cameras that it may have been; any where one of the two does not tell."""
    known = {each.row.camera for each in stack.slices}
    return {own} if not own or "" in known else known
