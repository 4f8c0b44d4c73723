"""Every file's place in a shoot: its folder, and a name that nothing else has. Pure.

A folder for each sequence of two or more frames; singles, markers, clips, results and what is no
frame have folders of their own. Files keep the camera's names; where two would clash, all files of a
frame get the same suffix, so that raw, JPEG and sidecar still go together.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from sorter.model.folders import CLIPS, MARKERS, RESULTS, SINGLES, UNSORTED
from sorter.model.frame import ReadFile
from sorter.model.kinds import NO_FRAME_KINDS, Kind, Role
from sorter.model.note import Note
from sorter.model.plan import Entry, Placement, Plan
from sorter.model.row import Row
from sorter.planning import names
from sorter.planning.free import RESERVED, Free, Naming, naming_note, own_name
from sorter.planning.numbering import reached
from sorter.planning.presses import followers, without_grounds

__all__ = ["Naming", "PathFacts", "ShootContents", "another_name", "folders_known", "make_plan"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShootContents:
    """What a shoot holds already.

    known: every file in its ledger. there: those that are files of this card, by their paths on it.
    failed: those that the card did not give before; they are planned again. changed: paths on the
    card whose copies were changed since; they are carried once more, under another name. taken:
    every path in the folder and in the ledger. same_press: files of the same press that another card
    brought, by paths on this card.
    """

    known: tuple[Entry, ...] = ()
    there: Mapping[str, Entry] = field(default_factory=dict)
    failed: Mapping[str, Entry] = field(default_factory=dict)
    changed: frozenset[str] = frozenset()
    taken: frozenset[str] = frozenset()
    same_press: Mapping[str, Entry] = field(default_factory=dict)

    def is_done(self, path: str) -> bool:
        """Whether nothing has to be carried for this path."""
        return path in self.there and path not in self.changed

    def entry(self, path: str) -> Entry | None:
        """What the ledger knows of the file at this path on the card."""
        return self.there.get(path) or self.failed.get(path)

    def place(self, path: str) -> str:
        """Where the shoot has the file, or another one of its press; empty where it has neither."""
        entry = self.there.get(path) or self.same_press.get(path)
        return entry.row.destination if entry else ""

    @property
    def numbered(self) -> dict[str, Entry]:
        """The entries that have the numbers of a frame, by their paths on the card."""
        both = {**self.there, **self.failed}
        return {path: entry for path, entry in both.items() if entry.is_known}

    def is_known(self, path: str) -> bool:
        """Whether nothing new has to be said of this path: its file is there, and was read."""
        return self.is_done(path) and self.there[path].is_known


@dataclass(frozen=True, slots=True, kw_only=True)
class PathFacts:
    """What planning has to know of each path beside its row.

    files: as they were read. from_near: the frame's place by focus. unread: files that could not be
    read. names: the name that the user gave to a sequence, by its number.
    """

    files: Mapping[str, ReadFile]
    from_near: Mapping[str, int | None] = field(default_factory=dict)
    unread: frozenset[str] = frozenset()
    names: Mapping[int, str] = field(default_factory=dict)


def make_plan(
    rows: tuple[Row, ...], path_facts: PathFacts, contents: ShootContents, naming: Naming
) -> Plan:
    """The place of every row's file that is not there yet, in the rows' order."""
    of_card = {**contents.there, **contents.failed}
    given, rows = rows, without_grounds(rows, of_card, contents.known)
    planner = _Planner(rows, path_facts, contents, naming)
    placements: list[Placement] = []
    updated: list[tuple[int, Placement]] = []
    again: set[int] = set()
    for unit in _units(rows):
        for row, placement in zip(unit, planner.placed(unit), strict=True):
            entry = contents.entry(row.source)
            if entry is None:
                placements.append(placement)
            elif not contents.is_done(row.source):
                updated.append((entry.number, placement))
                again.add(entry.number)
            elif placement != entry.placement:
                updated.append((entry.number, placement))
    notes = (each.row for each in (*placements, *(each for _, each in updated)))
    updated += followers(notes, given, of_card, contents.known)
    return Plan(placements=tuple(placements), updated=tuple(updated), again=frozenset(again))


def _grown(rows: tuple[Row, ...], contents: ShootContents) -> set[int]:
    """The sequences of which something is said again: those that more came to.

    So are those that another account now makes of the same known frames; of all others nothing is.
    """
    grown = {row.sequence for row in rows if not contents.is_known(row.source)}
    known = contents.numbered
    pairs = ((row.sequence, known[row.source].row.sequence) for row in rows if row.source in known)
    return reached(
        (number for number in grown if number is not None),
        ((now, old) for now, old in pairs if now is not None and old is not None),
    )


def _units(rows: tuple[Row, ...]) -> Iterable[list[Row]]:
    """Rows whose files go together: those of one frame; beside frames those of one stem.

    A clip and a picture of one stem have folders of their own, and so are two.
    """
    units: dict[object, list[Row]] = {}
    for row in rows:
        folder, _, name = row.source.rpartition("/")
        loose = (folder, name.partition(".")[0].casefold(), row.kind is Kind.CLIP)
        key = loose if row.frame is None else row.frame
        units.setdefault(key, []).append(row)
    return units.values()


class _Planner:
    """The names given so far."""

    def __init__(
        self, rows: tuple[Row, ...], path_facts: PathFacts, contents: ShootContents, naming: Naming
    ) -> None:
        self._about = path_facts
        self._contents = contents
        self._naming = naming
        renewed = {entry.number for entry in contents.failed.values()}
        kept = (e.row.destination for e in contents.known if e.number not in renewed)
        self._free = Free((*contents.taken, *kept))
        self._folders = dict(folders_known(contents.known))
        self._grown = _grown(rows, contents)

    def placed(self, unit: list[Row]) -> Iterator[Placement]:
        """The placements of one unit, row by row: of what is new, and of what is there and grew."""
        new = [row for row in unit if not self._contents.is_done(row.source)]
        carried = [row for row in new if self._about.files[row.source].file.plain]
        own = _own_names(carried)
        given = self._free.named(own, self._folder(unit), self._number(unit)) if own else {}
        for row in unit:
            if row in new:
                yield self._new(row, given.get(row.source, ""))
            else:
                yield self._again(row)

    def _new(self, row: Row, destination: str) -> Placement:
        return Placement(
            row=replace(row, destination=destination),
            container=self._about.files[row.source].container,
            from_near=self._about.from_near.get(row.source),
            carrying_notes=tuple(self._carrying_notes(row.source, destination)),
            unread=row.source in self._about.unread,
            fingerprint=self._about.files[row.source].fingerprint,
        )

    def _carrying_notes(self, source: str, destination: str) -> Iterator[Note]:
        if not destination:
            yield "left on the card"
        else:
            yield from naming_note(source, destination)
        if source in self._contents.changed:
            yield f"{self._contents.there[source].row.destination} was changed since it was carried"

    def _again(self, row: Row) -> Placement:
        """What is there already stays in its place; of a sequence that grew more is known now."""
        before = self._contents.there[row.source].placement
        if row.sequence not in self._grown and self._contents.is_known(row.source):
            return before
        known = before.row
        # A twin's path is the other card's: the entry keeps its own.
        now = replace(row, source=known.source, destination=known.destination, sha256=known.sha256)
        file = self._about.files[row.source]
        return replace(
            before,
            row=now,
            container=file.container,
            from_near=self._about.from_near.get(row.source),
            unread=row.source in self._about.unread,
            fingerprint=file.fingerprint,
        )

    # ---- folders -----------------------------------------------------------------------------

    def _folder(self, unit: list[Row]) -> str:
        """The folder of a unit: where a part of it is already, else by what it is."""
        for row in unit:
            if folder := self._contents.place(row.source).rpartition("/")[0]:
                return folder
        first = unit[0]
        if first.frame is None or first.kind in NO_FRAME_KINDS:
            return CLIPS if first.kind is Kind.CLIP else UNSORTED
        if any(row.role is Role.RESULT for row in unit):
            return RESULTS
        if first.kind is Kind.MARKER:
            return MARKERS
        return self._own_folder(first) if (first.frames or 0) > 1 else SINGLES

    def _own_folder(self, first: Row) -> str:
        number = first.sequence or 0
        if number not in self._folders:
            name = self._about.names.get(number) or self._naming.name
            self._folders[number] = self._free.folder(self._naming.pattern.filled(first, name))
        return self._folders[number]

    # ---- names -------------------------------------------------------------------------------

    def _number(self, unit: list[Row]) -> int:
        """The number that the unit's files have behind their names already; 1 where they have none.

        A sidecar that comes later must stand beside its own frame, and not beside the one that has
        its name.
        """
        own = _own_names(unit)
        lengths = names.stem_lengths(own.values())
        for source, name in own.items():
            if place := self._contents.place(source):
                return _number_in(place, name[: lengths[name]])
        return 1


def _own_names(unit: list[Row]) -> dict[str, str]:
    """The names that files have on the card, made legal, by their sources."""
    return {row.source: own_name(row.source) for row in unit}


def _number_in(destination: str, stem: str) -> int:
    """The number behind the stem, where the destination has one there before its extension; else 1."""
    form = rf"{re.escape(stem)}_([0-9]+)(\..*)?"
    found = re.fullmatch(form, destination.rpartition("/")[2], re.IGNORECASE)
    return int(found[1]) if found else 1


def folders_known(known: tuple[Entry, ...]) -> Iterator[tuple[int, str]]:
    """The folder that each sequence has of its own: where most of it lies, else the first that it got.

    A folder at the top of the shoot, or wherever its owner moved it; none that all sequences share.
    """
    counts: dict[int, Counter[str]] = {}
    for entry in known:
        folder = entry.row.destination.rpartition("/")[0]
        top = folder.partition("/")[0]
        if entry.row.sequence and top and names.same(top) not in RESERVED:
            counts.setdefault(entry.row.sequence, Counter())[folder] += 1
    for number, folders in counts.items():
        yield number, folders.most_common(1)[0][0]


def another_name(destination: str, number: int) -> str:
    """The path with the number behind its name's stem: for a name that was taken meanwhile."""
    folder, slash, name = destination.rpartition("/")
    length = names.stem_lengths([name])[name]
    return f"{folder}{slash}{names.numbered(name, length, number)}"
