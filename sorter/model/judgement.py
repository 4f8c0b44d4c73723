"""What the pictures of one series say by themselves, whatever stands around it."""

from __future__ import annotations

from dataclasses import dataclass

from sorter.model.finding import Check, FrameFindings, ProposedSequence


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameSummary:
    """A frame in short. is_plain: it is black, white or one plain shade.

    sharpness: of its sharpest parts, for the light that it was taken in; without a unit.
    """

    is_plain: bool
    sharpness: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Thumb:
    """A picture in small: its grey levels, a byte each, row by row."""

    rows: int
    columns: int
    data: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """The findings on a sequence, or on lone frames that follow each other.

    check: its sequence is 0, for what was judged bears no number, and nothing is said of attempts; None
    for lone frames. frame_findings: all frames of the series. proposed: how it is to be cut or renamed. covered:
    tiles that are truly sharp somewhere. glimpses: of lone frames each, of others the first and the
    last; None where it cannot be seen. thumb: of the slice in the middle of what is used of a stack.
    """

    frame_findings: FrameFindings
    check: Check | None = None
    proposed: tuple[ProposedSequence, ...] = ()
    covered: int = 0
    summaries: tuple[FrameSummary | None, ...] = ()
    thumb: Thumb | None = None

    @property
    def is_stack(self) -> bool:
        """Whether the pictures say that there is a stack."""
        return self.check is not None and self.check.is_stack
