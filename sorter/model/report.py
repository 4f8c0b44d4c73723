"""What a report is made of: the manifest's rows, the findings, and which pictures were made."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from sorter.model.finding import Check, FrameFindings
from sorter.model.row import Row


@dataclass(frozen=True, slots=True, kw_only=True)
class Pictured:
    """The small picture of one frame: its name below the report's folder, beside which the large one lies.

    why: where there is none, the reason.
    """

    small: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """A stack's trial merge: names below the report's folder.

    slices: the positions that it was made of, in order of capture. order: the same as the colours of
    the depth map go.
    """

    picture: str
    depth: str
    slices: tuple[int, ...]
    order: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """Everything that a page is made of.

    title: the shoot's name. rows: all of the manifest's, in its order, without findings among their
    notes. checks, looks, trials: by the number of the sequence. pictures: by the number of the frame.
    suggested: what the pictures would group otherwise, by the number of the first frame, as a sentence.
    colours: of the depth map, #rrggbb, first to last. cell: a source path as a corrections file has it.
    """

    title: str
    rows: tuple[Row, ...]
    checks: Mapping[int, Check] = field(default_factory=dict)
    frame_findings: Mapping[int, FrameFindings] = field(default_factory=dict)
    trials: Mapping[int, Trial] = field(default_factory=dict)
    pictures: Mapping[int, Pictured] = field(default_factory=dict)
    suggested: Mapping[int, str] = field(default_factory=dict)
    colours: tuple[str, ...] = ()
    cell: Callable[[str], str] = str
