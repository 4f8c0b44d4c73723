"""A candidate series, frames under one model: how well the model accounts for it, frame by frame.

A candidate is opened at a frame, goes on over transitions, and can be closed where it is long enough. All costs
are in nats (see costs.py); NEVER says that the model cannot account for it at all.
"""

from __future__ import annotations

import copy
import math
from functools import lru_cache
from typing import NamedTuple

from sorter.grouping import costs
from sorter.grouping.costs import NEVER, Habits, Pauses
from sorter.grouping.evidence import SAME_EV, FocusMove, Observation, Transition, known_bracketing
from sorter.grouping.rhythm import Beat, Period, Rhythm, log_cost
from sorter.grouping.tracks import EXPOSURES, FocusTrack
from sorter.model.kinds import Bracketing, DriveMode, FocusMode, Kind


class PricedTransition:
    """A transition with all that it costs whatever candidate goes over it, worked out once.

    boundary: where it is one. driven, by_hand: what the counters say within a series that the
    camera runs, and within another.
    """

    __slots__ = ("boundary", "by_hand", "driven", "transition")

    def __init__(self, transition: Transition) -> None:
        self.transition = transition
        self.boundary = _boundary_cost(transition)
        self.driven = _counters_cost(transition, driven=True)
        self.by_hand = _counters_cost(transition, driven=False)


class Candidate:
    """An open candidate: its model, where it began, what it cost so far, and its own rhythm."""

    __slots__ = ("before", "cost", "exposure", "focus", "habits", "in_steps", "length", "missing",
                 "planned", "start", "tempo")  # fmt: skip

    def __init__(
        self,
        habits: Habits,
        observation: Observation,
        opening: float,
        *,
        start: int = 0,
        before: float = 0.0,
        rhythm: Rhythm | None = None,
        fresh: Rhythm | None = None,
    ) -> None:
        """opening: see opening_costs. before: the cost of the best account of all that came before.

        rhythm: that of the last series in that account. fresh: one without pauses, shared by all
        candidates that open here.
        """
        self.habits = habits
        self.start = start
        self.before = before
        self.cost = opening
        self.length = 1
        self.missing = 0
        self.planned = observation.facts.planned if habits.driven else None
        numbered = habits.driven and known_bracketing(observation.facts) is Bracketing.FOCUS
        self.in_steps = observation.in_steps
        self.focus = FocusTrack(habits, numbered=numbered)
        self.exposure = EXPOSURES[habits.exposures](habits)
        self.tempo: Period | Beat
        if habits.periodic:
            self.tempo = Period(habits.pauses, habits.shortest_period_s)
        else:
            self.tempo = Beat(_pauses(habits, observation), rhythm, fresh)

    def fork(self) -> Candidate:
        """A candidate that goes on from here on its own."""
        other = copy.copy(self)
        other.focus = self.focus.fork()
        other.exposure = self.exposure.fork()
        other.tempo = self.tempo.fork()
        return other

    @property
    def total(self) -> float:
        """What the whole account up to here costs, this candidate still open."""
        return self.before + self.cost

    @property
    def rhythm(self) -> Rhythm | None:
        """What the next series may keep of this one's rhythm."""
        return self.tempo.rhythm if isinstance(self.tempo, Beat) else None

    def go_on(self, step: PricedTransition, apart_s: float) -> bool:
        """Takes in the frame behind the step; False where the model cannot account for it."""
        habits, transition = self.habits, step.transition
        if self.length >= habits.longest or transition.clock_back or transition.pause_s > apart_s:
            return False
        cost = habits.goes_on
        if transition.changed:
            cost += sum([habits.changed[name] for name in transition.changed])
        if cost < NEVER:
            cost += self.tempo.take(transition)
        if cost < NEVER:
            cost += self.exposure.take(transition)
        if cost == NEVER:
            return False
        self.length += 1
        self.missing += transition.missing
        if self.planned and self.length > self.planned:
            cost += costs.OVER_PLANNED
        counters = step.driven if habits.driven else step.by_hand
        self.cost += cost + self.focus.take(transition) + counters
        return True

    def closing_cost(self) -> float:
        """What it costs to end the candidate here; NEVER where it is too short or no whole pattern."""
        if self.length < self.habits.shortest:
            return NEVER
        flaws = self.exposure.close(self.length) + self._unproved()
        if isinstance(self.tempo, Period):
            flaws += self.tempo.close()
        if self.length == self.habits.shortest:
            flaws += self.habits.fewest
        flaws += self.habits.too_few * max(0, self.habits.usual - self.length)
        if self.planned and self.length > 1:
            if self.length + self.missing >= self.planned:
                return flaws + costs.ENDED_AS_PLANNED
            return flaws + costs.STOPPED_EARLY + costs.STOPPED_ANYWHERE * math.log(self.planned)
        return flaws + self.habits.ends

    def _unproved(self) -> float:
        """A series of moving focus must show it, unless the camera says so, or tells no focus."""
        focus = self.focus
        if self.habits.needs_focus and not focus.numbered:
            return costs.UNTAGGED_FOCUS / focus.moves if focus.moves else NEVER
        if self.habits.turns_focus and focus.stays and not focus.moves:
            return costs.STAYED_BY_STEPS if self.in_steps else costs.STAYED_BY_CENTIMETRES
        return 0.0


def _pauses(habits: Habits, observation: Observation) -> Pauses:
    """How the kind paces, by what the camera says at the first frame."""
    if observation.facts.drive_mode is DriveMode.CONTINUOUS:
        return habits.driven_on
    known = observation.focus is not None or observation.facts.focus_mode is not None
    return habits.pauses if known else habits.when_unknown


def _counters_cost(transition: Transition, *, driven: bool) -> float:
    """What the counters cost within a series."""
    cost = costs.OTHER_BURST_ID if transition.same_burst is False else 0.0
    if driven:
        cost += _shot_cost(transition)
        if transition.shot_begins:
            cost += costs.SHOT_BEGINS
    elif transition.shot_step == 1:
        cost += costs.SHOT_RUNS_BY_HAND
    if transition.switched_off:
        cost += costs.SWITCHED_OFF if driven else costs.SWITCHED_OFF_BY_HAND
    if transition.number_step is not None and transition.number_step != 1:
        cost += costs.NUMBERS_MISSING
    if transition.new_folder:
        cost += costs.FOLDER_OWN_NUMBERS if transition.number_step is None else costs.FOLDER_FULL
    return cost


def _shot_cost(transition: Transition) -> float:
    if transition.shot_step is None:
        return 0.0
    if transition.shot_step == 1:
        return costs.SHOT_NEXT
    return costs.SHOT_SKIPS if transition.shot_step > 1 else costs.SHOT_BEGAN_AGAIN


def opening_costs(models: tuple[Habits, ...], observation: Observation) -> tuple[float, ...]:
    """What it costs to open a candidate of each kind at the observation: how rare the kind is among frames like it.

    Each kind's rarity and what the camera says are weighed against those of all kinds together
    (Bayes' rule), so settings that say nothing of the kind cost nothing.
    """
    facts = observation.facts
    first_frame = _FirstFrame(
        facts.drive_mode, known_bracketing(facts), facts.focus_mode, facts.flash_fired
    )
    return _opening_costs(models, first_frame, late=(observation.shot or 0) > 1)


class _FirstFrame(NamedTuple):
    """What the camera says at a first frame that tells of its kind."""

    drive: DriveMode | None
    bracketing: Bracketing | None
    focus_mode: FocusMode | None
    flash_fired: bool | None


@lru_cache(maxsize=1024)
def _opening_costs(
    models: tuple[Habits, ...], first_frame: _FirstFrame, *, late: bool
) -> tuple[float, ...]:
    raw = [_habit_cost(habits, first_frame) for habits in models]
    least = min(raw)
    together = least - math.log(sum(math.exp(least - cost) for cost in raw))
    return tuple(
        cost - together + (costs.BOUNDARY_SHOT_LATE if late and habits.driven else 0.0)
        for habits, cost in zip(models, raw, strict=True)
    )


def _habit_cost(habits: Habits, first_frame: _FirstFrame) -> float:
    cost = habits.start
    if first_frame.drive is not None:
        cost += _drive_cost(habits, first_frame.drive, first_frame.bracketing)
    if first_frame.bracketing is not None:
        cost += habits.bracketing[first_frame.bracketing]
    elif habits.exposures == "set":
        cost += costs.SET_WITHOUT_TAG
    if first_frame.focus_mode is not None:
        cost += habits.focus_mode[first_frame.focus_mode]
    if first_frame.flash_fired is not None:
        cost += habits.flash[0 if first_frame.flash_fired else 1]
    return cost


def _drive_cost(habits: Habits, drive: DriveMode, known: Bracketing | None) -> float:
    if habits.kind is Kind.BURST and drive is DriveMode.SINGLE and known is None:
        return costs.SINGLE_DRIVE_BURST
    return habits.drive[drive]


def _boundary_cost(transition: Transition) -> float:
    """What the transition costs where it is a boundary, whatever kind begins behind it."""
    pause = log_cost(
        math.log(costs.BOUNDARY_MEDIAN_S),
        costs.BOUNDARY_SPREAD,
        transition.pause_lo,
        transition.pause_hi,
    )
    at_once = costs.BOUNDARY_AT_ONCE * max(0.0, -transition.pause_hi)
    settings = costs.BOUNDARY_CHANGED if transition.changed else costs.BOUNDARY_UNCHANGED
    return (
        pause
        + at_once
        + settings
        + _boundary_focus_cost(transition)
        + _boundary_exposure_cost(transition)
        + _boundary_counters_cost(transition)
    )


def _boundary_focus_cost(transition: Transition) -> float:
    if transition.focus_move is FocusMove.UNKNOWN:
        return 0.0
    if transition.focus_move is FocusMove.TIE:
        return costs.BOUNDARY_FOCUS_TIE
    far = transition.large or transition.in_steps
    return costs.BOUNDARY_FOCUS_LARGE if far else costs.BOUNDARY_FOCUS_SMALL


def _boundary_exposure_cost(transition: Transition) -> float:
    change = abs(transition.ev_change)
    if change <= SAME_EV:
        return costs.BOUNDARY_EV_SAME
    return costs.BOUNDARY_EV_SMALL if change <= costs.EV_SMALL else costs.BOUNDARY_EV_LARGE


def _boundary_counters_cost(transition: Transition) -> float:
    cost = costs.BOUNDARY_SAME_BURST_ID if transition.same_burst else 0.0
    if transition.shot_step == 1:
        cost += costs.BOUNDARY_SHOT_GOES_ON
    elif transition.missing and transition.shot_step == transition.number_step:
        cost += costs.BOUNDARY_SHOT_SKIPS_ON
    if transition.number_step is not None and transition.number_step != 1:
        cost += costs.BOUNDARY_NUMBERS_MISSING
    if transition.new_folder:
        missing = transition.number_step is None
        cost += costs.BOUNDARY_FOLDER_OWN_NUMBERS if missing else costs.BOUNDARY_FOLDER_FULL
    return cost
