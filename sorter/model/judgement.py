"""What the pictures of one series say by themselves, whatever stands around it."""

from __future__ import annotations

from dataclasses import dataclass

from sorter.model.finding import Check, FrameFindings, ProposedSequence


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameSummary:
    """How much a frame shows. light: its mean grey, 0 to 255.

    fine, coarse: detail that focus brings out, and that which is left without it, both for the light that
    it was taken in; without a unit. goes_on: it shows what the frame right before it in its series does.
    """

    light: float
    fine: float
    coarse: float
    goes_on: bool = False


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
    tiles that are truly sharp somewhere. summaries: of lone frames each, of others the sharpest alone;
    None where it cannot be seen. thumb: of the slice in the middle of what is used of a stack.
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
