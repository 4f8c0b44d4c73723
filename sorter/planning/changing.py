"""What regroupings make of a shoot: other sequences of the same frames, and where their files go. Pure.

Frames that a regrouping names leave the sequence that they were in; what is left of that keeps its
kind. Pieces that lie apart are sequences of their own: in the order of capture of one body nothing
else may stand between two frames of a sequence. A frame of which a file is lost is no part of a
regrouping, and parts none.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from typing import Final

from sorter.model.change import Change, Regrouping
from sorter.model.focus import focus_order
from sorter.model.folders import MARKERS, SINGLES
from sorter.model.frame import Facts
from sorter.model.kinds import NO_FRAME_KINDS, Kind, Who
from sorter.model.note import Note, Related, Renamed
from sorter.model.plan import Entry, Placement
from sorter.model.relation_kind import RelationKind
from sorter.model.row import Row
from sorter.planning import names
from sorter.planning.free import Free, Naming, is_numbered, naming_note, own_name
from sorter.planning.outline import Outline
from sorter.planning.places import folders_known

_APART: Final = frozenset({Kind.SINGLE, Kind.MARKER})


class CannotRegroup(ValueError):
    """A regrouping does not fit the shoot; the text says why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RegroupRequest:
    """What is asked of a shoot.

    lost: frames of which a file is not in its place. taken: every path in the folder.
    """

    regroupings: tuple[Regrouping, ...]
    naming: Naming
    lost: frozenset[int] = frozenset()
    taken: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class _NewSequence:
    """Frames that are one sequence now. name: empty where none was asked for."""

    frames: tuple[int, ...]
    kind: Kind
    grounds: str
    said_by: Who
    name: str = ""


def regrouped(entries: Sequence[Entry], ask: RegroupRequest) -> tuple[Change, ...]:
    """What changes about the files of the ledger, by their numbers; nothing where all is so already.

    Raises CannotRegroup for a frame that the shoot does not have, one that the camera merged from
    others, one that is named twice, and for a kind that is none of a sequence.
    """
    return _Regrouper(entries, ask).changes()


def touched(entries: Iterable[Entry], regroupings: Iterable[Regrouping]) -> frozenset[int]:
    """The frames of every sequence that the regroupings touch."""
    outline = Outline(entries)
    numbers = {outline.sequence_of.get(f) for each in regroupings for f in each.frames} - {None}
    return frozenset(f for f, number in outline.sequence_of.items() if number in numbers)


class _Regrouper:
    def __init__(self, entries: Sequence[Entry], ask: RegroupRequest) -> None:
        self._entries = entries
        self._ask = ask
        self._old = Outline(entries)
        self._request = self._requests()
        self._touched = sorted({self._old.sequence_of[frame] for frame in self._request})
        self._places = _Places(entries, ask, self._old)
        self._changed: dict[int, Change] = {}

    def changes(self) -> tuple[Change, ...]:
        sequences = self._numbered()
        holders = self._holders(sequences)
        renewed = {
            number: each for number, each in sequences.items() if not self._stands(number, each)
        }
        for number, sequence in renewed.items():
            self._note(number, sequence)
        self._note_results(sequences, holders)
        self._note_relations(holders)
        return tuple(self._changed[number] for number in sorted(self._changed))

    # ---- pieces ------------------------------------------------------------------------------

    def _requests(self) -> dict[int, int]:
        """Which regrouping each frame is of, by its place among them; without those that are lost."""
        found: dict[int, int] = {}
        results = {e.row.frame for files in self._old.merged.values() for e in files}
        for place, each in enumerate(self._ask.regroupings):
            if each.kind in NO_FRAME_KINDS:
                raise CannotRegroup(f"{each.kind} is no kind of sequence.")
            for frame in each.frames:
                if frame not in self._old.files:
                    raise CannotRegroup(_no_frame(frame, is_merged=frame in results))
                if found.setdefault(frame, place) != place:
                    raise CannotRegroup(f"frame {frame} is named in two regroupings.")
        return {frame: place for frame, place in found.items() if frame not in self._ask.lost}

    def _numbered(self) -> dict[int, _NewSequence]:
        """The pieces by their numbers: a sequence's own where the piece has its first frame."""
        order = {f: n for n, f in enumerate(f for line in self._old.lines.values() for f in line)}
        sequences = sorted(
            (*self._asked(), *self._left()), key=lambda sequence: order[sequence.frames[0]]
        )
        firsts = {self._old.sequences[number][0]: number for number in self._touched}
        following = max((entry.row.sequence or 0 for entry in self._entries), default=0) + 1
        found: dict[int, _NewSequence] = {}
        for sequence in sequences:
            own = next((firsts[frame] for frame in sequence.frames if frame in firsts), None)
            found[following if own is None else own] = sequence
            following += own is None
        return found

    def _asked(self) -> Iterator[_NewSequence]:
        for line in self._old.lines.values():
            there = (frame for frame in line if frame not in self._ask.lost)
            for place, frames in groupby(there, self._request.get):
                if place is not None:
                    yield from self._made(self._ask.regroupings[place], tuple(frames))

    def _made(self, request: Regrouping, frames: tuple[int, ...]) -> Iterator[_NewSequence]:
        parts = [(frame,) for frame in frames] if request.kind in _APART else [frames]
        for part in parts:
            kind = self._kind(request.kind, part)
            yield _NewSequence(
                frames=part,
                kind=kind,
                grounds=request.grounds,
                said_by=request.said_by,
                name=request.name,
            )

    def _left(self) -> Iterator[_NewSequence]:
        for number in self._touched:
            frames, first = self._old.sequences[number], self._old.first(number)
            for is_cut, part in groupby(frames, lambda frame: frame in self._request):
                own = tuple(part)
                if not is_cut:
                    notes = f"cut since: {len(own)} of {len(frames)} frames are left here"
                    grounds = f"{first.grounds}; {notes}" if first.grounds else notes
                    yield _NewSequence(
                        frames=own,
                        kind=self._kind(first.kind, own),
                        grounds=grounds,
                        said_by=first.said_by,
                    )

    def _kind(self, kind: Kind, frames: tuple[int, ...]) -> Kind:
        """The kind asked for; one frame is no series, but where it was called one before."""
        was = self._old.sequences[self._old.sequence_of[frames[0]]] == frames
        if (
            len(frames) > 1
            or kind is Kind.MARKER
            or (was and self._old.row(frames[0]).kind is kind)
        ):
            return kind
        return Kind.SINGLE

    def _stands(self, number: int, sequence: _NewSequence) -> bool:
        """Whether the shoot has this piece already, just so, under the name that was asked for.

        That a user says so is news, where it was not a user who said it.
        """
        if self._old.sequences.get(number) != sequence.frames:
            return False
        first = self._old.first(number)
        is_said = first.said_by is Who.USER or sequence.said_by is not Who.USER
        if first.kind is not sequence.kind or not is_said:
            return False
        has_folder = sequence.kind is not Kind.MARKER and len(sequence.frames) > 1
        return not (has_folder and sequence.name) or self._places.is_named(number, sequence.name)

    def _holders(self, sequences: Mapping[int, _NewSequence]) -> dict[int, int]:
        """For each touched sequence the number of the piece that goes on for it."""
        of = {frame: number for number, sequence in sequences.items() for frame in sequence.frames}
        return {n: n if n in sequences else of[self._old.sequences[n][0]] for n in self._touched}

    # ---- what is said ------------------------------------------------------------------------

    def _note(self, number: int, sequence: _NewSequence) -> None:
        """Every file of the piece: its sequence, its place there and in the shoot."""
        same = self._old.sequences.get(number) == sequence.frames
        planned = self._old.first(number).planned if same else None
        near = _from_near(sequence.frames, self._old)
        rows: dict[int, Row] = {}
        for position, frame in enumerate(sequence.frames, 1):
            for place, entry in enumerate(self._old.files[frame]):
                rows[entry.number] = replace(
                    entry.row,
                    sequence=number,
                    kind=sequence.kind,
                    position=position,
                    frames=len(sequence.frames),
                    planned=planned,
                    grounds=sequence.grounds if position == 1 and place == 0 else "",
                    said_by=sequence.said_by,
                )
        folder = self._folder(number, sequence, rows)
        for frame, place_near in zip(sequence.frames, near, strict=True):
            given = self._places.given(frame, folder)
            for entry in self._old.files[frame]:
                row = replace(rows[entry.number], destination=given[entry.number])
                self._put(entry, _moved(replace(entry.placement, from_near=place_near), row))

    def _folder(self, number: int, sequence: _NewSequence, rows: Mapping[int, Row]) -> str:
        if sequence.kind is Kind.MARKER:
            return MARKERS
        if len(sequence.frames) == 1:
            return SINGLES
        before = self._old.sequence_of[sequence.frames[0]]
        name = sequence.name or self._places.name_of(before) or self._ask.naming.name
        first = rows[self._old.files[sequence.frames[0]][0].number]
        return self._places.folder(number, self._ask.naming.pattern.filled(first, name))

    def _note_results(
        self, sequences: Mapping[int, _NewSequence], holders: Mapping[int, int]
    ) -> None:
        """Results keep their sequence, or follow its first frame; their files stay."""
        for before, number in holders.items():
            for entry in self._old.merged.get(before, ()):
                first = self._now(self._old.files[sequences[number].frames[0]][0])
                self._put(entry, replace(entry.placement, row=_as_of(entry.row, first)))

    def _note_relations(self, holders: Mapping[int, int]) -> None:
        """Notes that name a sequence which is no more name the one that goes on for it."""
        for entry in self._old.entries():
            now = self._now(entry)
            remarks = related(now.remarks, holders, now.sequence)
            if remarks != now.remarks:
                before = self._changed.get(entry.number)
                placement = before.after if before else entry.placement
                self._put(entry, replace(placement, row=replace(now, remarks=remarks)))

    def _now(self, entry: Entry) -> Row:
        change = self._changed.get(entry.number)
        return change.after.row if change else entry.row

    def _put(self, entry: Entry, after: Placement) -> None:
        if after != entry.placement:
            change = Change(number=entry.number, before=entry.placement, after=after)
            self._changed[entry.number] = change


class _Places:
    """Where files go, and what folders were called."""

    def __init__(self, entries: Sequence[Entry], ask: RegroupRequest, old: Outline) -> None:
        self._ask = ask
        self._old = old
        self._known = dict(folders_known(tuple(entries)))
        self._free = Free((*ask.taken, *(entry.row.destination for entry in entries)))

    def name_of(self, sequence: int) -> str:
        """The name in the folder that the sequence has; empty where there is none."""
        folder = self._known.get(sequence, "")
        return self._ask.naming.pattern.name_in(folder, self._old.first(sequence))

    def is_named(self, sequence: int, name: str) -> bool:
        """Whether the sequence's folder is called so, were it with a number that made it free."""
        known, row = self._known.get(sequence, ""), self._old.first(sequence)
        return is_numbered(known, self._ask.naming.pattern.filled(row, name))

    def folder(self, number: int, wanted: str) -> str:
        """The folder that the sequence of this number has, where it is called so; else a free one."""
        known = self._known.get(number, "")
        is_same = names.same(known) == names.same(wanted)
        return known if is_same and self._is_alone(number, known) else self._free.folder(wanted)

    def _is_alone(self, number: int, folder: str) -> bool:
        """Whether no other sequence has files in the folder, which a cut ingest may leave so."""
        return all(known != folder or other == number for other, known in self._known.items())

    def given(self, frame: int, folder: str) -> dict[int, str]:
        """The destinations of the frame's files in the folder; where they lie if they are to stay."""
        files = self._old.files[frame]
        there = {entry.number: entry.row.destination for entry in files}
        own = {e.number: own_name(e.row.source) for e in files if e.row.destination}
        here = all(there[number].rpartition("/")[0] == folder for number in own)
        if frame in self._ask.lost or here or not own:
            return there
        return {**there, **self._free.named(own, folder, there=there)}


def _moved(placement: Placement, row: Row) -> Placement:
    """The placement with this row; what is said of the file's name is said of its new one."""
    if row.destination == placement.row.destination:
        return replace(placement, row=row)
    notes = (one for one in placement.carrying_notes if not isinstance(one, Renamed))
    named = tuple(naming_note(row.source, row.destination))
    return replace(placement, row=row, carrying_notes=(*named, *notes))


def _as_of(row: Row, first: Row) -> Row:
    """A result's row, with what the first row of its sequence says of that."""
    relation_kind = Related(what=RelationKind.RESULT, sequence=row.sequence or 0)
    now = Related(what=RelationKind.RESULT, sequence=first.sequence or 0)
    return replace(
        row,
        sequence=first.sequence,
        kind=first.kind,
        frames=first.frames,
        planned=first.planned,
        remarks=tuple(now if each == relation_kind else each for each in row.remarks),
        said_by=first.said_by,
    )


def related(
    remarks: Iterable[Note], holders: Mapping[int, int], own: int | None
) -> tuple[Note, ...]:
    """The remarks, with the numbers that sequences have now; what a sequence would be to itself is left out."""
    known: list[Note] = []
    for note in remarks:
        now = holders.get(note.sequence) if isinstance(note, Related) else None
        if not isinstance(note, Related) or now is None or now == note.sequence:
            known.append(note)
        elif now != own or note.what is RelationKind.RESULT:
            known.append(replace(note, sequence=now))
    return tuple(dict.fromkeys(known))


def _from_near(frames: tuple[int, ...], old: Outline) -> tuple[int | None, ...]:
    """The frames' places by focus: those of the one sequence that they are of, else by distances."""
    known = [_place(old.files[frame]) for frame in frames]
    if len({old.sequence_of[frame] for frame in frames}) == 1 and None not in known:
        order = sorted(range(len(frames)), key=lambda index: known[index] or 0)
        return tuple(order.index(index) + 1 for index in range(len(frames)))
    return focus_order([_distances(old.files[frame]) for frame in frames]).places


def _place(files: Iterable[Entry]) -> int | None:
    places = (entry.placement.from_near for entry in files)
    return next((place for place in places if place is not None), None)


def _distances(files: Iterable[Entry]) -> Facts:
    rows = (entry.row for entry in files)
    known = next((row for row in rows if row.focus_near_m is not None), None)
    if known is None:
        return Facts()
    return Facts(focus_near_m=known.focus_near_m, focus_far_m=known.focus_far_m)


def _no_frame(frame: int, *, is_merged: bool) -> str:
    if is_merged:
        return f"frame {frame} was merged by the camera itself. Name the frames it came from."
    return f"this shoot has no frame {frame}. The manifest's column frame has the numbers."


# ---- taken back ----------------------------------------------------------------------------------


def taken_back(entries: Iterable[Entry], changes: Iterable[Change]) -> tuple[Change, ...]:
    """What takes a regrouping back: its files are said to be, and lie, where they were before.

    What came about since stays as far as it is no matter of grouping: what was read again, where a
    file was carried once more. Files that came to a frame since go with it, and results that came
    go with their sequence, or with its first frame where there is no such number any more.
    """
    known = {entry.number: entry for entry in entries}
    back = {
        change.number: _restored(known[change.number], change)
        for change in changes
        if change.number in known and _is_same(known[change.number], change)
    }
    frames = {p.row.frame: p.row for p in back.values() if p.row.position is not None}
    firsts = _firsts(known, back, frames)
    for entry in known.values():
        row = entry.row
        if entry.number in back:
            continue
        if row.position is not None and row.frame in frames:
            back[entry.number] = replace(entry.placement, row=_in_frame(row, frames[row.frame]))
        elif row.position is None and row.sequence in firsts:
            now = _as_of(row, firsts[row.sequence])
            back[entry.number] = replace(entry.placement, row=now)
    return tuple(
        Change(number=number, before=known[number].placement, after=after)
        for number, after in sorted(back.items())
        if after != known[number].placement
    )


def _is_same(entry: Entry, change: Change) -> bool:
    """Whether it is the file that was regrouped: a result may have been removed, and its number used."""
    row, after = entry.row, change.after.row
    came_back = (row.source, row.frame) == (after.source, after.frame)
    return came_back and (bool(row.source) or (row.destination, row.sha256) == _place_of(after))


def _place_of(row: Row) -> tuple[str, str]:
    return row.destination, row.sha256


def _restored(entry: Entry, change: Change) -> Placement:
    now, before, after = entry.placement, change.before, change.after
    stays = now.row.destination != after.row.destination
    new = tuple(one for one in now.carrying_notes if one not in after.carrying_notes)
    row = _in_frame(now.row, before.row)
    place = now.row.destination if stays else before.row.destination
    row = replace(row, remarks=before.row.remarks, grounds=before.row.grounds, destination=place)
    notes = now.carrying_notes if stays else (*before.carrying_notes, *new)
    return replace(now, row=row, from_near=before.from_near, carrying_notes=notes)


def _in_frame(row: Row, other: Row) -> Row:
    """The row with the other's place in a sequence."""
    return replace(
        row,
        sequence=other.sequence,
        kind=other.kind,
        position=other.position,
        frames=other.frames,
        planned=other.planned,
        said_by=other.said_by,
    )


def _firsts(
    known: Mapping[int, Entry], back: Mapping[int, Placement], frames: Mapping[int | None, Row]
) -> dict[int | None, Row]:
    """For each sequence of the regrouping, a row of the one that takes its place."""
    ends: dict[int | None, Row] = {}
    restored = {row.sequence: row for row in frames.values()}
    for number in sorted(back, key=lambda number: known[number].row.position or 0):
        row = known[number].row
        if row.position is not None:
            ends.setdefault(row.sequence, restored.get(row.sequence, frames[row.frame]))
    return ends
