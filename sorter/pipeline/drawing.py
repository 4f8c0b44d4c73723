"""Pictures of one task drawn: in whatever thread or process, straight into the report's folder.

The unit of work is a stack with its trial merge, which takes its slices one after the other, or a dozen
other frames. Pictures never go from process to process: what comes back says which of them are there.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from sorter.disk.permission import Permission
from sorter.disk.reported import put_picture
from sorter.disk.shoot import Shoot
from sorter.model.boxes import Box
from sorter.model.measurement import FrameSource
from sorter.pixels.decoded import Undecodable
from sorter.pixels.drawn import GOOD, false_colour, jpeg, small
from sorter.pixels.merging import SlicePosition, TrialMerge, TrialResult
from sorter.pixels.reduced import COLOUR, Reduced, reduced
from sorter.pixels.threads import on_one_thread

MERGED: Final = 3
"""Grows whenever merges are made otherwise: those of another format version are made again."""
LEAST: Final = 2
"""Slices that make a merge."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameDrawing:
    """A frame to be drawn. files: the names of its small and its large picture. wanted: they are not there."""

    number: int
    source: FrameSource
    files: tuple[str, str]
    wanted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MergeDrawing:
    """A trial merge. slices: indexes of the frames; order: positions as the colours of the depth map go.

    key: of all frames of the stack. places: where each of them lies. boxes: where something moved, each in
    shares of the first frame: left, top, width, height.
    """

    number: int
    key: str
    slices: tuple[int, ...]
    order: tuple[int, ...]
    places: tuple[tuple[float, float, float] | None, ...]
    boxes: tuple[Box, ...] = ()

    @property
    def files(self) -> tuple[str, str]:
        """The names of the merge and of its depth map: others for other slices."""
        text = f"{MERGED} {self.slices} {self.order} {self.boxes}\n{self.key}"
        name = hashlib.sha256(text.encode()).hexdigest()[:16]
        return f"merge-{name}.jpg", f"depth-{name}.png"

    def of(self, slices: tuple[int, ...]) -> MergeDrawing:
        """The same of these slices alone."""
        order = tuple(position for position in self.order if position - 1 in slices)
        return replace(self, slices=slices, order=order)


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """One task. merge: of these frames; None where none is wanted, or it is there."""

    shoot: Path
    permission: Permission
    frames: tuple[FrameDrawing, ...]
    merge: MergeDrawing | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """What came of a task. names: of the pictures that were drawn. why: of frames without one, by number.

    merge: what was merged; None where nothing was.
    """

    names: tuple[str, ...]
    why: tuple[tuple[int, str], ...]
    merge: MergeDrawing | None


@on_one_thread
def draw(task: Drawing) -> Drawn:
    """All pictures of these frames are there; of those before it where permission is withdrawn.

    Raises OSError, ShootNotWritable.
    """
    boxes = task.merge.boxes if task.merge is not None else ()
    drawer = _Drawer(Shoot(task.shoot), trial=TrialMerge(boxes))
    for index, frame in enumerate(task.frames):
        if not task.permission.holds:
            return drawer.drawn(None)
        if frame.wanted or (task.merge is not None and index in task.merge.slices):
            drawer.draw(index, frame, task.merge)
    return drawer.drawn(task.merge)


@dataclass(slots=True)
class _Drawer:
    """Draws frame by frame. taken: indexes of the slices of the merge so far."""

    shoot: Shoot
    trial: TrialMerge = field(default_factory=TrialMerge)
    taken: list[int] = field(default_factory=list)
    profile: bytes = b""
    names: list[str] = field(default_factory=list)
    why: list[tuple[int, str]] = field(default_factory=list)

    def draw(self, index: int, frame: FrameDrawing, merge: MergeDrawing | None) -> None:
        """The frame's pictures are there, and it is a part of the merge."""
        try:
            found = reduced(frame.source, COLOUR)
        except Undecodable as error:
            self.why.append((frame.number, str(error)))
            return
        except OSError as error:
            self.why.append((frame.number, f"cannot be read ({error.strerror})"))
            return
        if frame.wanted:
            little = small(found.samples)
            for name, each in zip(frame.files, (little, found.samples), strict=True):
                self._put(name, jpeg(each, profile=found.profile))
        if merge is not None and index in merge.slices:
            self._take(index, found, merge.places[index])

    def _take(self, index: int, found: Reduced, place: tuple[float, float, float] | None) -> None:
        x, y, growth = place or (0.0, 0.0, 1.0)
        if self.trial.add(found.samples, SlicePosition(x=x, y=y, growth=growth) if place else None):
            self.taken.append(index)
            self.profile = found.profile or self.profile

    def drawn(self, merge: MergeDrawing | None) -> Drawn:
        """What came of it all. merge: what is to be made of the slices that were taken."""
        found = self.trial.merged() if merge is not None and len(self.taken) >= LEAST else None
        made = None
        if merge is not None and found is not None:
            made = merge.of(tuple(self.taken))
            self._put_merge(made, found)
        return Drawn(names=tuple(self.names), why=tuple(self.why), merge=made)

    def _put_merge(self, made: MergeDrawing, found: TrialResult) -> None:
        import numpy as np  # noqa: PLC0415  slow to load, and few commands draw

        rank = {position: place for place, position in enumerate(made.order)}
        ranks = np.array([rank[index + 1] for index in made.slices])
        depth = ranks[found.depth] / max(1, len(ranks) - 1)
        pictures = jpeg(found.picture, GOOD, self.profile), false_colour(depth, found.textured)
        for name, data in zip(made.files, pictures, strict=True):
            self._put(name, data)

    def _put(self, name: str, data: bytes) -> None:
        put_picture(self.shoot, name, data)
        self.names.append(name)
