"""Which frames of a card are in a shoot already, as other files of the same press. Pure.

A body with two slots may write its raws to one card and its JPEGs to the other. The files of a press
have one name (CIPA DC-009, DCF objects) and one capture time, and the body tells its serial in both.
Where that leaves a doubt the frames stay apart: to part what belongs together loses nothing.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

from sorter.model.kinds import PICTURE_ROLES, Role
from sorter.model.plan import Entry, Placement, State
from sorter.model.row import Row

_Press: TypeAlias = tuple[str, ...]

_NUMBERED: Final = re.compile(r".*\d{4}")  # DCF: eight signs, of which the last four are a number


def same_press(
    rows: tuple[Row, ...], there: Mapping[str, Entry], known: Iterable[Entry]
) -> dict[str, Entry]:
    """An entry of another card for each file of a frame whose press is in the shoot, by its path.

    rows: those of this card, by numbers of its own. there: entries of files of this card, by path. A
    sequence joins as a whole, each frame to one of its own, or not at all: a part of one would have
    wrong numbers. Nor does one join where another sequence of this card goes on with what it would.
    """
    presses = _Presses(there, known)
    found = {number: presses.partner(files) for number, files in _by(rows, "frame").items()}
    taken = Counter(entry.row.frame for entry in found.values() if entry)
    alone = {number for number, entry in found.items() if not entry or taken[entry.row.frame] > 1}
    apart = {row.sequence for row in rows if row.frame in alone}
    held = {
        there[row.source].row.sequence
        for row in rows
        if row.sequence in apart and row.source in there
    }
    for number, files in _by(rows, "sequence").items():
        if {entry.row.sequence for row in files if (entry := found[row.frame or 0])} & held:
            apart.add(number)
    return {
        row.source: entry
        for row in rows
        if row.frame is not None and row.sequence not in apart and (entry := found[row.frame])
    }


def joined(row: Row, entry: Entry | None, own: Entry | None) -> Row:
    """The row as one of the frame that the entry is of; as it is where there is none.

    Grounds stand on a sequence's first row, and a frame's raw stands first. own: what the shoot
    knows of the row's own file.
    """
    if entry is None:
        return row
    before = own.row.grounds if own else ""
    return _in_frame(row, entry.row, (entry.row.grounds or before) if row.role is Role.RAW else "")


def followers(
    notes: Iterable[Row], rows: tuple[Row, ...], there: Mapping[str, Entry], known: Iterable[Entry]
) -> Iterator[tuple[int, Placement]]:
    """What is now known of other cards' files, by their numbers: as of the frames that they are of.

    notes: what is said again of files of this card. rows: as without_grounds got them.
    """
    renewed = _by(notes, "frame")
    grounds = _grounds(rows)
    for entry in _elsewhere(there, known):
        frame = entry.row.frame or 0
        if frame not in renewed:
            continue
        own = grounds.get(frame) if entry.row.role is Role.RAW else ""
        row = _in_frame(
            entry.row, renewed[frame][0], entry.row.grounds if frame not in grounds else own or ""
        )
        if row != entry.row:
            yield entry.number, replace(entry.placement, row=row)


def without_grounds(
    rows: tuple[Row, ...], there: Mapping[str, Entry], known: Iterable[Entry]
) -> tuple[Row, ...]:
    """The rows, without grounds where another card's raw of the frame stands before them."""
    others = _elsewhere(there, known)
    raws = {entry.row.frame for entry in others if entry.row.role is Role.RAW} - {None}
    return tuple(replace(row, grounds="") if row.frame in raws else row for row in rows)


def _grounds(rows: Iterable[Row]) -> dict[int, str]:
    """The grounds that are said of a frame's sequence, where they are said on that frame."""
    return {row.frame: row.grounds for row in rows if row.frame and row.grounds}


def _elsewhere(there: Mapping[str, Entry], known: Iterable[Entry]) -> list[Entry]:
    """The files that other cards brought and this one does not have."""
    here = {entry.number for entry in there.values()}
    return [entry for entry in known if entry.number not in here]


def _in_frame(row: Row, other: Row, grounds: str) -> Row:
    """The row with the other's frame, and its place in a sequence."""
    return replace(
        row,
        frame=other.frame,
        sequence=other.sequence,
        kind=other.kind,
        position=other.position,
        frames=other.frames,
        planned=other.planned,
        grounds=grounds,
        said_by=other.said_by,
    )


@dataclass(slots=True)
class _Presses:
    """What other cards brought into a shoot, by press and by frame."""

    there: Mapping[str, Entry]
    by_press: dict[_Press, list[Entry]]
    by_frame: dict[int, list[Row]]

    def __init__(self, there: Mapping[str, Entry], known: Iterable[Entry]) -> None:
        others = [each for each in _elsewhere(there, known) if each.state is State.PLACED]
        self.there = there
        self.by_frame = _by((entry.row for entry in others), "frame")
        self.by_press = {}
        for entry in others:
            if press := _press(entry.row):
                self.by_press.setdefault(press, []).append(entry)

    def partner(self, files: list[Row]) -> Entry | None:
        """A file of the one frame that is of the same press, which has none of these kinds of file."""
        found = [entry for row in files for entry in self.by_press.get(_press(row), ())]
        numbers = {entry.row.frame for entry in found}
        own = {self.there[row.source].row.frame for row in files if row.source in self.there}
        if len(numbers) != 1 or not own <= numbers:
            return None
        same = _extensions(files) & _extensions(self.by_frame[numbers.pop() or 0])
        return None if same else found[0]


def _press(row: Row) -> _Press:
    """Equal for pictures of one press of one body; empty where that cannot be told for certain.

    Within a second a body may take several pictures, and a counter may wrap: where the time has no
    fraction the folder must be the same too.
    """
    folder, _, name = row.source.rpartition("/")
    stem = name.rpartition(".")[0].casefold()
    known = row.serial and row.captured and row.frame and row.role in PICTURE_ROLES
    if not known or not _NUMBERED.fullmatch(stem):
        return ()
    where = "" if "." in row.captured else folder.casefold()
    return (row.camera.casefold(), row.serial, row.captured, where, stem)


def _extensions(rows: Iterable[Row]) -> set[str]:
    return {row.source.rpartition(".")[2].casefold() for row in rows if row.role in PICTURE_ROLES}


def _by(rows: Iterable[Row], number: str) -> dict[int, list[Row]]:
    """The rows of each frame, or of each sequence."""
    found: dict[int, list[Row]] = {}
    for row in rows:
        if (key := getattr(row, number)) is not None:
            found.setdefault(key, []).append(row)
    return found
