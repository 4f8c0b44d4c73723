"""What there is to look at: the sequences of a card, and those of a shoot."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from sorter import optics
from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.manifest.rows import in_order
from sorter.model.bond import Bond
from sorter.model.card import CardFile
from sorter.model.focus import Direction
from sorter.model.frame import Facts, ReadFile
from sorter.model.glance import Seen
from sorter.model.kinds import PICTURE_ROLES, Who
from sorter.model.note import related
from sorter.model.plan import Entry, State
from sorter.model.row import Row
from sorter.model.sequence import Account
from sorter.model.subject import Subject
from sorter.pixels.sights import seen
from sorter.reading.cards import read_files


def of_account(card: Card, account: Account) -> Iterator[Subject]:
    """Every sequence of a card, in the order of their numbers."""
    root = card.root.absolute()  # whoever looks there may work in another folder
    for number, sequence in enumerate(account.sequences, 1):
        bonds = (Bond.RETAKE, Bond.REPEAT)
        yield Subject(
            number=number,
            kind=sequence.kind,
            frames=tuple(
                seen(frame.files, lambda path: f"{root}/{path}") for frame in sequence.frames
            ),
            paths=tuple(frame.path for frame in sequence.frames),
            nearward={Direction.NEARER: True, Direction.FARTHER: False}.get(
                sequence.focus.direction or Direction.STAYS
            ),
            step_of_depth=_step_of_depth([frame.facts for frame in sequence.frames]),
            body=sequence.frames[0].facts.camera + sequence.frames[0].facts.serial,
            retakes=tuple(each.to + 1 for each in sequence.relations if each.what in bonds),
            is_said=sequence.grounds.said_by is Who.USER,
        )


def of_entries(shoot: Shoot, entries: Iterable[Entry]) -> Iterator[Subject]:
    """Every sequence of a shoot whose frames lie in it, singles too, in the order of their numbers."""
    rows = [
        entry.row
        for entry in entries
        if entry.state is State.PLACED and entry.row.sequence and entry.row.role in PICTURE_ROLES
    ]
    rows = [row for row in in_order(rows) if row.position is not None]
    read = _read(shoot, rows)
    sequences: dict[int, dict[int, list[Row]]] = {}
    for row in rows:
        sequences.setdefault(row.sequence or 0, {}).setdefault(row.position or 0, []).append(row)
    for number, frames in sequences.items():
        first = frames[min(frames)][0]
        notes = [note for each in frames.values() for row in each for note in row.remarks]
        yield Subject(
            number=number,
            kind=first.kind,
            frames=tuple(_seen(shoot, each, read) for each in frames.values()),
            paths=tuple(each[0].source for each in frames.values()),
            nearward=_nearward(list(frames.values())),
            step_of_depth=_step_of_depth([each[0] for each in frames.values()]),
            body=first.camera + first.serial,
            retakes=(*related(notes, Bond.RETAKE), *related(notes, Bond.REPEAT)),
            numbers=tuple(each[0].frame or 0 for each in frames.values()),
            is_said=first.said_by is Who.USER,
        )


def _read(shoot: Shoot, rows: Iterable[Row]) -> dict[str, ReadFile]:
    files = [CardFile(path=row.destination, size=row.bytes, plain=True) for row in rows]
    if not files:
        return {}
    return {file.path: file for file in read_files(Card(shoot.root, of_shoot=True), files)}


def _seen(shoot: Shoot, rows: Sequence[Row], read: Mapping[str, ReadFile]) -> Seen:
    key = " ".join(row.sha256 for row in rows)
    return seen((read[row.destination] for row in rows), shoot.at, key)


def _nearward(frames: Sequence[Sequence[Row]]) -> bool | None:
    told = [each[0].focus_near_m for each in frames]
    if len(told) < 2 or told[0] is None or told[-1] is None or told[0] == told[-1]:  # noqa: PLR2004
        return None
    return told[-1] < told[0]


def _step_of_depth(told: Sequence[Facts | Row]) -> float | None:
    """An estimate for a full-frame sensor: cameras do not tell how large theirs is."""
    first = told[0]
    known = [
        (each.focus_near_m + each.focus_far_m) / 2
        for each in told
        if each.focus_near_m is not None and each.focus_far_m is not None
    ]
    if len(known) < len(told) or not first.focal_length_mm or not first.f_number:
        return None
    circle = optics.CIRCLES_MM["full-frame"]
    share = optics.step_of_depth(first.focal_length_mm, first.f_number, known, circle)
    return None if share is None else round(share, 2)
