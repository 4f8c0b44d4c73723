"""What the pictures of a sequence say of it: a row of checks.csv, and how sequences are to be cut."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from sorter.model.kinds import STACK_KINDS, Kind

Positions = tuple[int, ...]
"""Places of frames in their sequence, from 1. What lies between two is named by the one before it."""

LEAST_RUN = 3
"""Positions in a row that are written as a span."""


class Verdict(StrEnum):
    """Whether a stack is worth merging.

    complete: as it is. usable: without the frames that dark and jumps name. incomplete: something of
    the subject is sharp in no slice. broken: it moved too much to be one picture.
    """

    COMPLETE = "complete"
    USABLE = "usable"
    INCOMPLETE = "incomplete"
    BROKEN = "broken"


class End(StrEnum):
    """At which end of a series sharp subject goes on beyond it."""

    FIRST = "first"
    LAST = "last"
    BOTH = "both"


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """The findings on one sequence of two or more frames.

    verdict: None for what is no stack, or cannot be judged. first_sharp_share, last_sharp_share: the
    share of textured tiles that peak there and still rise. surplus: slices that are sharpest nowhere.
    drift_px: the largest shift between two frames, in pixels of the pictures that were looked at.
    best_frames: of a burst, best first. looks_like: the kind that the pictures say, where it differs.
    attempts: sequences of one subject, the best first. says: the findings as sentences.

    Behind the contract's columns: moved, where something in the frame moved by itself; bright_steps,
    where the light changed, and bright_ev, by how much; unseen, frames that could not be looked at;
    order, the frames by focus where that is not the order of capture; odd: frames that show something
    else altogether; step_of_depth: an estimate of how far focus goes from slice to slice, in depths of
    field; growth: how much larger the largest frame shows the scene than the smallest (breathing),
    0.01 is 1 %.
    """

    sequence: int
    kind: Kind
    frames: int
    verdict: Verdict | None = None
    missing_end: End | None = None
    first_sharp_share: float | None = None
    last_sharp_share: float | None = None
    gaps: Positions = ()
    jumps: Positions = ()
    dark: Positions = ()
    surplus: Positions = ()
    keep_first: int | None = None
    keep_last: int | None = None
    drift_px: float | None = None
    best_frames: Positions = ()
    looks_like: Kind | None = None
    attempts: tuple[int, ...] = ()
    says: str = ""
    moved: Positions = ()
    bright_steps: Positions = ()
    unseen: Positions = ()
    order: Positions = ()
    odd: Positions = ()
    bright_ev: tuple[float, ...] = ()
    step_of_depth: float | None = None
    growth: float | None = None

    @property
    def by_picture(self) -> Kind:
        """The kind that the pictures say, which mostly is the sequence's own."""
        return self.looks_like or self.kind

    @property
    def is_stack(self) -> bool:
        """Whether the pictures say that there is a stack."""
        return self.by_picture in STACK_KINDS


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """A sequence frame by frame, all in order of capture.

    use: whether the frame shows the sequence's subject in its light. shares: of what has texture, the
    share that is sharpest in the frame; None for frames that are left out, and for what is no stack.
    places: how the frame lies to the first one: x and y as shares of its longer side, and growth (1:
    as large); None where that is not known. sizes: width and height of its picture in pixels; None
    where it cannot be looked at.
    """

    use: tuple[bool, ...]
    shares: tuple[float | None, ...]
    places: tuple[tuple[float, float, float] | None, ...]
    sizes: tuple[tuple[int, int] | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """Frames that the pictures say are one sequence of a kind, and why.

    first, last: indexes into the frames that were looked at, in order of capture; both included.
    """

    first: int
    last: int
    kind: Kind
    grounds: str


def listed(positions: Positions, *, sort: bool = True) -> str:
    """Positions in words: 1 to 3, 7."""
    if not sort:
        return ", ".join(map(str, positions))
    runs: list[list[int]] = []
    for position in sorted(positions):
        if runs and position == runs[-1][-1] + 1:
            runs[-1].append(position)
        else:
            runs.append([position])
    return ", ".join(
        f"{run[0]} to {run[-1]}" if len(run) >= LEAST_RUN else ", ".join(map(str, run))
        for run in runs
    )
