"""Evidence in plain words: where a sequence begins and why, what it is and why."""

from __future__ import annotations

import itertools
import math

from sorter.grouping.evidence import SAME_EV, Evidence, FocusMove, Observation, Transition
from sorter.grouping.search import Segment
from sorter.model.frame import Facts
from sorter.model.kinds import STACK_KINDS, Bracketing, DriveMode, FocusMode, Kind

_ONE_LIGHT_EV = 1.0  # within it the light of one subject varies
_ONE_PLACE = 1.6  # times the nearest distance: the farthest at which it is one subject
_COARSE_S = 0.5  # stamps in whole seconds tell no shorter pause

_SETTINGS = {
    "lens": "another lens",
    "f_number": "another f-number",
    "focal_length_mm": "another focal length",
    "flash_fired": "flash on or off",
    "focus_mode": "another focus mode",
    "drive_mode": "another drive mode",
    "planned": "another planned count",
    "orientation": "camera turned",
}


def seconds(value: float) -> str:
    """A pause as people say it: 0.21 s, 2.1 s, 14 s, 3 min, 2 h."""
    for limit, form in ((1.0, "{:.2f} s"), (10.0, "{:.1f} s"), (100.0, "{:.0f} s")):
        if value < limit:
            return form.format(value)
    return f"{value / 60:.0f} min" if value < 6000 else f"{value / 3600:.0f} h"  # noqa: PLR2004


def metres(value: float) -> str:
    """A distance in metres to the centimetre, finer below a tenth; infinity by name."""
    if math.isinf(value):
        return "infinity"
    return f"{value:.3f} m" if value < 0.1 else f"{value:.2f} m"  # noqa: PLR2004


def focus_at(facts: Facts) -> str:
    """Where a frame is focused: the middle of its distances, or its motor step; empty if unsaid."""
    if facts.focus_step is not None:
        return f"step {facts.focus_step}"
    ends = [end for end in (facts.focus_near_m, facts.focus_far_m) if end is not None]
    return metres(sum(ends) / len(ends)) if ends else ""


def begins(evidence: Evidence, segment: Segment, before: Segment | None) -> str:
    """Why the segment does not belong to the one before it, the strongest reasons first."""
    if before is None:
        return "first frame of this body"
    transition = evidence.transitions[segment.start - 1]
    a, b = evidence.observations[segment.start - 1], evidence.observations[segment.start]
    clauses = [
        *_clock_words(transition),
        *_counter_words(transition, before, a),
        *_setting_words(transition, a, b),
        *_focus_words(transition, a, b, evidence, before),
        *_exposure_words(transition),
    ]
    return ", ".join([*clauses[:3], _pause_words(evidence, transition, before)])


def _clock_words(transition: Transition) -> list[str]:
    return ["the clock was set back"] if transition.clock_back else []


def _counter_words(transition: Transition, before: Segment, last: Observation) -> list[str]:
    clauses = []
    if transition.shot_step is not None and transition.shot_step <= 0:
        clauses.append("the camera's shot number began again")
    if transition.same_burst is False:
        clauses.append("another burst by the camera's own mark")
    planned = last.facts.planned
    if planned and planned == before.stop - before.start:
        clauses.append(f"the {planned} planned frames before were done")
    if transition.new_folder and transition.number_step is None:
        clauses.append("a new folder with numbers of its own")
    return clauses


def _setting_words(transition: Transition, a: Observation, b: Observation) -> list[str]:
    clauses = [words for name, words in _SETTINGS.items() if name in transition.changed]
    if "bracketing" in transition.changed:
        off = b.facts.bracketing is Bracketing.OFF
        what = a.facts.bracketing if off else b.facts.bracketing
        clauses.insert(0, f"{what} bracketing switched {'off' if off else 'on'}")
    return clauses


def _focus_words(
    transition: Transition, a: Observation, b: Observation, evidence: Evidence, before: Segment
) -> list[str]:
    if transition.focus_move in (FocusMove.UNKNOWN, FocusMove.TIE) or transition.waver:
        return []
    steps = evidence.transitions[before.start : before.stop - 1]
    fell_back = before.kind in STACK_KINDS and _main_way(steps) not in (
        FocusMove.UNKNOWN,
        transition.focus_move,
    )
    verb = "fell back" if fell_back else "moved"
    return [f"focus {verb} from {focus_at(a.facts)} to {focus_at(b.facts)}"]


def _main_way(transitions: tuple[Transition, ...]) -> FocusMove:
    moves = [transition.focus_move for transition in transitions]
    farther, nearer = moves.count(FocusMove.FARTHER), moves.count(FocusMove.NEARER)
    if farther == nearer:
        return FocusMove.UNKNOWN
    return FocusMove.FARTHER if farther > nearer else FocusMove.NEARER


def _exposure_words(transition: Transition) -> list[str]:
    if abs(transition.ev_change) <= SAME_EV:
        return []
    return [f"exposure changed by {transition.ev_change:+.1f} EV"]


def _pause_words(evidence: Evidence, transition: Transition, before: Segment) -> str:
    if transition.clock_back:
        return "the pause is unknown"
    text = f"{seconds(transition.pause_s)} after the frame before"
    pauses = [step.pause_s for step in evidence.transitions[before.start : before.stop - 1]]
    if not pauses or transition.grain_s > _COARSE_S:
        return text
    return f"{text} (usual there: {seconds(sorted(pauses)[len(pauses) // 2])})"


def kind_of(evidence: Evidence, segment: Segment) -> str:
    """Why the segment is of its kind: the figures that made it so."""
    observations = evidence.observations[segment.start : segment.stop]
    transitions = evidence.transitions[segment.start : segment.stop - 1]
    if len(observations) == 1:
        return _single_words(observations[0])
    clauses = [
        *_drive_words(observations[0], segment.kind),
        _focus_path_words(observations, transitions),
        *_exposure_path_words(observations, transitions, segment.kind),
        _tempo_words(transitions),
        "same lens and settings"
        if not any(transition.changed for transition in transitions)
        else "",
    ]
    return f"{len(observations)} frames: " + ", ".join(words for words in clauses if words)


def row_of(evidence: Evidence, row: Segment) -> str:
    """Why each frame of a row of singles is one: they come at a person's pace, and go no way."""
    observations = evidence.observations[row.start : row.stop]
    transitions = evidence.transitions[row.start : row.stop - 1]
    what = "tries at one subject" if _is_one_subject(observations) else "single frames"
    focus = _focus_path_words(observations, transitions)
    return f"one of {len(observations)} {what} in a row: {focus}, {_tempo_words(transitions)}"


def row_name(evidence: Evidence, row: Segment) -> str:
    """The path of the row's first frame where all are tries at one subject; else empty."""
    observations = evidence.observations[row.start : row.stop]
    return observations[0].frame.path if _is_one_subject(observations) else ""


def _is_one_subject(observations: tuple[Observation, ...]) -> bool:
    """Focus stays near one place, where it is told, and so does the exposure."""
    known = [observation.ev for observation in observations if observation.ev is not None]
    if known and max(known) - min(known) > _ONE_LIGHT_EV:
        return False
    ends = [
        observation.facts.focus_near_m
        for observation in observations
        if observation.facts.focus_near_m is not None
    ]
    return bool(ends) and max(ends) <= _ONE_PLACE * min(ends)


def _single_words(observation: Observation) -> str:
    if observation.facts.bracketing in (Bracketing.FOCUS, Bracketing.EXPOSURE):
        return f"one frame, though {observation.facts.bracketing} bracketing is on"
    return "one frame, nothing beside it goes with it"


def _drive_words(observation: Observation, kind: Kind) -> list[str]:
    facts = observation.facts
    clauses = []
    if facts.bracketing in (Bracketing.FOCUS, Bracketing.EXPOSURE, Bracketing.OTHER):
        clauses.append(f"the camera says {facts.bracketing} bracketing")
    elif facts.bracketing is None and kind is Kind.FOCUS_BRACKET:
        clauses.append("the camera does not say whether it brackets")
    if facts.drive_mode is not None and facts.drive_mode is not DriveMode.SINGLE:
        clauses.append(f"{facts.drive_mode} drive")
    elif facts.drive_mode is not None and kind is not Kind.FOCUS_BRACKET:
        clauses.append("single drive")
    if facts.focus_mode is FocusMode.MANUAL:
        clauses.append("manual focus")
    return clauses


def _focus_path_words(
    observations: tuple[Observation, ...], transitions: tuple[Transition, ...]
) -> str:
    moves = [
        transition.focus_move
        for transition in transitions
        if transition.focus_move not in (FocusMove.UNKNOWN, FocusMove.TIE)
    ]
    if any(observation.focus is None for observation in observations):
        return "focus not told"
    first, last = focus_at(observations[0].facts), focus_at(observations[-1].facts)
    if not moves:
        return f"focus stays at {first}"
    one_way = len(set(moves)) == 1
    path = f"{first} to {last}"
    if one_way:
        return f"focus goes one way, {moves[0].value}, {path}"
    turns = sum(a is not b for a, b in itertools.pairwise(moves))
    return f"focus goes {path}, turning {turns} time{'s' if turns > 1 else ''}"


def _exposure_path_words(
    observations: tuple[Observation, ...], transitions: tuple[Transition, ...], kind: Kind
) -> list[str]:
    if kind is not Kind.EXPOSURE_BRACKET:
        return []
    known = [
        observation.intended_ev
        for observation in observations
        if observation.intended_ev is not None
    ]
    if len(known) == len(observations) and len(set(known)) == len(observations):
        values = known
    else:
        first = known[0] if known else 0.0
        values = list(
            itertools.accumulate(
                (transition.ev_change for transition in transitions), initial=first
            )
        )
    return ["exposures " + " ".join(f"{ev:+.1f}" for ev in values) + " EV"]


def _tempo_words(transitions: tuple[Transition, ...]) -> str:
    pauses = sorted(transition.pause_s for transition in transitions)
    if transitions[0].grain_s > _COARSE_S:
        total = sum(transition.elapsed_s for transition in transitions)
        return f"{seconds(total / len(transitions))} a frame (stamps in whole seconds)"
    middle, longest = pauses[len(pauses) // 2], pauses[-1]
    if longest > 2 * middle:
        return f"pauses of {seconds(pauses[0])} to {seconds(longest)}, usual {seconds(middle)}"
    return f"{seconds(middle)} from frame to frame"
