"""A series of frames measured: each by itself, and each against the one before it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Final

from sorter.model.measurement import (
    ALIKE,
    Displacement,
    FrameSource,
    MeasuredSeries,
    Measurement,
    TooLarge,
)
from sorter.pixels.decoded import HasTooMany, Undecodable
from sorter.pixels.reduced import grey
from sorter.pixels.sharpness import measure
from sorter.pixels.shifts import Placeable, displacement, placeable
from sorter.pixels.threads import on_one_thread

DARKER: Final = 0.6
"""Of another frame's mean grey: a frame so dark is none that others are held against."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredStretch:
    """Frames that follow each other in a series; None for one that cannot be decoded or read.

    moves: how each lies to the one right before it in the stretch.
    """

    frames: tuple[Placeable | None, ...]
    displacements: tuple[Displacement | None, ...]
    too_large: tuple[TooLarge, ...] = ()


@on_one_thread
def measure_frames(frames: tuple[FrameSource, ...]) -> MeasuredStretch:
    """These frames measured; none but the one at hand is kept decoded."""
    found: list[Placeable | None] = []
    displacements: list[Displacement | None] = []
    too_large: list[TooLarge] = []
    for index, frame in enumerate(frames):
        before = found[-1] if found else None
        now = _measured_frames(frame)
        if isinstance(now, HasTooMany):
            too_large.append(TooLarge(index=index, pixels=now.pixels, most=now.most))
            now = None
        displacements.append(displacement(before, now, index - 1) if before and now else None)
        found.append(now)
    return MeasuredStretch(
        frames=tuple(found), displacements=tuple(displacements), too_large=tuple(too_large)
    )


def _measured_frames(frame: FrameSource) -> Placeable | HasTooMany | None:
    try:
        plain, scale = grey(frame)
    except HasTooMany as error:
        return error
    except (Undecodable, OSError):
        return None
    return placeable(plain, measure(plain, scale))


@on_one_thread
def joined(chain: Chain, stretch: MeasuredStretch) -> None:
    """The stretch is the next in the chain."""
    start = len(chain.measurements)
    chain.too_large += [replace(each, index=each.index + start) for each in stretch.too_large]
    for found, before in zip(stretch.frames, stretch.displacements, strict=True):
        chain.add(found, None if before is None else replace(before, of=before.of + start))


def chained(frames: Iterable[Placeable | None]) -> MeasuredSeries:
    """The frames, each held against the last one before it that shows the same."""
    chain = Chain()
    for found in frames:
        chain.add(found)
    return chain.measured


@dataclass(slots=True)
class Chain:
    """Frames as they come, each held against the last one that showed the same.

    other: the last frame that did not show what its anchor did: where the next one shows the same
    as it, the scene changed, and it becomes the anchor.
    """

    measurements: list[Measurement | None] = field(default_factory=list)
    displacements: list[Displacement | None] = field(default_factory=list)
    too_large: list[TooLarge] = field(default_factory=list)
    anchor: tuple[int, Placeable] | None = None
    other: tuple[int, Placeable] | None = None

    @property
    def measured(self) -> MeasuredSeries:
        """All frames so far."""
        return MeasuredSeries(
            measurements=tuple(self.measurements),
            displacements=tuple(self.displacements),
            too_large=tuple(self.too_large),
        )

    def add(self, found: Placeable | None, before: Displacement | None = None) -> None:
        """The next frame; None where it cannot be seen. before: how it lies to the frame right before it."""
        index = len(self.measurements)
        self.measurements.append(None if found is None else found.measurement)
        self.displacements.append(None)
        if found is None:
            return
        if self.anchor is not None and _tells_more(found, self.anchor[1]):
            self.anchor = self.other = None
        for earlier in filter(None, (self.anchor, self.other)):
            known = before is not None and before.of == earlier[0]
            each = before if known else displacement(earlier[1], found, earlier[0])
            self.displacements[index] = self.displacements[index] or each
            if each is not None and each.likeness >= ALIKE:
                self.displacements[index] = each
                if _tells_more(earlier[1], found):
                    return
                if earlier is self.other or not _is_darker(found, earlier[1]):
                    self.anchor, self.other = (index, found), None
                return
        if self.anchor is None:
            self.anchor = index, found
        elif not _tells_more(self.anchor[1], found):
            self.other = index, found


def _tells_more(frame: Placeable, than: Placeable) -> bool:
    """Whether the frame tells of focus and the other one does not: that is none to hold it against."""
    return frame.measurement.tells_focus and not than.measurement.tells_focus


def _is_darker(frame: Placeable, than: Placeable) -> bool:
    return float(frame.measurement.light.mean()) < DARKER * float(than.measurement.light.mean())
