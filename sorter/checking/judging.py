"""A series of frames to a judgement: what its pictures say of it by themselves."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from sorter.checking.frame_findings import frame_findings, sizes
from sorter.checking.markers import sharpest
from sorter.checking.proposing import proposed_sequences
from sorter.checking.series import Judged, judge
from sorter.checking.singles import stacks_in
from sorter.checking.sizes import telling
from sorter.checking.summaries import summaries
from sorter.model.finding import Check, FrameFindings
from sorter.model.judgement import Judgement, Thumb
from sorter.model.kinds import Kind
from sorter.model.measurement import MeasuredSeries, Measurement

LEAST_SINGLES: Final = 3
"""Single frames that may be slices of one stack."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Frames to be judged together: a sequence of a kind, or lone frames that follow each other.

    nearward, step_of_depth: as a subject has them; None for lone frames.
    """

    kind: Kind
    is_lone: bool
    measured: MeasuredSeries
    nearward: bool | None = None
    step_of_depth: float | None = None


def judgement(series: Series) -> Judgement:
    """What the pictures of the series say."""
    return _of_lone(series.measured) if series.is_lone else _of_sequence(series)


def _of_lone(measured: MeasuredSeries) -> Judgement:
    frames = len(measured.measurements)
    return Judgement(
        frame_findings=FrameFindings(
            use=tuple(each is not None for each in measured.measurements),
            shares=(None,) * frames,
            places=(None,) * frames,
            sizes=sizes(measured.measurements),
        ),
        proposed=tuple(stacks_in(measured, LEAST_SINGLES)),
        summaries=tuple(summaries(measured)),
    )


def _of_sequence(series: Series) -> Judgement:
    measurements = series.measured.measurements
    judged = judge(
        series.measured,
        sequence=0,
        kind=series.kind,
        nearward=series.nearward,
        step_of_depth=series.step_of_depth,
    )
    return Judgement(
        check=_plain(judged.check),
        frame_findings=frame_findings(judged, series.measured),
        proposed=tuple(
            proposed_sequences(judged, telling(series.measured).measurements)
            if judged.check.tells_focus
            else ()
        ),
        covered=judged.covered,
        summaries=(sharpest(summaries(series.measured)),),
        thumb=_middle(judged, measurements),
    )


def _plain(check: Check) -> Check:
    """The check with figures of Python's own in place of NumPy's."""
    drift, growth = check.drift_px, check.growth
    return replace(
        check,
        drift_px=None if drift is None else float(drift),
        growth=None if growth is None else float(growth),
    )


def _middle(judged: Judged, measurements: tuple[Measurement | None, ...]) -> Thumb | None:
    used = [each for each, use in zip(measurements, judged.use, strict=True) if each and use]
    if not judged.check.is_stack or not used:
        return None
    thumb = used[len(used) // 2].thumb
    return Thumb(rows=thumb.shape[0], columns=thumb.shape[1], data=thumb.tobytes())
