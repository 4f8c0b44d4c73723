"""Where files lie that their owner moved within a shoot, and what noting that changes. Pure.

A file is known again by its digest. One that lies in its place is never given up: what else has its
bytes is a copy. So is one that is in its place with other bytes, which is an edit or damage, unless
these are the bytes of another file of the shoot: then the two changed places, and it is sought too.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import count
from typing import Final, TypeAlias

from sorter.model.change import Change
from sorter.model.kinds import Role
from sorter.model.moved import folder_of, name_of
from sorter.model.note import Note, Renamed
from sorter.model.plan import Entry, Placement
from sorter.planning import names
from sorter.planning.free import naming_note
from sorter.planning.places import another_name

MOST_FOLDERS: Final = 100
"""To which a folder's files went, that are looked through for a file that may be in several."""

_Rule: TypeAlias = Callable[[Entry, Collection[str]], str | None]


def displaced(
    missing: Sequence[Entry], spoiled: Sequence[Entry], digests: Mapping[str, str]
) -> tuple[Entry, ...]:
    """Those of the spoiled in whose places other files of the shoot lie, which are not in their own.

    missing: files that are not in their places. spoiled: those in whose places other bytes are; digests:
    what these are, by place. It is the largest set for which that holds: two that changed places are
    both in it, though neither is missing.
    """
    held = [entry for entry in spoiled if entry.row.destination in digests]
    others = Counter(entry.row.sha256 for entry in missing)
    while True:
        sought = others + Counter(entry.row.sha256 for entry in held)
        left = [entry for entry in held if _is_of_another(entry, digests, sought)]
        if len(left) == len(held):
            return tuple(held)
        held = left


def whereabouts(
    missing: Iterable[Entry], displaced: Sequence[Entry], digests: Mapping[str, str]
) -> dict[int, str]:
    """Where files lie that are not in their places, by their numbers; each place is of one file alone.

    displaced: as that function tells. digests: of what lies in their places, and in places that the
    ledger knows nothing of. Of places with the same bytes that is taken which has the file's name, then
    one to which more of its folder went, then the first; one that the ledger knows nothing of before
    that of another file.
    """
    taken = {entry.row.destination for entry in displaced}
    return _Matching([*missing, *displaced], digests, taken).found()


def _is_of_another(entry: Entry, digests: Mapping[str, str], sought: Counter[str]) -> bool:
    """A file that gives its own bytes when it is read again is in its place."""
    sha256 = digests[entry.row.destination]
    return sha256 != entry.row.sha256 and sought[sha256] > 0


class _Matching:
    """Files and places with the same bytes, brought together: where there is no choice first."""

    def __init__(
        self, wanted: Iterable[Entry], lying: Mapping[str, str], taken: Collection[str]
    ) -> None:
        self._found: dict[int, str] = {}
        self._went: dict[str, Counter[str]] = {}
        places: dict[str, list[str]] = {}
        for path in sorted(lying, key=lambda path: (path in taken, path)):
            places.setdefault(lying[path], []).append(path)
        self._groups: list[tuple[list[Entry], dict[str, None]]] = []
        files: dict[str, list[Entry]] = {}
        for entry in sorted(wanted, key=lambda entry: entry.row.destination):
            files.setdefault(entry.row.sha256, []).append(entry)
        for sha256, entries in files.items():
            if sha256 in places:
                self._groups.append((entries, dict.fromkeys(places[sha256])))

    def found(self) -> dict[int, str]:
        for rule in (_only_one, _only_of_its_name):
            self._apply(rule)
        self._apply_by_folder(with_name=True)
        self._apply(_first_of_its_name)
        self._apply_by_folder(with_name=False)
        self._apply(_first)
        return self._found

    def _apply(self, rule: Callable[[list[Entry], Collection[str]], _Rule]) -> None:
        for entries, places in self._groups:
            choose = rule(entries, places)
            for entry in [each for each in entries if each.number not in self._found]:
                path = choose(entry, places)
                if path is not None:
                    self._take(entry, path, places)
            entries[:] = [each for each in entries if each.number not in self._found]

    def _apply_by_folder(self, *, with_name: bool) -> None:
        """Where most of its folder went; where nothing went anywhere it may be in the folder still."""
        targets: dict[str, tuple[str, ...]] = {}
        for entries, places in self._groups:
            by_folder: dict[str, deque[str]] = {}
            for path in places:
                by_folder.setdefault(folder_of(path), deque()).append(path)
            for entry in entries:
                own, name = folder_of(entry.row.destination), name_of(entry.row.destination)
                if own not in targets:
                    targets[own] = self._targets(own)
                if with_name:
                    named = (f"{folder}/{name}".lstrip("/") for folder in targets[own])
                    path = next((each for each in named if each in places), "")
                else:
                    inside = (by_folder.get(folder, deque()) for folder in targets[own])
                    path = next((each.popleft() for each in inside if each), "")
                if path:
                    self._take(entry, path, places)
            entries[:] = [each for each in entries if each.number not in self._found]

    def _targets(self, folder: str) -> tuple[str, ...]:
        """The folders to which files of this one went, those first to which most did; and itself."""
        went = self._went.get(folder, Counter())
        by_most = sorted(went, key=lambda target: (-went[target], target))
        return (*by_most[:MOST_FOLDERS], folder)

    def _take(self, entry: Entry, path: str, places: dict[str, None]) -> None:
        self._found[entry.number] = path
        del places[path]
        went = self._went.setdefault(folder_of(entry.row.destination), Counter())
        went[folder_of(path)] += 1


def _only_one(entries: Sequence[Entry], places: Collection[str]) -> _Rule:
    """There is one file, and one place."""
    is_clear = len(entries) == 1 and len(places) == 1
    return lambda _, left: next(iter(left), None) if is_clear else None


def _only_of_its_name(entries: Sequence[Entry], places: Collection[str]) -> _Rule:
    """One file and one place have the name, however many have the bytes."""
    files = Counter(name_of(entry.row.destination) for entry in entries)
    named = _by_name(places)

    def choose(entry: Entry, _: Collection[str]) -> str | None:
        name = name_of(entry.row.destination)
        return named[name][0] if files[name] == 1 and len(named.get(name, ())) == 1 else None

    return choose


def _first_of_its_name(_: Sequence[Entry], places: Collection[str]) -> _Rule:
    named = {name: iter(paths) for name, paths in _by_name(places).items()}
    return lambda entry, _: next(named.get(name_of(entry.row.destination), iter(())), None)


def _first(_: Sequence[Entry], places: Collection[str]) -> _Rule:
    in_order = iter(list(places))
    return lambda *_: next(in_order, None)


def _by_name(places: Iterable[str]) -> dict[str, list[str]]:
    named: dict[str, list[str]] = {}
    for path in places:
        named.setdefault(name_of(path), []).append(path)
    return named


# ---- without a digest -----------------------------------------------------------------------


def respelled(places: Mapping[int, str], unknown: Collection[str]) -> dict[int, str]:
    """Which of the unknown paths are other spellings of places, by the numbers of the files there.

    places: where there are files, though no folder lists these names: the file system takes several
    spellings for one, and lists the one that the file has now.
    """
    spelled: dict[str, list[str]] = {}
    for path in unknown:
        spelled.setdefault(names.same(path), []).append(path)
    found = ((number, spelled.get(names.same(place), [])) for number, place in places.items())
    return {number: paths[0] for number, paths in found if len(paths) == 1}


def edited_alongside(
    missing: Iterable[Entry], moved: Iterable[tuple[str, str]], unknown: Collection[str]
) -> dict[int, str]:
    """Sidecars that were edited and then moved with their pictures, by their numbers.

    Their bytes tell nothing any more. They stand beside a file that was moved, under the name that
    they have by its. moved: from where to where files went.
    """
    nearby: dict[tuple[str, str], list[str]] = {}
    for before, after in moved:
        nearby.setdefault((folder_of(before), _stem(before)), []).append(after)
    found: dict[int, str] = {}
    left = set(unknown)
    for entry in missing:
        place = entry.row.destination
        if entry.row.role is not Role.SIDECAR:
            continue
        stems = [key for key in _stems(place) if key in nearby]
        wanted = (
            f"{after[: len(after) - len(name_of(after))]}{_stem(after)}{name_of(place)[len(stem) :]}"
            for folder, stem in stems
            for after in nearby[folder, stem]
        )
        path = next((each for each in wanted if each in left), None)
        if path is not None:
            found[entry.number] = path
            left.remove(path)
    return found


def _stem(path: str) -> str:
    name = name_of(path)
    return name[: names.stem_lengths([name])[name]]


def _stems(path: str) -> Iterator[tuple[str, str]]:
    """The folder with each beginning of the name that may be a picture's: NAME.xmp, NAME.EXT.xmp."""
    stem = _stem(path)
    yield folder_of(path), stem
    yield folder_of(path), _stem(stem)


# ---- noting it ------------------------------------------------------------------------------


def adoptions(
    entries: Sequence[Entry], moved: Mapping[int, str], lost: Collection[int], listed: Iterable[str]
) -> tuple[Change, ...]:
    """What the ledger is to say again: where the moved files lie now.

    moved: where, by number. lost: the numbers of files that are nowhere; where another lies in the
    place of one, that gets a free name beside it, for whoever brings it back. listed: every path in
    the folder. A name that is no text (undecodable) cannot be noted, and stays out.
    """
    known = {entry.number: entry for entry in entries}
    new = {number: path for number, path in moved.items() if is_text(path)}
    while True:
        held = {
            entry.row.destination
            for entry in entries
            if entry.number not in new and entry.number not in lost
        }
        fits = {number: path for number, path in new.items() if path not in held}
        if len(fits) == len(new):
            break
        new = fits
    taken = {*new.values()}
    places = {names.same(path) for path in (*listed, *held, *taken)}
    after = {number: _placed(known[number].placement, path) for number, path in new.items()}
    for number in lost:
        before = known[number].placement
        if before.row.destination in taken:
            place = _free(before.row.destination, places)
            places.add(names.same(place))
            named = naming_note(before.row.source, place)
            after[number] = _placed(before, place, named)
    return tuple(
        Change(number=number, before=known[number].placement, after=after[number])
        for number in sorted(after)
    )


def taken_back(entries: Iterable[Entry], changes: Iterable[Change]) -> tuple[Change, ...]:
    """What takes an adoption back: the ledger has its files where it had them before; none is moved.

    What became known of a file since stays, and so does a place that was given to it since.
    """
    known = {entry.number: entry.placement for entry in entries}
    back = []
    for change in changes:
        now = known.get(change.number)
        if now is None or now.row.destination != change.after.row.destination:
            continue
        new = tuple(one for one in now.carrying_notes if one not in change.after.carrying_notes)
        row = replace(now.row, destination=change.before.row.destination)
        after = replace(now, row=row, carrying_notes=(*change.before.carrying_notes, *new))
        back.append(Change(number=change.number, before=now, after=after))
    return tuple(back)


def _free(place: str, places: Collection[str]) -> str:
    tries = (another_name(place, number) for number in count(2))
    return next(path for path in tries if names.same(path) not in places)


def _placed(placement: Placement, path: str, named: Iterable[Note] = ()) -> Placement:
    """The placement in another place. What was said of a name that it has no more is left out."""
    notes = placement.carrying_notes
    if name_of(path) != name_of(placement.row.destination):
        notes = (*named, *(one for one in notes if not isinstance(one, Renamed)))
    return replace(placement, row=replace(placement.row, destination=path), carrying_notes=notes)


def is_text(path: str) -> bool:
    """Whether a ledger can hold it: the system's names may be any bytes."""
    try:
        path.encode()
    except UnicodeEncodeError:
        return False
    return True
