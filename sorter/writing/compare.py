"""Which files of a card are in a shoot already, told by their bytes and never by their times.

There already is what has the same path on the card and the same bytes. The other slot's twin of a
picture (same name, same capture time, same bytes) is there too, wherever its card keeps it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Final

from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.model.card import CardFile
from sorter.model.compared import Compared
from sorter.model.kinds import Role
from sorter.model.plan import ContentCheck, Entry, State
from sorter.writing.reading import readers


@dataclass(slots=True, kw_only=True)
class Comparison:
    """What was found, by path on the card.

    there: the entries of files that the shoot has, or that are never carried. failed: those of files
    that the card did not give before. missing: those of them whose copies are gone.
    changed: those whose copies hold other bytes now, or whose disk does not give them (closed: with the
    system's reason). edited: sidecars among the changed, which stay as they are. held: by number, the
    copies that were read and are as they were carried. original: whether the card's own file was read
    past the cache and is equal to what was carried. other: paths of pictures, told by path and time, whose
    files hold other bytes than those that were carried.
    """

    there: dict[str, Entry] = field(default_factory=dict)
    failed: dict[str, Entry] = field(default_factory=dict)
    missing: dict[str, Entry] = field(default_factory=dict)
    changed: dict[str, Entry] = field(default_factory=dict)
    closed: dict[str, str] = field(default_factory=dict)
    edited: dict[str, Entry] = field(default_factory=dict)
    held: dict[int, ContentCheck] = field(default_factory=dict)
    original: dict[int, ContentCheck] = field(default_factory=dict)
    other: set[str] = field(default_factory=set)

    @property
    def bad(self) -> dict[str, Entry]:
        """Those whose copies are not there any more, or not as they were; sidecars that were edited apart."""
        return {**self.missing, **self.changed}

    def value(self) -> Compared:
        """The same as a value, which nothing changes any more."""
        return Compared(
            there=tuple(self.there.items()),
            failed=tuple(self.failed.items()),
            missing=tuple(self.missing.items()),
            changed=tuple(self.changed.items()),
            edited=tuple(self.edited.items()),
            closed=tuple(self.closed.items()),
            held=tuple(self.held.items()),
            original=tuple(self.original.items()),
            other=tuple(sorted(self.other)),
        )


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
    fingerprints: Mapping[str, int],
    entries: Iterable[Entry],
    progress: Callable[[int], None],
) -> Comparison:
    """The card's files held against the shoot; both sides are read past the cache, byte by byte.

    captured: when the file at a path was taken, as the manifest writes it; empty where unknown.
    marks: the mark of each path's file.
    A file that the card does not give now is not there. Raises CardGone.
    """
    entries, files = tuple(entries), tuple(files)
    known, found = _Known(entries), Comparison()
    taken = {(e.row.source, e.row.captured) for e in entries if e.row.sha256 and e.row.captured}
    same = {file.path for file in files if (file.path, captured(file.path)) in taken}
    files = tuple(file for file in files if known.may_hold(file))
    with readers() as pool:

        def known_values(file: CardFile) -> tuple[Entry | None, ContentCheck]:
            noted = known.uncarried(file, fingerprints.get(file.path, 0))
            if noted is not None:
                return noted, ContentCheck.NO
            return _equal(card, file, known.like(file, captured), progress)

        for file, (entry, held) in zip(files, pool.map(known_values, files), strict=True):
            _take_in(found, file.path, entry, held)
        placed = [(p, e) for p, e in found.there.items() if e.state is State.PLACED]
        judge_copies(shoot, placed, found, lambda _: None, pool)
    found.other = same - found.there.keys() - found.failed.keys()
    return found


def _take_in(found: Comparison, path: str, entry: Entry | None, held: ContentCheck) -> None:
    if entry is None:
        return
    if entry.state is State.FAILED:
        found.failed[path] = entry
    else:
        found.there[path] = entry
        found.original[entry.number] = held


def compare_again(
    card: Card,
    shoot: Shoot,
    *,
    files: Iterable[CardFile],
    entries: Sequence[Entry],
    beside: Sequence[Entry],
    progress: Callable[[int], None],
) -> Comparison:
    """What an earlier run carried, held against its digests: all its copies, and what the card still has.

    beside: what was verified and not placed yet: of these only the card's side is looked at. Of a move's
    good copies it is left out: each original is read before it is removed. Raises CardGone.
    """
    found = Comparison(there={entry.row.source: entry for entry in entries})
    sizes = {file.path: file for file in files}
    with readers() as pool:
        judge_copies(shoot, list(found.there.items()), found, progress, pool)
        bad = {entry.number for entry in found.bad.values()}
        both = (entry for entry in (*entries, *beside) if entry.row.source in sizes)
        own = [entry for entry in both if not entry.moves or entry.number in bad]
        known = pool.map(lambda e: _equal(card, sizes[e.row.source], [e], progress), own)
        for entry, (same, held) in zip(own, known, strict=True):
            found.original[entry.number] = held
            if same is None:
                found.other.add(entry.row.source)
    return found


def read_again(
    card: Card,
    shoot: Shoot,
    *,
    files: Iterable[CardFile],
    before: Compared,
    progress: Callable[[int], None],
) -> Comparison:
    """What an earlier comparison of these files found there, read again on both sides.

    What has other bytes now, on the card or in the shoot, is found otherwise than it was. Raises CardGone.
    """
    found = Comparison(failed=dict(before.failed), other=set(before.other))
    at = {file.path: file for file in files}

    def known(each: tuple[str, Entry]) -> tuple[Entry | None, ContentCheck]:
        path, entry = each
        if entry.state is not State.PLACED:  # it is noted, and has no copy
            return entry, ContentCheck.NO
        return _equal(card, at[path], [entry], progress)

    with readers() as pool:
        for (path, _), (entry, held) in zip(
            before.there, pool.map(known, before.there), strict=True
        ):
            _take_in(found, path, entry, held)
        placed = [(p, e) for p, e in found.there.items() if e.state is State.PLACED]
        judge_copies(shoot, placed, found, lambda _: None, pool)
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

    def uncarried(self, file: CardFile, fingerprint: int) -> Entry | None:
        """The entry of a file that is noted and was not carried: it has no digest to compare."""
        own = self._by_path.get((file.path, file.size), ())
        return next((entry for entry in own if _is_noted(entry, fingerprint)), None)

    def like(self, file: CardFile, captured: Callable[[str], str]) -> Iterator[Entry]:
        """The entries that it may be: first those of its own path, then twins of its name."""
        yield from self._by_path.get((file.path, file.size), ())
        for entry in self._by_name.get((_name(file.path), file.size), ()):
            if entry.row.captured == captured(file.path):
                yield entry


def _is_noted(entry: Entry, fingerprint: int) -> bool:
    known = entry.placement.fingerprint
    return entry.state is not State.PLACED and (0 in (fingerprint, known) or fingerprint == known)


def _name(path: str) -> str:
    return path.rpartition("/")[2].casefold()


def _equal(
    card: Card, file: CardFile, candidates: Iterable[Entry], progress: Callable[[int], None]
) -> tuple[Entry | None, ContentCheck]:
    """Which of them the card's file is, and how sure that is."""
    candidates = [entry for entry in candidates if entry.row.sha256]
    if not candidates or not file.plain:
        return None, ContentCheck.NO
    try:
        known = card.measured(file.path, progress)
    except OSError:
        card.expect()
        return None, ContentCheck.NO
    entry = next((each for each in candidates if each.row.sha256 == known.sha256), None)
    return entry, ContentCheck.of(same=entry is not None, sure=known.sure)


def judge_copies(
    shoot: Shoot,
    placed: Sequence[tuple[str, Entry]],
    found: Comparison,
    progress: Callable[[int], None],
    pool: ThreadPoolExecutor,
) -> None:
    """Each placed copy read, and noted under the card's path as held, missing, changed or edited."""
    known = pool.map(lambda each: _held(shoot, each[1], progress), placed)
    for (path, entry), (held, reason) in zip(placed, known, strict=True):
        if held:
            found.held[entry.number] = held
        elif reason == GONE:
            found.missing[path] = entry
        elif entry.row.role is Role.SIDECAR and not reason:
            found.edited[path] = entry
        else:
            found.changed[path] = entry
            if reason:
                found.closed[path] = reason


GONE: Final = "gone"


def _held(shoot: Shoot, entry: Entry, progress: Callable[[int], None]) -> tuple[ContentCheck, str]:
    """Whether the copy is as it was carried; where not, why: gone, the system's reason, or nothing."""
    row = entry.row
    try:
        held = shoot.holds(row.destination, row.bytes, row.sha256, progress)
        is_gone = not held and shoot.size(row.destination) is None
    except OSError as error:
        return ContentCheck.NO, error.strerror or str(error)
    return held, GONE if is_gone else ""
