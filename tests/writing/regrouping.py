"""What the tests of regroupings share: how the sequences of a shoot are, and where its frames lie."""

from __future__ import annotations

from pathlib import Path

from sorter.model.change import Regrouping
from sorter.model.kinds import Kind
from sorter.pipeline import Regrouped, regroup
from writing.cards import rows

WHY = "the pictures say so"


def wish(kind: Kind, *frames: int, name: str = "") -> Regrouping:
    """These frames as one sequence."""
    return Regrouping(frames=frames, kind=kind, grounds=WHY, name=name)


def regrouped(shoot: Path, *options: Regrouping) -> Regrouped:
    """The shoot regrouped, and looked at no further."""
    return regroup(shoot, options, lambda *_: None)


def sequences(shoot: Path) -> dict[int, tuple[str, tuple[int, ...]]]:
    """The kind and the frames of each sequence, by the manifest; positions count from 1."""
    found: dict[int, dict[int, int]] = {}
    kinds: dict[int, set[str]] = {}
    for row in rows(shoot):
        if row.sequence is not None and row.position is not None:
            found.setdefault(row.sequence, {})[row.position] = row.frame or 0
            kinds.setdefault(row.sequence, set()).add(str(row.kind))
    told = {}
    for number, places in found.items():
        assert sorted(places) == list(range(1, len(places) + 1))
        (kind,) = kinds[number]
        told[number] = (kind, tuple(places[place] for place in sorted(places)))
    return told


def folders(shoot: Path) -> dict[int, set[str]]:
    """The folders in which the files of each frame lie, by the manifest."""
    found: dict[int, set[str]] = {}
    for row in rows(shoot):
        if row.frame is not None and row.destination:
            found.setdefault(row.frame, set()).add(row.destination.rpartition("/")[0])
    return found
