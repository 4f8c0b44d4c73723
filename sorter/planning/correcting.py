"""Corrections as regroupings of a shoot that holds their frames already. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Final

from sorter.model.change import Regrouping
from sorter.model.correction import USER_SAID, Correction
from sorter.model.kinds import Kind, Who
from sorter.model.plan import Entry
from sorter.model.quoting import quoted
from sorter.model.stretches import (
    WRITE_THE_PATH,
    Spot,
    Stretch,
    is_merged,
    is_no_frame,
    stretches,
)
from sorter.planning.outline import Outline

_OPEN: Final = " and does not name its kind"


def regroupings(
    entries: Iterable[Entry], corrections: Iterable[Correction]
) -> tuple[Regrouping, ...]:
    """One for each correction: the frames from its first to its last, in order of capture.

    Raises Misfit for the first correction that does not fit: as `stretches`, and for a path that no file
    of the shoot had, that several had, or that is no frame or was merged by the camera.
    """
    shoot = _Frames(entries)
    return tuple(shoot.regrouping(each) for each in stretches(corrections, shoot.spot))


class _Frames:
    """The frames of a shoot, to be found by the paths that their files had on the card."""

    def __init__(self, entries: Iterable[Entry]) -> None:
        entries = tuple(entries)
        self._outline = Outline(entries)
        self._lines = tuple(self._outline.lines.values())
        self._spots = {
            frame: Spot(body=body, place=place)
            for body, line in enumerate(self._lines)
            for place, frame in enumerate(line)
        }
        self._by_path: dict[str, list[Entry]] = {}
        for entry in entries:
            if entry.row.source:
                self._by_path.setdefault(entry.row.source, []).append(entry)

    def spot(self, path: str) -> Spot | str:
        """Where the file's frame lies, or why it is none of a timeline."""
        found = self._by_path.get(path, [])
        if not found:
            return f"no file of this shoot was {quoted(path)} on its card. {WRITE_THE_PATH}"
        if len({entry.row.frame for entry in found}) > 1:
            return _of_several(path)
        row = found[0].row
        if row.frame is None:
            return is_no_frame(path, row.kind, "Name a picture.")
        return self._spots.get(row.frame) or is_merged(path)

    def regrouping(self, one: Stretch) -> Regrouping:
        """What the correction says of these frames."""
        frames = self._lines[one.body][one.start : one.stop]
        kind, why = self._kind(one, frames)
        these = "this frame is a" if len(frames) == 1 else f"these {len(frames)} frames are one"
        notes = f"{USER_SAID} that {these} sequence{why}"
        grounds = f"{notes}; begins here: {USER_SAID} so"
        return Regrouping(
            frames=frames, kind=kind, grounds=grounds, said_by=Who.USER, name=one.name
        )

    def _kind(self, one: Stretch, frames: tuple[int, ...]) -> tuple[Kind, str]:
        """The kind, and where it comes from.

        Where the correction leaves it open: a single for one frame; the kind of the one sequence in
        which all frames lie; else what most of them are, but no single; a burst where all are that.
        """
        if one.kind is not None:
            return one.kind, f": {one.kind}"
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


def _of_several(path: str) -> str:
    return (
        f"several cards brought a file {quoted(path)}, so that it does not tell which frame is meant. "
        "Name another file of the frame."
    )
