"""What is tortured: each course is a command, what was done before, and what is to be in the end."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

from torturing.pool import Place, Tally, as_it_was, nothing_in, spoil, whole_in

Words: TypeAlias = tuple[str, ...]
Disk: TypeAlias = Literal["near", "far", "small"]
"""Where the shoot lies: beside the card; in memory; on a disk in memory that fills at first."""

COPY: Final[Words] = ("ingest", "{card}", "{shoot}")
MOVE: Final[Words] = (*COPY, "--move", "--yes")
BACKUP: Final[Words] = ("--backup", "{other}")
TWO: Final[Words] = (*COPY, *BACKUP)
MEND: Final[Words] = ("verify", "{shoot}", *BACKUP, "--mend", "--adopt", "--yes")
"""Adopts too: files that were swapped are known again, and are in their places only once that is noted."""
VERIFY: Final[Words] = ("verify", "{shoot}", "--card", "{card}")
UNDO: Final[Words] = ("undo", "{shoot}", "--yes")


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """One kind of work.

    wrong: what is wrong after it ended, for a place and the card's digests. before: commands, and then
    spoil, that come first.
    """

    work: Words
    wrong: Callable[[Place, dict[str, str]], Tally]
    before: tuple[Words, ...] = ()
    spoil: Callable[[Place], None] = lambda _: None
    disk: Disk = "near"


def copied(place: Place, originals: dict[str, str]) -> Tally:
    """All is in the shoot once, and the card is as it was."""
    return _sum([whole_in(place.shoot, originals), as_it_was(place.card, originals)])


def moved(place: Place, originals: dict[str, str]) -> Tally:
    """All is in the shoot once, and nothing on the card."""
    return _sum([whole_in(place.shoot, originals), nothing_in(place.card)])


def copied_twice(place: Place, originals: dict[str, str]) -> Tally:
    """All is in both folders once, and the card is as it was."""
    return _sum([copied(place, originals), whole_in(place.other, originals)])


def moved_twice(place: Place, originals: dict[str, str]) -> Tally:
    """All is in both folders once, and nothing on the card."""
    return _sum([moved(place, originals), whole_in(place.other, originals)])


def taken_back(place: Place, originals: dict[str, str]) -> Tally:
    """The card is as it was, and nothing is in the shoot."""
    return _sum([as_it_was(place.card, originals), nothing_in(place.shoot)])


def _sum(tallies: Iterable[Tally]) -> Tally:
    total = Tally()
    for tally in tallies:
        total.add(tally)
    return total


COURSES: Final[dict[str, Course]] = {
    "copy": Course(work=COPY, wrong=copied),
    "move on one disk": Course(work=MOVE, wrong=moved),
    "move to another disk": Course(work=MOVE, wrong=moved, disk="far"),
    "undo of a copy": Course(before=(COPY,), work=UNDO, wrong=taken_back),
    "undo of a move on one disk": Course(before=(MOVE,), work=UNDO, wrong=taken_back),
    "undo of a move to another disk": Course(
        before=(MOVE,), work=UNDO, wrong=taken_back, disk="far"
    ),
    "two copies": Course(work=TWO, wrong=copied_twice),
    "move into two copies": Course(work=(*TWO, "--move", "--yes"), wrong=moved_twice),
    "two copies, one on a disk that fills": Course(work=TWO, wrong=copied_twice, disk="small"),
    "mending of two copies": Course(before=(TWO,), spoil=spoil, work=MEND, wrong=copied_twice),
    "copy to a disk that fills": Course(work=COPY, wrong=copied, disk="small"),
    "move to a disk that fills": Course(work=MOVE, wrong=moved, disk="small"),
}
