"""The parts of the page, as the template takes them: texts are plain and get escaped there."""

from __future__ import annotations

from dataclasses import dataclass

from sorter.model.boxes import Box
from sorter.model.kinds import Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A head figure. more: a second line, in small."""

    label: str
    value: str
    more: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """A frame as a picture among others.

    sequence, kind, body: of the sequence that it is in. cell: its source path as a corrections file
    has it. small: its picture; the page finds the large one by its name. why: where there is none, the
    reason. state: best, or out (left out of the merge), with state_words for it; empty otherwise.
    attention: why it deserves a look, where it is a sequence of its own.
    """

    sequence: int
    position: int
    cell: str
    name: str
    clock: str
    focus: str
    small: str
    why: str
    tall: bool
    state: str = ""
    state_words: str = ""
    kind: Kind = Kind.SINGLE
    body: int = 0
    attention: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisLabel:
    """A place on an axis or in a legend: at (SVG units, or share in %), and what it is called."""

    at: float
    text: str
    colour: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Merge:
    """A trial merge and its depth map.

    legend: slices, as far apart as the colours they stand for. of: in words how many slices, and which were
    left out, and why. frame: width and height of the first slice. boxes: where something moved, in shares
    of it.
    """

    picture: str
    depth: str
    of: str
    left_out: tuple[str, ...]
    legend: tuple[int, ...]
    frame: tuple[int, int] = (1, 1)
    boxes: tuple[Box, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What one would look at to refute a finding. asks: which question. frames: the positions to open."""

    asks: str
    frames: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """Focus over the slices. bars, outs: SVG paths of shares, outs of slices that are left out of the merge.

    line: SVG points of the distance. stated: all of it in a sentence.
    """

    bars: str
    outs: str
    line: str
    below: tuple[AxisLabel, ...]
    left: tuple[AxisLabel, ...]
    right: tuple[AxisLabel, ...]
    gaps: tuple[float, ...]
    stated: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """One of several sequences of one subject."""

    number: int
    picture: str
    frames: int
    verdict: str
    is_best: bool
    is_this: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Relation:
    """What the sequence is to another: a retake of it, say."""

    words: str
    number: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A sequence of two or more frames.

    folder_of: what the source paths of all its frames begin with, and their shots are not told again.
    """

    number: int
    kind: Kind
    label: str
    body: int
    frames: int
    planned: int | None
    when: str
    setting: tuple[str, ...]
    folder: str
    folder_of: str
    verdict: str
    attention: tuple[str, ...]
    says: str
    proofs: tuple[Proof, ...]
    grounds: str
    notes: tuple[str, ...]
    relations: tuple[Relation, ...]
    attempts: tuple[Attempt, ...]
    results: tuple[str, ...]
    merge: Merge | None
    plot: Plot | None
    best: tuple[Shot, ...]
    shots: tuple[Shot, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TimelineMark:
    """A sequence on the time line. x, width: SVG units, as short as they can be written."""

    number: int
    kind: Kind
    x: str
    width: str
    stated: str
    needs_attention: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """A body's line on the time line."""

    label: str
    y: float
    marks: tuple[TimelineMark, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeLine:
    """All bodies over time; long pauses are folded. folds: where, and how long each pause was."""

    lanes: tuple[Lane, ...]
    stops: tuple[AxisLabel, ...]
    folds: tuple[AxisLabel, ...]
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Loose:
    """A file that is in no sequence, and why."""

    path: str
    kind: str
    place: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class KindCount:
    """A kind that the shoot has, for the filter."""

    kind: Kind
    label: str
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """The whole page. attention_count: how many sequences deserve attention."""

    title: str
    figures: tuple[Figure, ...]
    kinds: tuple[KindCount, ...]
    attention_count: int
    has_stacks: bool
    line: TimeLine | None
    colours: tuple[AxisLabel, ...]
    sections: tuple[Section, ...]
    wall: tuple[Shot, ...]
    loose: tuple[Loose, ...]
