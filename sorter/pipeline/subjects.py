"""What there is to look at: the sequences of a card, and those of a shoot."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Final

from sorter import optics
from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.manifest.rows import in_order
from sorter.model.card import CardFile
from sorter.model.focus import Direction
from sorter.model.frame import Facts, ReadFile
from sorter.model.kinds import PICTURE_ROLES, Who
from sorter.model.measurement import MOST_PIXELS, FrameSource
from sorter.model.note import related
from sorter.model.plan import Entry, State
from sorter.model.relation_kind import RelationKind
from sorter.model.row import Row
from sorter.model.sequence import Account
from sorter.model.subject import Subject
from sorter.model.values import MICROSECONDS
from sorter.pixels.sources import frame_source
from sorter.reading.cards import read_files


def of_account(card: Card, account: Account, most_pixels: int = MOST_PIXELS) -> Iterator[Subject]:
    """Every sequence of a card, in the order of their numbers."""
    root = card.root.absolute()  # whoever looks there may work in another folder
    for number, sequence in enumerate(account.sequences, 1):
        bonds = (RelationKind.RETAKE, RelationKind.REPEAT)
        yield Subject(
            number=number,
            kind=sequence.kind,
            frames=tuple(
                frame_source(frame.files, lambda path: f"{root}/{path}", "", most_pixels)
                for frame in sequence.frames
            ),
            paths=tuple(frame.path for frame in sequence.frames),
            nearward={Direction.NEARER: True, Direction.FARTHER: False}.get(
                sequence.focus.direction or Direction.STAYS
            ),
            step_of_depth=_step_of_depth([frame.facts for frame in sequence.frames]),
            body=sequence.frames[0].facts.camera + sequence.frames[0].facts.serial,
            retakes=tuple(each.to + 1 for each in sequence.relations if each.what in bonds),
            exposures=tuple(_exposure_ev(frame.facts) for frame in sequence.frames),
            taken_s=tuple(frame.moment.local_us / MICROSECONDS for frame in sequence.frames),
            is_known=sequence.grounds.said_by is Who.USER,
        )


def of_entries(
    shoot: Shoot, entries: Iterable[Entry], most_pixels: int = MOST_PIXELS
) -> Iterator[Subject]:
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
            frames=tuple(_source(shoot, each, read, most_pixels) for each in frames.values()),
            paths=tuple(each[0].source for each in frames.values()),
            nearward=_nearward(list(frames.values())),
            step_of_depth=_step_of_depth([each[0] for each in frames.values()]),
            body=first.camera + first.serial,
            retakes=(*related(notes, RelationKind.RETAKE), *related(notes, RelationKind.REPEAT)),
            numbers=tuple(each[0].frame or 0 for each in frames.values()),
            exposures=tuple(_exposure_ev(each[0]) for each in frames.values()),
            taken_s=tuple(_taken_s(each[0]) for each in frames.values()),
            is_known=first.said_by is Who.USER,
        )


def _read(shoot: Shoot, rows: Iterable[Row]) -> dict[str, ReadFile]:
    files = [CardFile(path=row.destination, size=row.bytes, plain=True) for row in rows]
    if not files:
        return {}
    return {file.path: file for file in read_files(Card(shoot.root, of_shoot=True), files)}


def _source(
    shoot: Shoot, rows: Sequence[Row], read: Mapping[str, ReadFile], most_pixels: int
) -> FrameSource:
    key = " ".join(row.sha256 for row in rows)
    return frame_source((read[row.destination] for row in rows), shoot.at, key, most_pixels)


def _nearward(frames: Sequence[Sequence[Row]]) -> bool | None:
    known = [each[0].focus_near_m for each in frames]
    if len(known) < 2 or known[0] is None or known[-1] is None or known[0] == known[-1]:  # noqa: PLR2004
        return None
    return known[-1] < known[0]


def _exposure_ev(known: Facts | Row) -> float | None:
    """Relative exposure in EV, brighter is larger: log2(t ISO / N²) (APEX, CIPA DC-008)."""
    if not known.exposure_time_s or not known.iso:
        return None
    return math.log2(known.exposure_time_s * known.iso / (known.f_number or 1.0) ** 2)


_A_DAY: Final = datetime(2000, 1, 1)  # noqa: DTZ001  by the camera's clock, whatever its zone


def _taken_s(row: Row) -> float | None:
    """Seconds of the camera's wall clock, since any day."""
    try:
        wall = datetime.fromisoformat(row.captured).replace(tzinfo=None)
    except ValueError:
        return None
    return (wall - _A_DAY).total_seconds()


def _step_of_depth(known_values: Sequence[Facts | Row]) -> float | None:
    """An estimate for a full-frame sensor: cameras do not tell how large theirs is."""
    first = known_values[0]
    known = [
        (each.focus_near_m + each.focus_far_m) / 2
        for each in known_values
        if each.focus_near_m is not None and each.focus_far_m is not None
    ]
    if len(known) < len(known_values) or not first.focal_length_mm or not first.f_number:
        return None
    circle = optics.CIRCLES_MM["full-frame"]
    share = optics.step_of_depth(first.focal_length_mm, first.f_number, known, circle)
    return None if share is None else round(share, 2)
