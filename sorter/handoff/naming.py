"""What stacks and their slices are called. Pure."""

from __future__ import annotations

import unicodedata
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from sorter.errors import BadChoice
from sorter.model.folders import SHARED
from sorter.model.moved import folder_of
from sorter.model.plan import Entry
from sorter.model.stack import Slice, Stack

LEAST_DIGITS: Final = 4
MOST_BYTES: Final = 255  # of a name, on every file system that cards and disks have
_LONGEST_EXTENSION: Final = 32  # bytes; a longer one is no extension to be kept whole
# What no stack is called: no folder at all, and the folders that many sequences share in a shoot.
_NO_NAMES: Final = SHARED | {"", ".", ".."}


def base_name(path: str) -> str:
    """The last part of a path."""
    return path.rpartition("/")[2]


def first_part(path: str) -> str:
    """The folder that a path begins with; empty where it has none."""
    return path.partition("/")[0] if "/" in path else ""


def numbered(frames: Sequence[Sequence[Entry]]) -> tuple[Slice, ...]:
    """The files of the frames, named so that sorted by name they stand in just this order.

    Before the name stands the frame's number with as many digits as the last one has, four at
    least. Files of one frame share a number and stand in the order of their names' bytes.
    """
    digits = max(LEAST_DIGITS, len(str(len(frames))))
    slices: list[Slice] = []
    for number, files in enumerate(frames, 1):
        slices += _of_one_frame(number, f"{number:0{digits}d}_", files)
    return tuple(slices)


def stack_names(entries: Iterable[Entry]) -> dict[int, str]:
    """What each sequence is called: as the folder that holds it and no other, wherever that lies.

    Where there is none (singles share one; later ingests may find a sequence in several), or where it
    lies deeper and another has a folder of the same name: number, kind and frames. Its first own folder
    counts, by position.
    """
    owners: dict[str, set[int | None]] = {}
    of_frames: list[tuple[int, int, str]] = []
    for entry in entries:
        row, folder = entry.row, folder_of(entry.row.destination)
        owners.setdefault(folder, set()).add(row.sequence)
        if row.sequence is not None and row.position is not None:
            of_frames.append((row.sequence, row.position, folder))
    own: dict[int, str] = {}
    for number, _, folder in sorted(of_frames):
        if len(owners[folder]) == 1 and base_name(folder) not in _NO_NAMES:
            own.setdefault(number, folder)
    shared = Counter(folded(base_name(folder)) for folder in own.values())
    return {
        number: base_name(folder)
        for number, folder in own.items()
        if "/" not in folder or shared[folded(base_name(folder))] == 1
    }


def plain_name(entry: Entry) -> str:
    """A name for a sequence that has no folder of its own, out of one of its files."""
    row = entry.row
    return f"{row.sequence:0{LEAST_DIGITS}d}_{row.kind}_{row.frames or 1}"


def refuse_same_names(stacks: Iterable[Stack]) -> None:
    """Returns where no two stacks would be written to one place.

    Raises BadChoice where two have names that some system takes for one.
    """
    known: dict[str, Stack] = {}
    for stack in stacks:
        other = known.setdefault(folded(stack.name), stack)
        if other is not stack:
            raise BadChoice(
                f"the sequences {other.number} and {stack.number} would both be handed over as "
                f"{stack.name}. Choose one of them with --only, and a DIR of its own for each."
            )


def in_bytes(name: str) -> bytes:
    """The name as the system writes it."""
    return name.encode("utf-8", "surrogateescape")


def _of_one_frame(number: int, before: str, files: Sequence[Entry]) -> list[Slice]:
    names: dict[str, Slice] = {}
    for entry in files:
        name = _free_name(before + base_name(entry.row.destination), names)
        names[folded(name)] = Slice(row=entry.row, number=number, name=name)
    return sorted(names.values(), key=lambda each: in_bytes(each.name))


def _free_name(name: str, taken: Mapping[str, object]) -> str:
    """The name, with a number before its extension where a file of the same frame has it.

    What is too long for a name of the file system is cut before that.
    """
    stem, dot, extension = name.rpartition(".")
    if not dot or len(in_bytes(extension)) > _LONGEST_EXTENSION:
        stem, dot, extension = name, "", ""
    free, count = _fitting(stem, f"{dot}{extension}"), 1
    while folded(free) in taken:
        count += 1
        free = _fitting(stem, f"_{count}{dot}{extension}")
    return free


def _fitting(stem: str, rest: str) -> str:
    """Both, with as much of the stem as leaves room for the rest, and no part of a sign."""
    room = MOST_BYTES - len(in_bytes(rest))
    if len(in_bytes(stem)) <= room:
        return stem + rest
    return in_bytes(stem)[:room].decode(errors="ignore") + rest


def folded(name: str) -> str:
    """The name as systems see it that take capitals for small letters, and é for e with its accent."""
    return unicodedata.normalize("NFC", name).casefold()
