"""What the pictures say of the grouping, and what a user says, applied to a shoot that was ingested."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from sorter.model.change import Regrouping
from sorter.model.correction import Correction
from sorter.model.progress import CountProgress
from sorter.pipeline.regrouping import Regrouped, regroup, regroupings_of
from sorter.planning import pattern
from sorter.writing import records


def end_regrouping(root: Path, progress: CountProgress) -> Regrouped:
    """A regrouping that was stopped is ended; nothing is done where there is none.

    Raises what regroup raises.
    """
    return regroup(root, (), progress)


def apply(
    root: Path,
    suggested: Sequence[Regrouping],
    corrections: Sequence[Correction],
    progress: CountProgress,
    *,
    folder: str = pattern.DEFAULT,
) -> Regrouped:
    """The shoot is grouped as the user says, and else as the pictures say; an undo takes it back.

    suggested: by a check of the shoot as it is. Where the user speaks of a frame, what is suggested
    of it is left out. Raises BadCorrections, what regroup raises.
    """
    notes = regroupings_of(records.entries_of(root), corrections)
    taken = {frame for each in notes for frame in each.frames}
    apart = (each for each in suggested if taken.isdisjoint(each.frames))
    return regroup(root, (*notes, *apart), progress, folder=folder)
