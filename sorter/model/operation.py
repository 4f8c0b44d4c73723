"""What was done to a shoot, in the order in which it was begun."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class OperationKind(StrEnum):
    """What was done.

    ingest: a card's files brought in. regrouping: other sequences of the same frames. result: what was
    merged from stacks brought back. adoption: places noted that the user gave to files. choice,
    description, archive: what later stages do.
    """

    INGEST = "ingest"
    REGROUPING = "regrouping"
    RESULT = "result"
    ADOPTION = "adoption"
    CHOICE = "choice"
    DESCRIPTION = "description"
    ARCHIVE = "archive"


class OperationState(StrEnum):
    """How far it came: open, done, or undoing, where an undo of it was begun and not ended."""

    OPEN = "open"
    DONE = "done"
    UNDOING = "undoing"


TAKEN_BACK: Final = frozenset(
    {OperationKind.INGEST, OperationKind.REGROUPING, OperationKind.ADOPTION}
)
"""What an undo takes back. Results stay: they were merged for hours, and may be the only ones."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """One operation. number: its place among all of the shoot. run: of an ingest, its number; else 0."""

    number: int
    what: OperationKind
    state: OperationState
    run: int = 0

    @property
    def is_stopped(self) -> bool:
        """Whether it, or an undo of it, was begun and not ended."""
        return self.state is not OperationState.DONE

    @property
    def is_undoing(self) -> bool:
        """Whether an undo of it was begun and not ended."""
        return self.state is OperationState.UNDOING


def newest(operations: tuple[Operation, ...]) -> Operation | None:
    """What an undo takes back next: what it had begun with, else what was begun last."""
    found = [each for each in operations if each.what in TAKEN_BACK]
    undoing = (each for each in found if each.is_undoing)
    return next(undoing, found[-1] if found else None)
