"""What a run saw of a card and its copies, and what follows for formatting the card. Pure.

People format cards on the strength of the last lines. So every condition stands here, with its sentence,
and a card may be formatted only where none of them holds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from enum import IntEnum
from typing import Final

from sorter.model.disks import Apart


class Level(IntEnum):
    """How much stands against formatting the card.

    none: it may be formatted. careful: something that the system cannot tell. before: something is to
    be done first. never: the copies do not hold all that is on it.
    """

    NONE = 0
    CAREFUL = 1
    BEFORE = 2
    NEVER = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class DiskLayout:
    """Whether card, shoot and second copy lie on one disk, and which of the copies lies in memory."""

    card_shoot: Apart = Apart.UNKNOWN
    card_backup: Apart = Apart.UNKNOWN
    shoot_backup: Apart = Apart.UNKNOWN
    shoot_in_memory: bool = False
    backup_in_memory: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Copy:
    """One of the copies: how many of the card's files were read back there in this run and are equal.

    unsure: those of them that were read perhaps from memory. stopped: the work there was stopped.
    """

    verified: int = 0
    unsure: int = 0
    stopped: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What one run saw. files: how many the card has, or had, that the shoot is to hold.

    listed: the card was listed again at the end; new, changed, vanished: files that were then found so.
    uncarried: files that the card did not give. shoots: shoots that lie on it, and are not looked into.
    closed: folders that cannot be listed. links: links,
    pipes and devices, which are never carried. thrown: pictures in a trash or another system folder.
    moved: files that are on the card no more, for this run took them off. backup: None where there is
    no second copy.
    """

    files: int = 0
    moved: int = 0
    listed: bool = True
    new: int = 0
    changed: int = 0
    vanished: int = 0
    uncarried: int = 0
    closed: int = 0
    links: int = 0
    thrown: int = 0
    shoots: int = 0
    shoot: Copy = field(default_factory=Copy)
    backup: Copy | None = None
    places: DiskLayout = field(default_factory=DiskLayout)


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """Something that stands against formatting: when it holds, and how it is said.

    sentence: the rest of a sentence; {n} is what `count` counts, {files} and {are} fit that number.
    """

    name: str
    level: Level
    holds: Callable[[Evidence], object]
    sentence: str
    count: Callable[[Evidence], int] = lambda _: 0

    def stated(self, evidence: Evidence) -> str:
        """The sentence for this evidence."""
        n = self.count(evidence)
        one = n == 1
        return self.sentence.format(
            n=n, files="file" if one else "files", are="is" if one else "are",
            folders="folder" if one else "folders", pictures="picture" if one else "pictures",
            shoots="shoot" if one else "shoots", were="was" if one else "were",
        )  # fmt: skip


def _lacking(of: Evidence, copy: Copy | None) -> int:
    return 0 if copy is None else of.files - copy.verified


def _unsure(copy: Copy | None) -> int:
    return 0 if copy is None else copy.unsure


CONDITIONS: Final = (
    Condition(
        name="not listed again",
        level=Level.NEVER,
        holds=lambda e: not e.listed,
        sentence="the card could not be listed again at the end",
    ),
    Condition(
        name="closed folders",
        level=Level.NEVER,
        holds=lambda e: e.closed,
        count=lambda e: e.closed,
        sentence="{n} {folders} of it cannot be listed",
    ),
    Condition(
        name="new on the card",
        level=Level.NEVER,
        holds=lambda e: e.new,
        count=lambda e: e.new,
        sentence="{n} {files} came onto it meanwhile",
    ),
    Condition(
        name="changed on the card",
        level=Level.NEVER,
        holds=lambda e: e.changed,
        count=lambda e: e.changed,
        sentence="{n} {files} on it changed meanwhile",
    ),
    Condition(
        name="gone from the card",
        level=Level.NEVER,
        holds=lambda e: e.vanished,
        count=lambda e: e.vanished,
        sentence="{n} {files} went from it meanwhile",
    ),
    Condition(
        name="not read",
        level=Level.NEVER,
        holds=lambda e: e.uncarried,
        count=lambda e: e.uncarried,
        sentence="{n} of its files could not be read and carried",
    ),
    Condition(
        name="links",
        level=Level.NEVER,
        holds=lambda e: e.links,
        count=lambda e: e.links,
        sentence="{n} {files} on it {are} no plain {files} (links, pipes, devices), and in no copy",
    ),
    Condition(
        name="thrown away",
        level=Level.NEVER,
        holds=lambda e: e.thrown,
        count=lambda e: e.thrown,
        sentence="{n} {pictures} in a trash or system folder on it {are} in no copy",
    ),
    Condition(
        name="shoots on the card",
        level=Level.NEVER,
        holds=lambda e: e.shoots,
        count=lambda e: e.shoots,
        sentence="{n} {shoots} on it {are} not looked into, and in no copy",
    ),
    Condition(
        name="stopped",
        level=Level.NEVER,
        holds=lambda e: e.shoot.stopped,
        sentence="the work in the shoot was stopped",
    ),
    Condition(
        name="not in the shoot",
        level=Level.NEVER,
        holds=lambda e: _lacking(e, e.shoot),
        count=lambda e: _lacking(e, e.shoot),
        sentence="not everything is in the shoot: {n} {files} {were} not verified there",
    ),
    Condition(
        name="shoot read from memory",
        level=Level.BEFORE,
        holds=lambda e: e.shoot.unsure,
        count=lambda e: e.shoot.unsure,
        sentence="{n} {files} in the shoot {were} read back perhaps from memory, and not from the "
        "disk: run `sorter verify` once the disk was taken out and put in again",
    ),
    Condition(
        name="moved, and no second copy",
        level=Level.BEFORE,
        holds=lambda e: e.moved and e.backup is None,
        sentence="what was moved is nowhere else now",
    ),
    Condition(
        name="no second copy",
        level=Level.BEFORE,
        holds=lambda e: e.backup is None,
        sentence="make a second copy on another disk, and check it there with "
        "`sha256sum -c SHA256SUMS`",
    ),
    Condition(
        name="second copy stopped",
        level=Level.NEVER,
        holds=lambda e: e.backup is not None and e.backup.stopped,
        sentence="the work on the second copy was stopped",
    ),
    Condition(
        name="not in the second copy",
        level=Level.NEVER,
        holds=lambda e: _lacking(e, e.backup),
        count=lambda e: _lacking(e, e.backup),
        sentence="not everything is in the second copy: {n} {files} {were} not verified there",
    ),
    Condition(
        name="second copy read from memory",
        level=Level.BEFORE,
        holds=lambda e: _unsure(e.backup),
        count=lambda e: _unsure(e.backup),
        sentence="{n} {files} in the second copy {were} read back perhaps from memory, and not from "
        "the disk: run `sorter verify` once the disk was taken out and put in again",
    ),
    Condition(
        name="shoot in memory",
        level=Level.BEFORE,
        holds=lambda e: e.places.shoot_in_memory,
        sentence="the shoot lies in memory, and ends with it",
    ),
    Condition(
        name="second copy in memory",
        level=Level.BEFORE,
        holds=lambda e: e.backup is not None and e.places.backup_in_memory,
        sentence="the second copy lies in memory, and ends with it",
    ),
    Condition(
        name="shoot on the card's disk",
        level=Level.BEFORE,
        holds=lambda e: e.places.card_shoot is Apart.ONE,
        sentence="the shoot lies on the card's own disk",
    ),
    Condition(
        name="second copy on the card's disk",
        level=Level.BEFORE,
        holds=lambda e: e.backup is not None and e.places.card_backup is Apart.ONE,
        sentence="the second copy lies on the card's own disk",
    ),
    Condition(
        name="both copies on one disk",
        level=Level.BEFORE,
        holds=lambda e: e.backup is not None and e.places.shoot_backup is Apart.ONE,
        sentence="both copies lie on one disk, and would be lost with it",
    ),
    Condition(
        name="shoot's disk not told",
        level=Level.CAREFUL,
        holds=lambda e: e.places.card_shoot is Apart.UNKNOWN,
        sentence="whether the shoot lies on another disk than the card",
    ),
    Condition(
        name="second copy's disk not told",
        level=Level.CAREFUL,
        holds=lambda e: e.backup is not None and e.places.card_backup is Apart.UNKNOWN,
        sentence="whether the second copy lies on another disk than the card",
    ),
    Condition(
        name="copies' disks not told",
        level=Level.CAREFUL,
        holds=lambda e: e.backup is not None and e.places.shoot_backup is Apart.UNKNOWN,
        sentence="whether the two copies lie on two disks",
    ),
)
"""All of them, in the order in which they are said."""

LINES: Final = {
    Level.NONE: "Two verified copies exist now, on two disks that are not the card's: the card may be "
    "formatted.",
    Level.CAREFUL: "Two verified copies exist now. The system cannot tell {stated}: be sure of that "
    "yourself before you format the card.",
    Level.BEFORE: "Before you format the card: {stated}. Format it only when two verified copies exist, "
    "on two disks that are not the card's.",
    Level.NEVER: "Do not format the card: {stated}.",
}
"""The last line by the highest level of what holds, with what is said of that level."""
ALSO: Final = "Besides: {stated}."
"""Behind the line of the highest level: what is of the level below."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What is to be done before the card is formatted, and what of it holds, by name."""

    level: Level
    holding: tuple[Condition, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The names of the conditions that hold."""
        return tuple(condition.name for condition in self.holding)


def advise(evidence: Evidence) -> Advice:
    """All that stands against formatting the card."""
    holding = tuple(each for each in CONDITIONS if each.holds(evidence))
    level = max((each.level for each in holding), default=Level.NONE)
    return Advice(level=level, holding=holding)


def last_line(evidence: Evidence) -> str:
    """The advice as a sentence or two.

    What is less than its level is left out, for it would only blur it; but where the card is not to be
    formatted at all, what would have to be done before stands behind.
    """
    advice = advise(evidence)

    def stated(level: Level) -> list[str]:
        return [each.stated(evidence) for each in advice.holding if each.level is level]

    parting = " and " if advice.level is Level.CAREFUL else "; "
    line = LINES[advice.level].format(stated=parting.join(stated(advice.level)))
    also = stated(Level.BEFORE) if advice.level is Level.NEVER else []
    return f"{line} {ALSO.format(stated='; '.join(also))}" if also else line
