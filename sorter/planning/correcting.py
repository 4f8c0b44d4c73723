"""Corrections as regroupings of a shoot that holds their frames already. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Final

from sorter.model.correction import USER_SAID, Correction
from sorter.model.kinds import Kind, Who
from sorter.model.plan import Entry
from sorter.model.regrouping import Regrouping
from sorter.planning.outline import Outline
from sorter.planning.regrouping import CannotRegroup

_OPEN: Final = " and does not name its kind"


def regroupings(
    entries: Iterable[Entry], corrections: Iterable[Correction]
) -> tuple[Regrouping, ...]:
    """One for each correction: the frames from its first to its last, in order of capture.

    Raises CannotRegroup with the line: a path that no file of the shoot had, that several had, or
    that is no frame or was merged by the camera; two bodies; the wrong order; a single of several
    frames; frames that an earlier correction has already.
    """
    shoot = _Frames(entries)
    taken: dict[int, int] = {}
    found = []
    for correction in corrections:
        frames = shoot.frames(correction)
        for frame in frames:
            if taken.setdefault(frame, correction.line) != correction.line:
                raise _fault(correction, _overlap(taken[frame]))
        found.append(shoot.regrouping(correction, frames))
    return tuple(found)


class _Frames:
    """The frames of a shoot, to be found by the paths that their files had on the card."""

    def __init__(self, entries: Iterable[Entry]) -> None:
        entries = tuple(entries)
        self._outline = Outline(entries)
        self._by_path: dict[str, list[Entry]] = {}
        for entry in entries:
            if entry.row.source:
                self._by_path.setdefault(entry.row.source, []).append(entry)

    def frames(self, one: Correction) -> tuple[int, ...]:
        """The frames that the correction names."""
        first, last = self._frame(one, one.first), self._frame(one, one.last or one.first)
        line = next(line for line in self._outline.lines.values() if first in line)
        if last not in line:
            raise _fault(one, _two_bodies(one))
        start, stop = line.index(first), line.index(last) + 1
        if stop <= start:
            raise _fault(one, f"{one.first!r} was taken after {one.last!r}. Change the two about.")
        return line[start:stop]

    def _frame(self, one: Correction, path: str) -> int:
        found = self._by_path.get(path, [])
        if not found:
            raise _fault(one, _is_strange(path))
        frames = {entry.row.frame for entry in found}
        if len(frames) > 1:
            raise _fault(one, _of_several(path))
        row = found[0].row
        if row.frame is None:
            raise _fault(one, f"{path!r} is no frame ({row.kind}). Name a picture.")
        if row.frame not in self._outline.files:
            raise _fault(one, _is_merged(path))
        return row.frame

    def regrouping(self, one: Correction, frames: tuple[int, ...]) -> Regrouping:
        """What the correction says of these frames."""
        kind, why = self._kind(one, frames)
        if kind is Kind.SINGLE and len(frames) > 1:
            raise _fault(one, _no_single(len(frames)))
        these = "this frame is a" if len(frames) == 1 else f"these {len(frames)} frames are one"
        said = f"{USER_SAID} that {these} sequence{why}"
        grounds = f"{said}; begins here: {USER_SAID} so"
        return Regrouping(
            frames=frames, kind=kind, grounds=grounds, said_by=Who.USER, name=one.name
        )

    def _kind(self, one: Correction, frames: tuple[int, ...]) -> tuple[Kind, str]:
        """The kind, and where it comes from.

        Where the correction leaves it open: a single for one frame; the kind of the one sequence in
        which all frames lie; else what most of them are, but no single; a burst where all are that.
        """
        if one.kind:
            return Kind(one.kind), f": {one.kind}"
        if len(frames) == 1:
            return Kind.SINGLE, f"{_OPEN}: one frame is a single"
        kinds = Counter(self._outline.row(frame).kind for frame in frames)
        if len({self._outline.sequence_of[frame] for frame in frames}) == 1:
            (kind,) = kinds
            return kind, f"{_OPEN}: {kind} as before"
        del kinds[Kind.SINGLE]
        if not kinds:
            return Kind.BURST, f"{_OPEN}: all were singles, and burst claims least"
        kind = kinds.most_common(1)[0][0]
        return kind, f"{_OPEN}: {kind} as most of it was"


def _fault(one: Correction, what: str) -> CannotRegroup:
    return CannotRegroup(what, one.line)


def _is_strange(path: str) -> str:
    return (
        f"no file of this shoot was {path!r} on its card. Write the path below the card, with forward "
        "slashes, as the manifest's column source has it."
    )


def _of_several(path: str) -> str:
    return (
        f"several cards brought a file {path!r}, so that it does not tell which frame is meant. Name "
        "another file of the frame."
    )


def _is_merged(path: str) -> str:
    return f"{path!r} is a picture that the camera merged itself. Name the frames it came from."


def _two_bodies(one: Correction) -> str:
    return (
        f"{one.first!r} and {one.last!r} are of two bodies, and a sequence is of one. Write a line "
        "for each body."
    )


def _no_single(count: int) -> str:
    return (
        f"these are {count} frames, and a single is one. Write a line for each frame, or another "
        "kind."
    )


def _overlap(line: int) -> str:
    return (
        f"line {line} has some of these frames already. Let one of the two end before the other "
        "begins."
    )
