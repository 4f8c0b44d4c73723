"""Files that are not in their places sought in the whole shoot: what its owner moved is known again."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Sequence
from itertools import chain

from sorter.disk.shoot import Shoot
from sorter.disk.streams import Measured
from sorter.model.kinds import Role
from sorter.model.moved import name_of
from sorter.model.plan import ContentCheck, Entry
from sorter.planning.adopting import displaced, edited_alongside, respelled, whereabouts
from sorter.writing.verify import Findings, measure


def seek(shoot: Shoot, findings: Findings, progress: Callable[[int], None]) -> None:
    """The findings say where files lie that were moved within the shoot; nothing is changed there.

    Sizes are looked at first, and only what has the size of a file that is sought is read. progress: in
    bytes, and never more than those of what is missing.
    """
    counted = _AtMost(progress, sum(entry.row.bytes for entry in findings.lost.values()))
    planned = {e.row.destination for e in chain(findings.waiting.values(), findings.left.values())}
    _take_new_spellings(shoot, findings)
    _seek_by_bytes(shoot, findings, planned, counted.add)
    _seek_edited(shoot, findings, planned)
    findings.added.sort()
    findings.edited.sort()
    counted.end()


def _take_new_spellings(shoot: Shoot, findings: Findings) -> None:
    """A name that changed its case or its Unicode form alone leads to the file, and is not listed."""
    known = {**findings.sound, **findings.worked, **findings.altered}
    places = {number: entry.row.destination for number, entry in known.items()}
    hidden = {number: path for number, path in places.items() if path not in findings.names}
    if not (hidden and findings.added):
        return
    spelled = respelled(hidden, findings.added)
    same = {n: path for n, path in spelled.items() if shoot.is_one_file(places[n], path)}
    _no_more_added(findings, same.values())
    for number, path in same.items():
        if number not in findings.altered:
            findings.find(known[number], path, findings.held.get(number, ContentCheck.NO))


def _seek_by_bytes(
    shoot: Shoot, findings: Findings, planned: Collection[str], progress: Callable[[int], None]
) -> None:
    missing = [*findings.lost.values(), *findings.behind.values()]
    both = {**findings.altered, **findings.worked}
    spoiled = [entry for number, entry in both.items() if number not in findings.moved]
    if not missing and len(spoiled) <= 1:
        return
    sizes = {entry.row.bytes for entry in (*missing, *spoiled)}
    known = measure(shoot, (entry.row.destination for entry in spoiled), sizes, lambda _: None)
    out = displaced(missing, spoiled, _digests(known))
    if not missing and not out:
        return
    sizes = {entry.row.bytes for entry in (*missing, *out)}
    unknown = measure(shoot, (p for p in findings.added if p not in planned), sizes, progress)
    here = {entry.row.destination: known[entry.row.destination] for entry in out}
    lying = {**unknown, **here}
    found = whereabouts(missing, out, _digests(lying))
    _take_found([*missing, *out], found, lying, findings)


def _digests(known: dict[str, Measured]) -> dict[str, str]:
    return {path: found.sha256 for path, found in known.items()}


def _take_found(
    sought: Iterable[Entry], found: dict[int, str], lying: dict[str, Measured], findings: Findings
) -> None:
    """What lies in a place that its file has left, and is nobody's, came there since."""
    used, left = set(found.values()), set()
    for entry in sought:
        place = entry.row.destination
        if entry.number in found:
            path = found[entry.number]
            findings.find(entry, path, ContentCheck.of(same=True, sure=lying[path].sure))
            left.add(place)
        elif place in used:
            findings.lose(entry)
    _no_more_added(findings, used)
    findings.added += (left & findings.names) - used


def _seek_edited(shoot: Shoot, findings: Findings, planned: Collection[str]) -> None:
    sidecars = [e for e in findings.lost.values() if e.row.role is Role.SIDECAR]
    if not sidecars:
        return
    unknown = set(findings.added) - set(planned)
    edited = edited_alongside(sidecars, findings.ways.items(), unknown)
    found = {number: path for number, path in edited.items() if _size(shoot, path) >= 0}
    _no_more_added(findings, found.values())
    for entry in sidecars:
        if entry.number in found:
            findings.find(entry, found[entry.number], ContentCheck.NO)


def _no_more_added(findings: Findings, paths: Iterable[str]) -> None:
    known = set(paths)
    findings.added = [path for path in findings.added if path not in known]


def elsewhere(
    shoot: Shoot, missing: Sequence[Entry], known: Iterable[Entry], progress: Callable[[int], None]
) -> dict[int, str]:
    """Where missing files lie in the shoot, by number, as their bytes tell; no file of its is called so.

    known: every file that the ledger knows: what lies in the place of one is no other's. progress: in bytes.
    """
    if not missing:
        return {}
    return whereabouts(missing, (), _digests(_unknown(shoot, missing, known, progress)))


def exchanged(
    shoot: Shoot, missing: Sequence[Entry], changed: Sequence[Entry], known: Iterable[Entry]
) -> tuple[tuple[Entry, ...], dict[int, str]]:
    """Those of the changed in whose places others of these files lie; and where all that is found lies.

    missing: what is not in its place. changed: what is there with other bytes. known: as above.
    """
    sizes = {entry.row.bytes for entry in (*missing, *changed)}
    known_values = measure(
        shoot, (entry.row.destination for entry in changed), sizes, lambda _: None
    )
    out = displaced(missing, changed, _digests(known_values))
    if not out:
        return (), {}
    here = {entry.row.destination: known_values[entry.row.destination] for entry in out}
    unknown = _unknown(shoot, [*missing, *out], known, lambda _: None)
    return out, whereabouts(missing, out, _digests({**unknown, **here}))


def _unknown(
    shoot: Shoot, sought: Iterable[Entry], known: Iterable[Entry], progress: Callable[[int], None]
) -> dict[str, Measured]:
    """What lies in no file's place, and has the size of one that is sought."""
    places = {entry.row.destination for entry in known}
    paths = (path for path, is_folder in shoot.paths() if not is_folder and path not in places)
    return measure(shoot, paths, {entry.row.bytes for entry in sought}, progress)


def astray(shoot: Shoot, missing: Iterable[Entry], known: Iterable[Entry]) -> int:
    """How many of the missing files lie elsewhere in the shoot, as far as names and sizes tell."""
    sought = [(name_of(entry.row.destination), entry.row.bytes) for entry in missing]
    if not sought:
        return 0
    names, places = {name for name, _ in sought}, {entry.row.destination for entry in known}
    there = [
        path
        for path, is_folder in shoot.paths()
        if not is_folder and path not in places and name_of(path) in names
    ]
    lying = Counter((name_of(path), _size(shoot, path)) for path in there)
    return (Counter(sought) & lying).total()


def _size(shoot: Shoot, path: str) -> int:
    """The bytes of a plain file; below zero where there is none, or nobody can look."""
    try:
        size = shoot.size(path)
    except OSError:
        return -1
    return -1 if size is None else size


class _AtMost:
    """Passes on what is done, up to a bound; at the end what of that is left. Threads may share it."""

    def __init__(self, progress: Callable[[int], None], most: int) -> None:
        self._progress = progress
        self._left = most
        self._telling = threading.Lock()

    def add(self, amount: int) -> None:
        with self._telling:
            known = min(amount, self._left)
            self._left -= known
        self._progress(known)

    def end(self) -> None:
        self.add(self._left)
