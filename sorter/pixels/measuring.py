"""A series of frames measured: each by itself, and each against the one before it."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import Final, TypeAlias

from sorter.model.glance import ALIKE, Glance, Measured, Move, Seen
from sorter.pixels.decoded import Undecodable
from sorter.pixels.reduced import grey
from sorter.pixels.sharpness import glance
from sorter.pixels.shifts import Placeable, move, placeable

DARKER: Final = 0.6
"""Of another frame's mean grey: a frame so dark is none that others are held against."""
Told: TypeAlias = Callable[[int], None]
Looked: TypeAlias = tuple[Placeable | None, Move | None]


def measure(
    frames: Sequence[Seen], workers: ThreadPoolExecutor, ahead: int, told: Told
) -> Measured:
    """The frames in their order. ahead: how many may wait, decoded. told: of each that is done.

    A frame that cannot be decoded or read is None there.
    """
    import cv2  # noqa: PLC0415  slow to load, and few commands look at pictures

    cv2.setNumThreads(1)  # the workers are as many as there are to be

    chain = _Chain()
    for found, before in _in_order(frames, workers, ahead):
        chain.add(found, before)
        told(1)
    return chain.measured


def chained(frames: Iterable[Placeable | None]) -> Measured:
    """The frames, each held against the last one before it that shows the same."""
    chain = _Chain()
    for found in frames:
        chain.add(found)
    return chain.measured


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

    @property
    def measured(self) -> Measured:
        """All frames so far."""
        return Measured(glances=tuple(self.glances), moves=tuple(self.moves))

    def add(self, found: Placeable | None, before: Move | None = None) -> None:
        """The next frame; None where it cannot be seen. before: how it lies to the frame right before it."""
        index = len(self.glances)
        self.glances.append(None if found is None else found.glance)
        self.moves.append(None)
        if found is None:
            return
        for earlier in filter(None, (self.anchor, self.other)):
            known = before is not None and before.of == earlier[0]
            each = before if known else move(earlier[1], found, earlier[0])
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


def _in_order(frames: Sequence[Seen], workers: ThreadPoolExecutor, ahead: int) -> Iterator[Looked]:
    """Each frame, and how it lies to the one right before it, which most are held against."""
    waiting: deque[Future[Looked]] = deque()
    last: Future[Looked] | None = None
    try:
        for index, frame in enumerate(frames):
            last = workers.submit(_looked_at, frame, last, index - 1)
            waiting.append(last)
            if len(waiting) > ahead:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()
    finally:
        for each in waiting:
            each.cancel()


def _looked_at(frame: Seen, last: Future[Looked] | None, of: int) -> Looked:
    """last: the frame before, whose work began before this, so that waiting for it ends."""
    try:
        plain, scale = grey(frame)
    except (Undecodable, OSError):
        return None, None
    found = placeable(plain, glance(plain, scale))
    before = last.result()[0] if last is not None else None
    return found, move(before, found, of) if before is not None else None
