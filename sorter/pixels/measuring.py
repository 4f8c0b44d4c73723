"""A series of frames measured: each by itself, and each against the one before it."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Final, TypeAlias

from sorter.model.glance import ALIKE, Glance, Measured, Move, Seen
from sorter.pixels.decoded import Undecodable
from sorter.pixels.greys import grey
from sorter.pixels.sharpness import glance
from sorter.pixels.shifts import Placeable, move, placeable

DARKER: Final = 0.6
"""Of another frame's mean grey: a frame so dark is none that others are held against."""
Told: TypeAlias = Callable[[int], None]


def measure(
    frames: Sequence[Seen], workers: ThreadPoolExecutor, ahead: int, told: Told
) -> Measured:
    """The frames in their order. ahead: how many may wait, decoded. told: of each that is done.

    A frame that cannot be decoded or read is None there.
    """
    import cv2  # noqa: PLC0415  slow to load, and few commands look at pictures

    cv2.setNumThreads(1)  # the workers are as many as there are to be

    def each() -> Iterator[Placeable | None]:
        for found in _in_order(frames, workers, ahead):
            yield found
            told(1)

    return chained(each())


def chained(frames: Iterable[Placeable | None]) -> Measured:
    """The frames, each held against the last one before it that shows the same."""
    chain = _Chain()
    for found in frames:
        chain.add(found)
    return Measured(glances=tuple(chain.glances), moves=tuple(chain.moves))


@dataclass(slots=True)
class _Chain:
    """Frames as they come, each held against the last one that showed the same.

    other: the last frame that did not show what its anchor did: where the next one shows the same
    as it, the scene changed, and it becomes the anchor.
    """

    glances: list[Glance | None] = field(default_factory=list)
    moves: list[Move | None] = field(default_factory=list)
    anchor: tuple[int, Placeable] | None = None
    other: tuple[int, Placeable] | None = None

    def add(self, found: Placeable | None) -> None:
        """The next frame; None where it cannot be seen."""
        index = len(self.glances)
        self.glances.append(None if found is None else found.glance)
        self.moves.append(None)
        if found is None:
            return
        for earlier in filter(None, (self.anchor, self.other)):
            each = move(earlier[1], found, earlier[0])
            self.moves[index] = self.moves[index] or each
            if each is not None and each.likeness >= ALIKE:
                self.moves[index] = each
                if earlier is self.other or not _is_darker(found, earlier[1]):
                    self.anchor, self.other = (index, found), None
                return
        if self.anchor is None:
            self.anchor = index, found
        else:
            self.other = index, found


def _is_darker(frame: Placeable, than: Placeable) -> bool:
    return float(frame.glance.light.mean()) < DARKER * float(than.glance.light.mean())


def _in_order(
    frames: Sequence[Seen], workers: ThreadPoolExecutor, ahead: int
) -> Iterator[Placeable | None]:
    waiting: deque[Future[Placeable | None]] = deque()
    try:
        for frame in frames:
            waiting.append(workers.submit(_looked_at, frame))
            if len(waiting) > ahead:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    finally:
        for each in waiting:
            each.cancel()


def _looked_at(frame: Seen) -> Placeable | None:
    try:
        plain, scale = grey(frame)
    except (Undecodable, OSError):
        return None
    return placeable(plain, glance(plain, scale))
