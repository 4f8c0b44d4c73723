"""How the frames of a shoot are grouped now, as its ledger has them: sequences, and timelines. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final, TypeAlias

from sorter.model.kinds import Role
from sorter.model.plan import Entry
from sorter.model.row import Row

Body: TypeAlias = tuple[str, str]
"""A camera and its serial number."""

_ROLE_ORDER: Final = {role: place for place, role in enumerate(Role)}


class Outline:
    """The frames and sequences of a shoot.

    files: each frame's files, in the manifest's order; what the camera merged is no frame here.
    sequences: each sequence's frames by position. merged: each sequence's results, from the camera or
    brought back. lines: the frames of each body in order of capture.
    """

    def __init__(self, entries: Iterable[Entry]) -> None:
        self.files: dict[int, list[Entry]] = {}
        self.merged: dict[int, list[Entry]] = {}
        self.sequence_of: dict[int, int] = {}
        for entry in sorted(entries, key=lambda e: (_ROLE_ORDER[e.row.role], e.row.source)):
            self._take_in(entry)
        self.sequences = self._found_sequences()
        self.lines = self._found_lines()

    def _take_in(self, entry: Entry) -> None:
        row = entry.row
        if row.sequence is None:
            return
        if row.frame is None or row.position is None:
            self.merged.setdefault(row.sequence, []).append(entry)
        else:
            self.files.setdefault(row.frame, []).append(entry)
            self.sequence_of[row.frame] = row.sequence

    def row(self, frame: int) -> Row:
        """What is said of the frame's first file."""
        return self.files[frame][0].row

    def first(self, sequence: int) -> Row:
        """The sequence's first row, where its grounds stand."""
        return self.row(self.sequences[sequence][0])

    def body(self, sequence: int) -> Body:
        """The body that took the sequence, as the first file that tells one has it."""
        rows = (entry.row for frame in self.sequences[sequence] for entry in self.files[frame])
        return next(((r.camera, r.serial) for r in rows if r.camera or r.serial), ("", ""))

    def _found_sequences(self) -> dict[int, tuple[int, ...]]:
        found: dict[int, list[int]] = {}
        for frame, number in self.sequence_of.items():
            found.setdefault(number, []).append(frame)
        return {
            number: tuple(sorted(frames, key=lambda frame: (self.row(frame).position or 0, frame)))
            for number, frames in sorted(found.items())
        }

    def _found_lines(self) -> dict[Body, tuple[int, ...]]:
        """Within a sequence positions count; sequences stand as their first frames were numbered.

        For that is the order in which an ingest found them, a clock set back or not. Which of two
        ingests comes first is told by the first time of each.
        """
        bodies = {number: self.body(number) for number in self.sequences}
        begins: dict[tuple[Body, int], str] = {}
        for number, body in bodies.items():
            run, when = self._run(number), self._captured(number)
            begins[body, run] = min(when, begins.get((body, run), when))
        runs = {number: self._run(number) for number in bodies}

        def place(number: int) -> tuple[str, int, int]:
            run = runs[number]
            return begins[bodies[number], run], run, self.sequences[number][0]

        lines: dict[Body, list[int]] = {}
        for number in sorted(bodies, key=place):
            lines.setdefault(bodies[number], []).extend(self.sequences[number])
        return {body: tuple(frames) for body, frames in lines.items()}

    def _run(self, sequence: int) -> int:
        """The ingest that brought its first frame."""
        return min(entry.run for entry in self.files[self.sequences[sequence][0]])

    def _captured(self, sequence: int) -> str:
        files = self.files[self.sequences[sequence][0]]
        return next((entry.row.captured for entry in files if entry.row.captured), "")

    def entries(self) -> Iterator[Entry]:
        """Every file of a sequence."""
        for files in (*self.files.values(), *self.merged.values()):
            yield from files
