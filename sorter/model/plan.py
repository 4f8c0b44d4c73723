"""A plan: where every file of a card goes; and how far that has come."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, StrEnum

from sorter.model.finding import Check
from sorter.model.note import Note
from sorter.model.row import Row


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """One file's way: row.source below the card, row.destination below the shoot.

    An empty destination says that the file stays where it is (a link, a pipe); the row's notes say
    why. container: the format by its content, empty where it is none that we know. from_near: the
    frame's place in its sequence counted from the nearest focus, from 1; None where the camera
    did not tell.
    carrying_notes: what planning and carrying note of it, beside the row's own notes. unread: its
    content could not be read as what its name says. fingerprint: that of the file on the card when the plan
    was made (ReadFile.fingerprint).
    """

    row: Row
    container: str = ""
    from_near: int | None = None
    carrying_notes: tuple[Note, ...] = ()
    unread: bool = False
    fingerprint: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The way of every file that is to be carried, and what changes about those that are there.

    updated: files that the ledger has, by their number there, of which more is known now. Those
    that are placed stay where they are, but for again: these are carried once more, to the places
    that updated gives them.
    """

    placements: tuple[Placement, ...]
    updated: tuple[tuple[int, Placement], ...] = ()
    again: frozenset[int] = frozenset()


class State(StrEnum):
    """How far one file has come. The ledger notes each before the next is begun.

    planned: nothing is done, or nothing that counts. verified: its copy lies under .sorter, read
    back and equal. placed: under its final name. failed: the card did not give its bytes; tried
    again with every run. left: never carried (a link, a pipe).
    """

    PLANNED = "planned"
    VERIFIED = "verified"
    PLACED = "placed"
    FAILED = "failed"
    LEFT = "left"


class ContentCheck(IntEnum):
    """Whether a file, read whole, holds the bytes that it is to hold.

    perhaps: it does, but what was read may have come from the system's memory and not from the disk.
    """

    NO = 0
    PERHAPS = 1
    SURE = 2

    @classmethod
    def of(cls, *, same: bool, sure: bool) -> ContentCheck:
        """What one reading tells. sure: it came from the disk."""
        return cls.NO if not same else cls.SURE if sure else cls.PERHAPS


class WhyNotRemoved(StrEnum):
    """Why a file that is to be moved is still on the card.

    changed: it holds other bytes there than those that were carried. locked: the system does not let
    it be read or removed. lacking: a file of its frame is not verified in each copy that is to exist.
    elsewhere: a folder on the way to it is a link, or a copy's own folder.
    memory: one of the readings came perhaps from the system's memory. backup: the second copy could
    not be made.
    """

    CHANGED = "changed"
    LOCKED = "locked"
    LACKING = "lacking"
    ELSEWHERE = "elsewhere"
    MEMORY = "memory"
    BACKUP = "second"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One file as the ledger knows it. number: its key there. run: the ingest that brought it.

    placement.row holds the digest once the bytes were read. modified_ns: the card's own stamp when
    they were. moves: its ingest is a move. gone: the card's own file was removed.
    found: what the last check of the pictures found in its sequence; text where only that was kept.
    """

    number: int
    run: int
    placement: Placement
    state: State
    modified_ns: int = 0
    moves: bool = False
    gone: bool = False
    found: Check | str = ""

    @property
    def row(self) -> Row:
        """What the manifest says of it."""
        return self.placement.row

    @property
    def is_known(self) -> bool:
        """Whether it could be read when it was planned; else little is known of its frame."""
        is_read = self.placement.fingerprint != 0 or self.row.bytes == 0
        return is_read or self.state is State.LEFT
