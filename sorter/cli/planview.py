"""A plan as a tree, and what an ingest, a verification or an undo has to say at its end. Pure."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from sorter.cli import phrases
from sorter.model.note import texts
from sorter.model.plan import Entry, Placement

BRANCH: Final = "├── "
LAST_BRANCH: Final = "└── "
TRUNK: Final = "│   "
NO_TRUNK: Final = "    "
MOST_NAMED: Final = 20

_NUMBERED: Final = re.compile(r"(.*?)(\d+)(\.[^.]*)?")


@dataclass(slots=True)
class _NumberedFiles:
    """Files of one kind of name whose numbers follow each other."""

    first: str
    last: str
    count: int
    number: int


def tree(root: str, placements: Iterable[Placement]) -> tuple[str, ...]:
    """The plan's folders and names; names that count on share a line, with how many they are.

    A file that gets another name than it has on the card stands alone, with its source.
    """
    folders: dict[str, list[Placement]] = {}
    for placement in placements:
        folder = placement.row.destination.rpartition("/")[0]
        folders.setdefault(folder, []).append(placement)
    lines = [phrases.safe(root)]
    for place, (folder, inside) in enumerate(sorted(folders.items()), 1):
        last = place == len(folders)
        size = sum(each.row.bytes for each in inside)
        counted = phrases.counted(len(inside), "file", "files")
        head = f"{phrases.safe(folder)}/  {counted}, {phrases.amount(size)}"
        lines.append(f"{LAST_BRANCH if last else BRANCH}{head}")
        lines += _twigs(inside, NO_TRUNK if last else TRUNK)
    return tuple(lines)


def _twigs(inside: list[Placement], trunk: str) -> Iterator[str]:
    texts = [*_renamed(inside), *_runs(sorted(_names_kept(inside), key=_by_ending))]
    for place, text in enumerate(texts, 1):
        yield f"{trunk}{LAST_BRANCH if place == len(texts) else BRANCH}{phrases.safe(text)}"


def _name(path: str) -> str:
    return path.rpartition("/")[2]


def _names_kept(inside: Iterable[Placement]) -> Iterator[str]:
    for each in inside:
        if _name(each.row.source) == _name(each.row.destination):
            yield _name(each.row.destination)


def _renamed(inside: Iterable[Placement]) -> Iterator[str]:
    for each in inside:
        name = _name(each.row.destination)
        if name != _name(each.row.source):
            yield f"{name}  (on the card {each.row.source})"


def _by_ending(name: str) -> tuple[str, str]:
    return name.rpartition(".")[2], name


def _runs(names: Iterable[str]) -> Iterator[str]:
    run: _NumberedFiles | None = None
    for name in names:
        number = _follows(run, name)
        if run is not None and number is not None:
            run.last, run.number, run.count = name, number, run.count + 1
            continue
        if run is not None:
            yield _run_text(run)
        parts = _NUMBERED.fullmatch(name)
        run = _NumberedFiles(name, name, 1, int(parts[2]) if parts else -1)
    if run is not None:
        yield _run_text(run)


def _follows(run: _NumberedFiles | None, name: str) -> int | None:
    """The name's number where it counts on from the run; else None."""
    parts = _NUMBERED.fullmatch(name)
    before = _NUMBERED.fullmatch(run.last) if run else None
    if run is None or parts is None or before is None:
        return None
    alike = (parts[1], parts[3]) == (before[1], before[3])
    number = int(parts[2])
    return number if alike and number == run.number + 1 else None


def _run_text(run: _NumberedFiles) -> str:
    if run.count == 1:
        return run.first
    between = " " if run.count == 2 else " … "  # noqa: PLR2004
    return f"{run.first}{between}{run.last}  {run.count} files"


# ---- the last lines -------------------------------------------------------------------------


def folders(entries: Iterable[Entry]) -> tuple[tuple[str, int, int], ...]:
    """Folder, files and bytes of what was carried, in the order of the folders' names."""
    found: dict[str, tuple[int, int]] = {}
    for entry in entries:
        folder = entry.row.destination.rpartition("/")[0]
        count, size = found.get(folder, (0, 0))
        found[folder] = count + 1, size + entry.row.bytes
    return tuple((folder, *found[folder]) for folder in sorted(found))


def named(
    heading: str, texts: Iterable[str], *, rest: str = "; the manifest names them all"
) -> Iterator[str]:
    """A heading and some of the texts, each a line; the rest counted. Nothing where there are none."""
    texts = list(texts)
    if not texts:
        return
    yield heading
    yield from (f"  {phrases.safe(text)}" for text in texts[:MOST_NAMED])
    if len(texts) > MOST_NAMED:
        yield f"  and {len(texts) - MOST_NAMED} more{rest}"


def with_notes(placement: Placement) -> str:
    """The file's path on the card, and what its row says of it; else what carrying had to say."""
    notes = ", ".join(texts(placement.row.remarks) or map(str, placement.carrying_notes))
    return f"{placement.row.source}: {notes}" if notes else placement.row.source


def with_reason(entry: Entry) -> str:
    """The file's path on the card, and what is said of it."""
    notes = tuple(map(str, entry.placement.carrying_notes)) or texts(entry.row.remarks)
    return f"{entry.row.source}: {', '.join(notes)}" if notes else entry.row.source
