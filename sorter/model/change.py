"""What is to be one sequence of a shoot that was ingested, and what that changes in its ledger."""

from __future__ import annotations

from dataclasses import dataclass

from sorter.model.kinds import Kind, Who
from sorter.model.plan import Placement


@dataclass(frozen=True, slots=True, kw_only=True)
class Regrouping:
    """These frames of a shoot are one sequence of this kind.

    frames: their numbers in the manifest. Order of capture counts, whatever order they stand in.
    Markers and singles are one sequence each. grounds: why, in words. said_by: who says so. name: for the folder; empty
    where the sequence that the first frame was in keeps its own.
    """

    frames: tuple[int, ...]
    kind: Kind
    grounds: str
    said_by: Who = Who.PICTURES
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One file of the ledger, by its number: what is said of it, and where it lies, before and after."""

    number: int
    before: Placement
    after: Placement

    @property
    def moves(self) -> bool:
        """Whether it has another place afterwards."""
        return self.before.row.destination != self.after.row.destination
