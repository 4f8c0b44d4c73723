"""What deserves attention in a sequence, each as a short clause."""

from __future__ import annotations

from sorter.grouping.evidence import Evidence, FocusMove, Observation, Transition
from sorter.grouping.margins import Margin
from sorter.grouping.missing import Missing
from sorter.grouping.reasons import seconds
from sorter.grouping.search import Segment
from sorter.model.kinds import Bracketing, FocusMode, Kind
from sorter.model.knobs import GroupingKnobs

_MAY_BE_STACK_FROM = 5  # frames; fewer are hardly a focus series
_STEADY = 0.35  # spread of the pauses over their mean
_NAMED_GAPS = 3
_LONG_BEATS = 4.0  # of the series' own beat: a pause that is longer is named
_LONG_S = 1.5  # seconds; what a full buffer makes is no pause to name
_COMMON = 0.06  # of a series' pauses: what comes so often is its habit
_ONE_BEAT = 0.1  # of it: two series at one beat differ by less
_APART_S = 600.0  # seconds; after a longer pause nobody wonders whether it was one
_STANDS_OUT = 2.0  # times the next longest pause
_FEWEST_BEATS = 6  # pauses make a beat
_MACHINE_SPREAD = 0.12  # of the middle half of the pauses: nobody's hands are so steady


def for_segment(evidence: Evidence, segment: Segment, lack: Missing) -> list[str]:
    """What the frames themselves say: stopped early, files missing, bracketing left on."""
    observations = evidence.observations[segment.start : segment.stop]
    return [
        *_lacking(lack),
        *_left_on(observations),
        *_may_be_stack(evidence, segment),
        *_may_be_interval(evidence, segment),
        *_long_pauses(evidence, segment),
        *_at_the_beat_before(evidence, segment),
    ]


def _may_be_interval(evidence: Evidence, segment: Segment) -> list[str]:
    """A rail and a timer write the same, but for what the body says of its drive."""
    if segment.kind is not Kind.MANUAL_STACK:
        return []
    transitions = evidence.transitions[segment.start : segment.stop - 1]
    stays = all(
        transition.focus_move in (FocusMove.TIE, FocusMove.UNKNOWN) for transition in transitions
    )
    return ["may be an interval series"] if stays and _by_a_machine(transitions) else []


def _by_a_machine(transitions: tuple[Transition, ...]) -> bool:
    """Three in four of its pauses are as even as no hand's, as far as the stamps tell."""
    if len(transitions) < _FEWEST_BEATS:
        return False
    pauses = sorted(transition.elapsed_s for transition in transitions)
    low, high = pauses[len(pauses) // 8], pauses[-1 - len(pauses) // 8]
    return high - low <= 2 * _MACHINE_SPREAD * _middle(pauses) + transitions[0].grain_s


def _at_the_beat_before(evidence: Evidence, segment: Segment) -> list[str]:
    """It begins after a pause within what a machine's beat could have been: then that is named."""
    if segment.kind not in (Kind.MANUAL_STACK, Kind.INTERVAL):
        return []
    own = evidence.transitions[segment.start : segment.stop - 1]
    before = evidence.transitions[
        max(0, segment.start - 1 - _FEWEST_BEATS) : max(0, segment.start - 1)
    ]
    if len(before) < _FEWEST_BEATS or not (_by_a_machine(own) and _by_a_machine(before)):
        return []
    usual, was = _beat(own), _beat(before)
    transition = evidence.transitions[segment.start - 1]
    other = (
        transition.changed
        or transition.clock_back
        or transition.focus_move not in (FocusMove.TIE, FocusMove.UNKNOWN)
    )
    off = abs(usual - was) - transition.grain_s / _FEWEST_BEATS
    if other or off > _ONE_BEAT * usual or transition.pause_s > _APART_S:
        return []
    return [
        f"begins {seconds(transition.pause_s)} after a series at the same beat (usual {seconds(usual)})"
    ]


def _beat(transitions: tuple[Transition, ...]) -> float:
    """The mean from start to start, without what is out of the beat: whole seconds have no middle."""
    middle = _middle(sorted(transition.elapsed_s for transition in transitions))
    kept = [
        transition.elapsed_s
        for transition in transitions
        if transition.elapsed_s <= 2 * middle + transition.grain_s
    ]
    return sum(kept) / len(kept)


def _middle(ordered: list[float]) -> float:
    return ordered[len(ordered) // 2]


def _long_pauses(evidence: Evidence, segment: Segment) -> list[str]:
    """A pause that is long against the series' own beat, within it or before it at that beat."""
    transitions = evidence.transitions[segment.start : segment.stop - 1]
    if segment.kind is Kind.SINGLE or len(transitions) < _FEWEST_BEATS:
        return []
    pauses = sorted(transition.pause_s for transition in transitions)
    usual, grain = _middle(pauses), transitions[0].grain_s
    limit = max(_LONG_S, _LONG_BEATS * max(usual, grain))
    long = [place for place, transition in enumerate(transitions) if transition.pause_s > limit]
    if not long or len(long) > max(1, _COMMON * len(transitions)):
        return []
    # An uneven series has pauses of all lengths: then the longest of them is nothing to name.
    rest = max((pause for pause in pauses if pause <= limit), default=0.0)
    if min(transitions[place].pause_s for place in long) < _STANDS_OUT * rest:
        return []
    where = max(long, key=lambda place: transitions[place].pause_s)
    behind = f"behind frame {where + 1} of {len(transitions) + 1}"
    more = "" if len(long) == 1 else f", and {len(long) - 1} more like it"
    return [
        f"a pause of {seconds(transitions[where].pause_s)} {behind} (usual {seconds(usual)}){more}"
    ]


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
    # A single that would be one of a row beside another stays what it is.
    joins = boundary.kind is not None and not segment.kind is boundary.kind is Kind.SINGLE
    if joins and boundary.nats < knobs.unsure_below:
        clauses.append(f"unsure: may be one {boundary.kind} with what is before it")
    return clauses


def unsure_row(row: Segment, kind: Margin, knobs: GroupingKnobs) -> list[str]:
    """Says aloud that a row of singles is nearly as well one series."""
    if kind.kind is None or kind.nats >= knobs.unsure_below:
        return []
    return [f"unsure: {row.stop - row.start} singles or one {kind.kind}"]
