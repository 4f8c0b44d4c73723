"""A candidate series, frames under one model: how well the model accounts for it, frame by frame.

A candidate is opened at a frame, goes on over transitions, and can be closed where it is long enough. All costs
are in nats (see costs.py); NEVER says that the model cannot account for it at all.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

from sorter.grouping import costs
from sorter.grouping.costs import NEVER, Habits, Pauses
from sorter.grouping.evidence import SAME_EV, FocusMove, Observation, Transition, known_bracketing
from sorter.grouping.rhythm import Beat, Period, Rhythm, log_cost
from sorter.grouping.tracks import EXPOSURES, FocusTrack
from sorter.model.frame import Facts
from sorter.model.kinds import STACK_KINDS, Bracketing, DriveMode, FocusMode, Kind


class PricedTransition:
    """A transition with all that it costs whatever candidate goes over it, worked out once.

    boundary: where it is one. driven, by_hand: what the counters say within a series that the
    camera runs, and within another. row: what the tags of the frame behind it say within a row. timer: what
    it says against a timer that the body runs.
    """

    __slots__ = ("boundary", "by_hand", "driven", "row", "timer", "transition")

    def __init__(self, transition: Transition, behind: Observation) -> None:
        self.transition = transition
        self.row = costs.INSISTS * _tags_cost(costs.ROW, behind.facts)
        self.timer = costs.NO_TIMER if _is_set_on_a_machine(behind) else 0.0
        self.boundary = _boundary_cost(transition)
        self.driven = _counters_cost(transition, driven=True)
        self.by_hand = _counters_cost(transition, driven=False)


class Candidate:
    """An open candidate: its model, where it began, what it cost so far, and its own rhythm."""

    __slots__ = ("before", "cost", "exposure", "focus", "habits", "in_steps", "insists", "length",
                 "missing", "planned", "same_count", "skips", "start", "tempo", "unproved")  # fmt: skip

    def __init__(
        self,
        habits: Habits,
        observation: Observation,
        opening: float,
        *,
        start: int = 0,
        before: float = 0.0,
        rhythm: Rhythm | None = None,
        same_count: int = 0,
        insists: float = 0.0,
        fresh: Rhythm | None = None,
    ) -> None:
        """opening: see opening_costs. before: the cost of the best account of all that came before.

        rhythm, same_count: those of the last series in that account. fresh: one without pauses, shared
        by all candidates that open here. insists: see insistences.
        """
        self.habits = habits
        self.start = start
        self.before = before
        self.cost = opening
        self.length = 1
        self.missing = 0
        self.same_count = same_count
        self.insists = insists
        self.skips = 0
        self.unproved = 0 if _is_set_on_a_machine(observation) else 1
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
        other = Candidate.__new__(Candidate)
        for name in Candidate.__slots__:  # copy.copy takes six times as long
            setattr(other, name, getattr(self, name))
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
        cost = self._going_on(step)
        if transition.changed:
            cost += sum([habits.changed[name] for name in transition.changed])
        if cost < NEVER:
            cost += self._paused(transition)
        if cost < NEVER:
            cost += self.exposure.take(transition)
        if cost == NEVER:
            return False
        self.length += 1
        self.unproved += not step.timer
        self.missing += transition.missing
        if self.planned and self.length > self.planned:
            cost += costs.OVER_PLANNED
        counters = self._counted(step) if habits.driven else step.by_hand
        self.cost += cost + self.focus.take(transition) + counters
        return True

    def _going_on(self, step: PricedTransition) -> float:
        """What it costs to go on, by what the camera says of every frame."""
        habits, cost = self.habits, self.habits.goes_on
        if habits.periodic:
            cost += step.timer
        elif habits is costs.ROW:
            cost += step.row
        if self.insists and self.length <= costs.INSISTS_FRAMES:
            cost += self.insists
        return cost

    def _paused(self, transition: Transition) -> float:
        """What the pause costs; a shot number that runs on at the same settings outvotes it."""
        cost = self.tempo.take(transition)
        if transition.shot_step != 1 or cost <= costs.SHOT_RUNS_ON or cost == NEVER:
            return cost
        return cost if transition.changed or not self.habits.driven else costs.SHOT_RUNS_ON

    def _counted(self, step: PricedTransition) -> float:
        """What the counters cost; whoever keeps every third frame skips again and again."""
        shots = step.transition.shot_step
        if shots is None or shots <= 1:
            return step.driven
        self.skips += 1
        return step.driven - costs.SHOT_SKIPS * (1 - 1 / self.skips)

    def closing_cost(self) -> float:
        """What it costs to end the candidate here; NEVER where it is too short or no whole pattern."""
        if self.length < self.habits.shortest:
            return NEVER
        flaws = self.exposure.close(self.length) + self._unproved()
        if isinstance(self.tempo, Period):
            flaws += self.tempo.close()
        if self.length == self.habits.shortest:
            flaws += self.habits.fewest
        if not (self.habits.machine and self._moves_on):
            flaws += self.habits.too_few * max(0, self.habits.usual - self.length)
        flaws += self.habits.too_many * max(0, self.length - self.habits.at_most)
        if self.habits.turns_focus and self.tempo.pauses is self.habits.pauses_unknown:
            flaws += costs.TOO_FEW_WITHOUT_FOCUS * max(0, costs.SHORT_WITHOUT_FOCUS - self.length)
        if self.planned and self.length > 1:
            if self.length + self.missing >= self.planned:
                return flaws + costs.ENDED_AS_PLANNED
            return flaws + costs.STOPPED_EARLY + costs.STOPPED_ANYWHERE * math.log(self.planned)
        as_many = self.habits.machine and self.length == self.same_count
        if as_many and self.length >= self.habits.usual:
            return flaws + costs.AS_MANY
        return flaws + self.habits.ends

    @property
    def _moves_on(self) -> bool:
        """Most steps move the focus: that is proof enough of a stack, however short."""
        return self.focus.moves * 2 >= self.length - 1

    def _unproved(self) -> float:
        """A series of moving focus must show it, unless the camera says so, or tells no focus."""
        focus = self.focus
        if self.habits.needs_focus and not focus.numbered:
            return costs.UNTAGGED_FOCUS / focus.moves if focus.moves else NEVER
        if self.habits.turns_focus and focus.stays:
            return self._stayed()
        if self.habits.machine and not self._moves_on:
            return NEVER if self.unproved > costs.UNPROVED * self.length else 0.0
        return 0.0

    def _stayed(self) -> float:
        """What it costs a stack turned by hand that its focus mostly stayed where it was.

        It fades with every move: one of them does not make a stack of tries at one distance.
        """
        stays, moves = self.focus.stays, self.focus.moves
        if self.in_steps:
            return max(0, stays - moves) * (costs.STAYED_BY_STEPS / stays + costs.STAYED_STEP)
        short = 0.0 if moves else costs.STAYED_SHORT * max(0, costs.BY_A_RAIL - self.length)
        return max(0, stays - 2 * moves) * costs.STAYED_BY_CENTIMETRES / stays + short


def _is_set_on_a_machine(observation: Observation) -> bool:
    """Focus was set by hand once, at a macro's distance or under a flash: then a beat is a rail's."""
    facts = observation.facts
    if facts.focus_mode is None:
        return facts.flash_fired is True
    return facts.focus_mode is FocusMode.MANUAL and (facts.flash_fired is True or observation.close)


def _pauses(habits: Habits, observation: Observation) -> Pauses:
    """How the kind paces, by what the camera says at the first frame."""
    if observation.facts.drive_mode is DriveMode.CONTINUOUS:
        off = observation.facts.bracketing is Bracketing.OFF
        return habits.pauses_off if off and habits.pauses_off else habits.driven_on
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
    mute = observation.focus is None and not _is_set_on_a_machine(observation)
    return _opening_costs(models, first_frame, late=(observation.shot or 0) > 1, mute=mute)


class _FirstFrame(NamedTuple):
    """What the camera says at a first frame that tells of its kind."""

    drive: DriveMode | None
    bracketing: Bracketing | None
    focus_mode: FocusMode | None
    flash_fired: bool | None


@lru_cache(maxsize=1024)
def _opening_costs(
    models: tuple[Habits, ...], first_frame: _FirstFrame, *, late: bool, mute: bool
) -> tuple[float, ...]:
    """mute: nothing will tell of a rail, nor of a focus that a program moves."""
    raw = [_habit_cost(habits, first_frame) for habits in models]
    least = min(raw)
    # A row and a machine's stack are no kinds of their own: their kinds have had their share.
    shares = zip(models, raw, strict=True)
    counted = [cost for habits, cost in shares if not habits.machine and habits is not costs.ROW]
    together = least - math.log(sum(math.exp(least - cost) for cost in counted))
    return tuple(
        NEVER
        if mute and habits.machine
        else cost - together + (costs.BOUNDARY_SHOT_LATE if late and habits.driven else 0.0)
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
    elif habits.machine:
        cost += costs.MACHINE_WITHOUT_FOCUS
    if first_frame.flash_fired is not None:
        cost += habits.flash[0 if first_frame.flash_fired else 1]
    return cost


@lru_cache(maxsize=256)
def _tag_cost(
    habits: Habits, drive: DriveMode | None, known: Bracketing | None, mode: FocusMode | None
) -> float:
    cost = 0.0 if drive is None else habits.drive[drive]
    cost += 0.0 if known is None else habits.bracketing[known]
    return cost + (0.0 if mode is None else habits.focus_mode[mode])


def insistences(facts: Facts) -> tuple[float, ...]:
    """What it costs at every frame that the camera's tags fit another kind better, for each of MODELS."""
    follows = facts.focus_follows is True
    return _insistences(facts.drive_mode, known_bracketing(facts), facts.focus_mode, follows)


@lru_cache(maxsize=256)
def _insistences(
    drive: DriveMode | None,
    known: Bracketing | None,
    mode: FocusMode | None,
    follows: bool,
) -> tuple[float, ...]:
    tags = [_tag_cost(each, drive, known, mode) for each in costs.MODELS]
    series = zip(costs.MODELS, tags, strict=True)
    least = min(cost for each, cost in series if each.kind is not Kind.SINGLE) + costs.TOLERATED
    followed = costs.FOLLOWS if follows and known is not Bracketing.FOCUS else 0.0
    return tuple(
        _insistence(each, cost + (followed if each.kind in STACK_KINDS else 0.0) - least)
        for each, cost in zip(costs.MODELS, tags, strict=True)
    )


def _insistence(habits: Habits, over: float) -> float:
    counts = habits.kind is not Kind.SINGLE and 0 < over < NEVER
    return costs.INSISTS_IN_SERIES * over if counts else 0.0


def _tags_cost(habits: Habits, facts: Facts) -> float:
    """What the camera's tags cost a frame of the kind."""
    return _tag_cost(habits, facts.drive_mode, known_bracketing(facts), facts.focus_mode)


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
