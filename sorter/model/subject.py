"""What pictures are looked at for, sequence by sequence, and what was found in all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from sorter.model.change import Regrouping
from sorter.model.correction import Correction
from sorter.model.finding import Check, FrameFindings
from sorter.model.kinds import Kind
from sorter.model.measurement import FrameSource


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """A sequence to look at. frames: in order of capture. paths: of each frame, on the card.

    nearward: whether focus went toward near; None where the camera does not tell. step_of_depth: as a
    check has it. body: whose sequence it is. retakes: the sequences that it is a retake or a repeat of.
    numbers: of each frame in the manifest; none on a card. is_said: the user said what it is, and
    pictures say nothing else. exposures, taken_s: of each frame, in EV (brighter is larger) and in seconds by
    the camera's clock; None where it does not tell.
    """

    number: int
    kind: Kind
    frames: tuple[FrameSource, ...]
    paths: tuple[str, ...]
    nearward: bool | None = None
    step_of_depth: float | None = None
    body: str = ""
    retakes: tuple[int, ...] = ()
    numbers: tuple[int, ...] = ()
    exposures: tuple[float | None, ...] = ()
    taken_s: tuple[float | None, ...] = ()
    is_known: bool = False

    @property
    def is_lone(self) -> bool:
        """Whether it is one frame by itself."""
        return self.kind in (Kind.SINGLE, Kind.MARKER)


@dataclass(frozen=True, slots=True, kw_only=True)
class SubjectSeries:
    """Frames that are looked at as one series: a sequence, or lone frames that follow each other.

    key: equal for equal pictures in the same order; empty where that is not known.
    """

    subjects: tuple[Subject, ...]
    key: str = ""

    @property
    def first(self) -> Subject:
        """The first of its sequences, which mostly is the only one."""
        return self.subjects[0]

    @property
    def frames(self) -> tuple[FrameSource, ...]:
        """All of them, in order."""
        return tuple(frame for subject in self.subjects for frame in subject.frames)

    @property
    def owners(self) -> tuple[Subject, ...]:
        """Of each frame, the sequence that it is in."""
        return tuple(subject for subject in self.subjects for _ in subject.frames)


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """What was found. checks: a row for each sequence of two or more frames, in their order.

    suggested: how the pictures would group frames otherwise; why stands in each. regroupings: the
    same of a shoot, by the frames' numbers in its manifest; none of a card. frame_findings: every sequence,
    singles too, frame by frame, by its number. shoots: folders of a card that are shoots, and were not
    looked into.
    """

    checks: tuple[Check, ...] = ()
    suggested: tuple[Correction, ...] = ()
    regroupings: tuple[Regrouping, ...] = ()
    frame_findings: Mapping[int, FrameFindings] = field(default_factory=dict)
    shoots: tuple[str, ...] = ()
