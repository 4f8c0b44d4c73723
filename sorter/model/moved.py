"""Where the owner of a shoot moved its files: single files, and whole folders."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Relocation:
    """A file, or all files of a folder, from one place below the shoot to another.

    files: how many went. is_folder: before and after are folders, and all that is left of what the ledger
    has in the first lies in the second under the same names; the names of folders end with a slash.
    """

    before: str
    after: str
    files: int = 1
    is_folder: bool = False


def relocations(ways: Mapping[str, str], stay: Iterable[str]) -> tuple[Relocation, ...]:
    """The ways as few moves, in the order of where they began.

    ways: from where to where each file went. stay: the places of all others that are there still: a
    folder that holds one went nowhere as a whole, and neither did one of a single file.
    """
    kept = {folder_of(path) for path in stay}
    went: dict[str, list[tuple[str, str]]] = {}
    for before, after in ways.items():
        went.setdefault(folder_of(before), []).append((before, after))
    found: list[Relocation] = []
    for folder, pairs in went.items():
        target = "" if folder in kept else _target(folder, pairs)
        if target:
            whole = Relocation(
                before=f"{folder}/", after=f"{target}/", files=len(pairs), is_folder=True
            )
            found.append(whole)
        else:
            found += (Relocation(before=before, after=after) for before, after in pairs)
    return tuple(sorted(found, key=lambda move: move.before))


def _target(folder: str, pairs: list[tuple[str, str]]) -> str:
    """The folder to which all went under the same names; empty for none, and for the shoot itself."""
    targets = {folder_of(after) for _, after in pairs}
    same = all(name_of(before) == name_of(after) for before, after in pairs)
    return targets.pop() if folder and same and len(pairs) > 1 and len(targets) == 1 else ""


def folder_of(path: str) -> str:
    """The folder that holds the path; empty for the shoot itself."""
    return path.rpartition("/")[0]


def name_of(path: str) -> str:
    """The last part of a path."""
    return path.rpartition("/")[2]
