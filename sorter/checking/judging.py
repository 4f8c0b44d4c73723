"""A series of frames to a judgement: what its pictures say of it by themselves."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from sorter.checking.looks import look, sizes
from sorter.checking.regrouping import glimpse, pieces
from sorter.checking.series import Judged, judge
from sorter.checking.singles import stacks_in
from sorter.model.finding import Check, Look
from sorter.model.glance import Glance, Measured
from sorter.model.judgement import Judgement, Thumb
from sorter.model.kinds import Kind

LEAST_SINGLES: Final = 3
"""Single frames that may be slices of one stack."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Frames to be judged together: a sequence of a kind, or lone frames that follow each other.

    nearward, step_of_depth: as a subject has them; None for lone frames.
    """

    kind: Kind
    is_lone: bool
    measured: Measured
    nearward: bool | None = None
    step_of_depth: float | None = None


def judgement(series: Series) -> Judgement:
    """What the pictures of the series say."""
    return _of_lone(series.measured) if series.is_lone else _of_sequence(series)


def _of_lone(measured: Measured) -> Judgement:
    frames = len(measured.glances)
    return Judgement(
        look=Look(
            use=tuple(each is not None for each in measured.glances),
            shares=(None,) * frames,
            places=(None,) * frames,
            sizes=sizes(measured.glances),
        ),
        pieces=tuple(stacks_in(measured, LEAST_SINGLES)),
        glimpses=tuple(map(glimpse, measured.glances)),
    )


def _of_sequence(series: Series) -> Judgement:
    glances = series.measured.glances
    judged = judge(
        series.measured,
        sequence=0,
        kind=series.kind,
        nearward=series.nearward,
        step_of_depth=series.step_of_depth,
    )
    return Judgement(
        check=_plain(judged.check),
        look=look(judged, series.measured),
        pieces=tuple(pieces(judged, glances)),
        covered=judged.covered,
        glimpses=(glimpse(glances[0]), glimpse(glances[-1])),
        thumb=_middle(judged, glances),
    )


def _plain(check: Check) -> Check:
    """The check with figures of Python's own in place of NumPy's."""
    drift, growth = check.drift_px, check.growth
    return replace(
        check,
        drift_px=None if drift is None else float(drift),
        growth=None if growth is None else float(growth),
    )


def _middle(judged: Judged, glances: tuple[Glance | None, ...]) -> Thumb | None:
    used = [each for each, use in zip(glances, judged.use, strict=True) if each and use]
    if not judged.check.is_stack or not used:
        return None
    thumb = used[len(used) // 2].thumb
    return Thumb(rows=thumb.shape[0], columns=thumb.shape[1], data=thumb.tobytes())
