"""What deserves attention in a sequence, each as a short clause."""

from __future__ import annotations

from sorter.grouping.evidence import Evidence, FocusMove, Observation
from sorter.grouping.margins import Margin
from sorter.grouping.missing import Missing
from sorter.grouping.search import Segment
from sorter.model.kinds import Bracketing, FocusMode, Kind
from sorter.model.knobs import GroupingKnobs

_MAY_BE_STACK_FROM = 5  # frames; fewer are hardly a focus series
_STEADY = 0.35  # spread of the pauses over their mean
_NAMED_GAPS = 3


def for_segment(evidence: Evidence, segment: Segment, lack: Missing) -> list[str]:
    """What the frames themselves say: stopped early, files missing, bracketing left on."""
    observations = evidence.observations[segment.start : segment.stop]
    return [*_lacking(lack), *_left_on(observations), *_may_be_stack(evidence, segment)]


def _lacking(lack: Missing) -> list[str]:
    """Such as "11 of 48, stopped", "37 of 40, 0106 to 0108 missing", "file 0106 missing"."""
    clauses = [f"{lack.length} of {lack.planned}"] if lack.incomplete and lack.length > 1 else []
    if lack.spans:
        what = "" if clauses else "file " if lack.count == 1 else "files "
        clauses.append(f"{what}{_names(lack.spans)} missing")
    if lack.stopped and lack.length > 1:
        clauses.append("stopped")
    elif lack.incomplete and lack.at_infinity and lack.length > 1:
        clauses.append("focus reached infinity")
    unsorted = [f"{number:04d}, {kind}, may belong here" for number, kind in lack.unsorted]
    return [*([", ".join(clauses)] if clauses else []), *unsorted]


def _names(spans: tuple[tuple[int, int], ...]) -> str:
    names = [
        f"{first:04d}" if first == last else f"{first:04d} to {last:04d}" for first, last in spans
    ]
    more = f" and {len(names) - _NAMED_GAPS} more gaps" if len(names) > _NAMED_GAPS else ""
    return ", ".join(names[:_NAMED_GAPS]) + more


def _left_on(observations: tuple[Observation, ...]) -> list[str]:
    if len(observations) > 1 or observations[0].facts.bracketing not in (
        Bracketing.FOCUS,
        Bracketing.EXPOSURE,
    ):
        return []
    planned = observations[0].facts.planned
    if planned and planned > 1:
        return [f"one frame of {planned} planned: bracketing stopped at once, or left on"]
    return [f"{observations[0].facts.bracketing} bracketing was left on"]


def _may_be_stack(evidence: Evidence, segment: Segment) -> list[str]:
    observations = evidence.observations[segment.start : segment.stop]
    if segment.kind is Kind.INTERVAL and observations[0].facts.flash_fired:
        return ["may be a stack on a rail: a timer rarely fires a flash"]
    if segment.kind is not Kind.BURST or len(observations) < _MAY_BE_STACK_FROM:
        return []
    if not _steady(evidence, segment):
        return []
    facts = observations[0].facts
    if facts.bracketing is None and all(observation.focus is None for observation in observations):
        return ["may be a focus stack: this body does not tell its focus"]
    transitions = evidence.transitions[segment.start : segment.stop - 1]
    stays = all(
        transition.focus_move in (FocusMove.TIE, FocusMove.UNKNOWN) for transition in transitions
    )
    if facts.focus_mode is FocusMode.MANUAL and stays:
        return ["may be a hand-held stack: the pictures must tell"]
    return []


def _steady(evidence: Evidence, segment: Segment) -> bool:
    transitions = evidence.transitions[segment.start : segment.stop - 1]
    pauses = [transition.pause_s for transition in transitions]
    mean = sum(pauses) / len(pauses)
    coarse = max(transition.grain_s for transition in transitions) > mean
    spread = sum((pause - mean) ** 2 for pause in pauses) / len(pauses)
    return coarse or spread <= (_STEADY * mean) ** 2


def unsure(segment: Segment, kind: Margin, boundary: Margin, knobs: GroupingKnobs) -> list[str]:
    """Says aloud that a second-best account is nearly as good."""
    clauses = []
    if kind.kind is not None and kind.nats < knobs.unsure_below:
        single = kind.kind is Kind.SINGLE
        other = f"{segment.stop - segment.start} singles" if single else str(kind.kind)
        clauses.append(f"unsure: {segment.kind} or {other}")
    if boundary.kind is not None and boundary.nats < knobs.unsure_below:
        clauses.append(f"unsure: may be one {boundary.kind} with what is before it")
    return clauses
