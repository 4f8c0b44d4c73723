"""Which files of a card are in a shoot already, told by their bytes and never by their times.

There already is what has the same path on the card and the same bytes. The other slot's twin of a
picture (same name, same capture time, same bytes) is there too, wherever its card keeps it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.disk.streams import digest
from sorter.model.card import CardFile
from sorter.model.kinds import Role
from sorter.model.plan import Entry, State


@dataclass(slots=True, kw_only=True)
class Comparison:
    """What was found, by path on the card.

    there: the entries of files that the shoot has, or that are never carried. failed: those of files
    that the card did not give before. missing: those of them whose copies are gone.
    changed: those whose copies hold other bytes now. edited: sidecars among these, which stay as
    they are.
    """

    there: dict[str, Entry] = field(default_factory=dict)
    failed: dict[str, Entry] = field(default_factory=dict)
    missing: dict[str, Entry] = field(default_factory=dict)
    changed: dict[str, Entry] = field(default_factory=dict)
    edited: dict[str, Entry] = field(default_factory=dict)


def size_to_compare(files: Iterable[CardFile], entries: Iterable[Entry]) -> int:
    """The bytes of the card's files that may be in the shoot: what comparing has to read."""
    known = _Known(entries)
    return sum(file.size for file in files if known.may_hold(file))


def compare(
    card: Card,
    shoot: Shoot,
    *,
    files: Iterable[CardFile],
    captured: Callable[[str], str],
    marks: Mapping[str, int],
    entries: Iterable[Entry],
    tick: Callable[[int], None],
) -> Comparison:
    """The card's files held against the shoot; both sides are read, byte by byte.

    captured: when the file at a path was taken, as the manifest writes it; empty where unknown.
    marks: the mark of each path's file.
    A file that the card does not give now is not there. Raises CardGone, OSError for the shoot's
    disk.
    """
    known, found = _Known(entries), Comparison()
    for file in files:
        if not known.may_hold(file):
            continue
        entry = known.uncarried(file, marks.get(file.path, 0)) or _equal(
            card, file, known.like(file, captured), tick
        )
        if entry is None:
            continue
        if entry.state is State.FAILED:
            found.failed[file.path] = entry
            continue
        found.there[file.path] = entry
        if entry.state is State.PLACED:
            judge_copy(shoot, file.path, entry, found)
    return found


class _Known:
    """The entries, to be found by what a file of a card tells before it is read."""

    def __init__(self, entries: Iterable[Entry]) -> None:
        self._by_path: dict[tuple[str, int], list[Entry]] = {}
        self._by_name: dict[tuple[str, int], list[Entry]] = {}
        for entry in entries:
            row = entry.row
            self._by_path.setdefault((row.source, row.bytes), []).append(entry)
            if row.captured:
                self._by_name.setdefault((_name(row.source), row.bytes), []).append(entry)

    def may_hold(self, file: CardFile) -> bool:
        """Whether an entry has its path, or its name, and its size."""
        return (file.path, file.size) in self._by_path or (
            (_name(file.path), file.size) in self._by_name
        )

    def uncarried(self, file: CardFile, mark: int) -> Entry | None:
        """The entry of a file that is noted and was not carried: it has no digest to compare."""
        own = self._by_path.get((file.path, file.size), ())
        return next((entry for entry in own if _is_noted(entry, mark)), None)

    def like(self, file: CardFile, captured: Callable[[str], str]) -> Iterator[Entry]:
        """The entries that it may be: first those of its own path, then twins of its name."""
        yield from self._by_path.get((file.path, file.size), ())
        for entry in self._by_name.get((_name(file.path), file.size), ()):
            if entry.row.captured == captured(file.path):
                yield entry


def _is_noted(entry: Entry, mark: int) -> bool:
    known = entry.placement.mark
    return entry.state is not State.PLACED and (0 in (mark, known) or mark == known)


def _name(path: str) -> str:
    return path.rpartition("/")[2].casefold()


def _equal(
    card: Card, file: CardFile, candidates: Iterable[Entry], tick: Callable[[int], None]
) -> Entry | None:
    candidates = [entry for entry in candidates if entry.row.sha256]
    if not candidates or not file.plain:
        return None
    try:
        with card.stream(file.path) as stream:
            _, sha256 = digest(stream, tick)
    except OSError:
        card.expect()
        return None
    return next((entry for entry in candidates if entry.row.sha256 == sha256), None)


def judge_copy(shoot: Shoot, path: str, entry: Entry, found: Comparison) -> None:
    """Notes under the card's path where the placed copy is missing, changed or edited.

    Raises OSError where it cannot be read.
    """
    row = entry.row
    if shoot.holds(row.destination, row.bytes, row.sha256):
        return
    if shoot.size(row.destination) is None:
        found.missing[path] = entry
    elif row.role is Role.SIDECAR:
        found.edited[path] = entry
    else:
        found.changed[path] = entry
