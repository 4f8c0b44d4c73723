"""A sequence: frames that belong together, and why."""

from __future__ import annotations

from dataclasses import dataclass

from sorter.model.focus import FocusOrder, focus_order
from sorter.model.frame import Frame, ReadFile
from sorter.model.kinds import Kind, Who
from sorter.model.note import Note, Related
from sorter.model.relation_kind import RelationKind

BEYOND_DOUBT = 30.0  # nats, one in 10^13; larger margins are not counted further


@dataclass(frozen=True, slots=True, kw_only=True)
class Grounds:
    """Why a sequence begins where it begins and is what it is.

    begins: why it does not belong to what came before. kind: why it is of its kind.
    runner_up: the kind of the second-best account, None where no other is possible at all.
    row: for one of several tries at one subject, the path of the first of them; else empty.
    margin: by how much the best account is better, in nats (1 nat: e times as likely), BEYOND_DOUBT
    at the most.
    begins_margin: the same for the boundary before the first frame. said_by: who says that it is so.
    """

    begins: str
    kind: str
    runner_up: Kind | None = None
    margin: float = 0.0
    begins_margin: float = 0.0
    said_by: Who = Who.CAMERA
    row: str = ""

    def text(self) -> str:
        """Both reasons in one sentence."""
        return f"{self.kind}; begins here: {self.begins}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Relation:
    """How a sequence stands to another one of its account.

    to: the other's index in Account.sequences, from 0; what number it has is for those to say who
    number them.
    """

    what: RelationKind
    to: int

    def related(self, number: int) -> Related:
        """The relation as it is noted, with the other sequence's number."""
        return Related(what=self.what, sequence=number)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sequence:
    """Frames of one kind in order of capture; results are pictures that were merged from them.

    planned: the number of frames that the camera was set to take, where it says so.
    notes: what deserves a look, each a short clause. relations: how it stands to other sequences.
    """

    kind: Kind
    frames: tuple[Frame, ...]
    grounds: Grounds
    results: tuple[Frame, ...] = ()
    planned: int | None = None
    notes: tuple[str, ...] = ()
    relations: tuple[Relation, ...] = ()
    name: str = ""

    @property
    def focus(self) -> FocusOrder:
        """Where its frames are focused, and their order from near to far."""
        return focus_order([frame.facts for frame in self.frames])

    def remarks(self, numbers: tuple[int, ...] | None = None) -> tuple[Note, ...]:
        """All that deserves a look: the notes, then the relations.

        numbers: those of all sequences of the account; None: they count from 1.
        """
        related = (
            each.related(each.to + 1 if numbers is None else numbers[each.to])
            for each in self.relations
        )
        return (*self.notes, *related)

    def clauses(self) -> tuple[str, ...]:
        """The same in words, with numbers that count from 1."""
        return tuple(map(str, self.remarks()))


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """A whole card accounted for: every sequence in order of capture, and all that is no frame.

    order: every frame of every sequence, results too, in order of capture over all bodies; a
    frame's number is its place here, from 1. The rest is as a reading has it.
    """

    sequences: tuple[Sequence, ...]
    order: tuple[Frame, ...] = ()
    loose: tuple[tuple[Kind, ReadFile], ...] = ()
    system_files: int = 0
    folders_closed: tuple[str, ...] = ()
    thrown_away: tuple[str, ...] = ()
    shoots: tuple[str, ...] = ()

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing at all to tell of."""
        return not (self.order or self.loose or self.thrown_away or self.folders_closed)
