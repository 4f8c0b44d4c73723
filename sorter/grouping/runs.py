"""A run of frames under one model: how well the model accounts for it, frame by frame.

A run is opened at a frame, goes on over links, and can be closed where it is long enough. All costs
are in nats (see costs.py); NEVER says that the model cannot account for it at all.
"""

from __future__ import annotations

import copy
import math
from functools import lru_cache
from typing import NamedTuple

from sorter.grouping import costs
from sorter.grouping.costs import NEVER, Habits, Pauses
from sorter.grouping.evidence import SAME_EV, Link, Look, Move, told_bracketing
from sorter.grouping.rhythm import Beat, Period, Rhythm, log_cost
from sorter.grouping.tracks import EXPOSURES, FocusTrack
from sorter.model.kinds import Bracketing, DriveMode, FocusMode, Kind


class Step:
    """A link with all that it costs whatever run goes over it, worked out once.

    anew: where it is a boundary. driven, by_hand: what the counters say within a series that the
    camera runs, and within another.
    """

    __slots__ = ("anew", "by_hand", "driven", "link")

    def __init__(self, link: Link) -> None:
        self.link = link
        self.anew = _anew_cost(link)
        self.driven = _counters(link, driven=True)
        self.by_hand = _counters(link, driven=False)


class Run:
    """An open run: its model, where it began, what it cost so far, and its own rhythm."""

    __slots__ = ("before", "cost", "exposure", "focus", "habits", "in_steps", "length", "missing",
                 "planned", "start", "tempo")  # fmt: skip

    def __init__(
        self,
        habits: Habits,
        look: Look,
        opening: float,
        *,
        start: int = 0,
        before: float = 0.0,
        rhythm: Rhythm | None = None,
        fresh: Rhythm | None = None,
    ) -> None:
        """opening: see opening_costs. before: the cost of the best account of all that came before.

        rhythm: that of the last series in that account. fresh: one without pauses, shared by all
        runs that open here.
        """
        self.habits = habits
        self.start = start
        self.before = before
        self.cost = opening
        self.length = 1
        self.missing = 0
        self.planned = look.facts.planned if habits.driven else None
        numbered = habits.driven and told_bracketing(look.facts) is Bracketing.FOCUS
        self.in_steps = look.in_steps
        self.focus = FocusTrack(habits, numbered=numbered)
        self.exposure = EXPOSURES[habits.exposures](habits)
        self.tempo: Period | Beat
        if habits.periodic:
            self.tempo = Period(habits.pauses, habits.shortest_period_s)
        else:
            self.tempo = Beat(_pauses(habits, look), rhythm, fresh)

    def fork(self) -> Run:
        """A run that goes on from here on its own."""
        other = copy.copy(self)
        other.focus = self.focus.fork()
        other.exposure = self.exposure.fork()
        other.tempo = self.tempo.fork()
        return other

    @property
    def total(self) -> float:
        """What the whole account up to here costs, this run still open."""
        return self.before + self.cost

    @property
    def rhythm(self) -> Rhythm | None:
        """What the next series may keep of this one's rhythm."""
        return self.tempo.rhythm if isinstance(self.tempo, Beat) else None

    def go_on(self, step: Step, apart_s: float) -> bool:
        """Takes in the frame behind the step; False where the model cannot account for it."""
        habits, link = self.habits, step.link
        if self.length >= habits.longest or link.clock_back or link.pause_s > apart_s:
            return False
        cost = habits.goes_on
        if link.changed:
            cost += sum([habits.changed[name] for name in link.changed])
        if cost < NEVER:
            cost += self.tempo.take(link)
        if cost < NEVER:
            cost += self.exposure.take(link)
        if cost == NEVER:
            return False
        self.length += 1
        self.missing += link.missing
        if self.planned and self.length > self.planned:
            cost += costs.OVER_PLANNED
        counters = step.driven if habits.driven else step.by_hand
        self.cost += cost + self.focus.take(link) + counters
        return True

    def closing_cost(self) -> float:
        """What it costs to end the run here; NEVER where it is too short or no whole pattern."""
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


def _pauses(habits: Habits, look: Look) -> Pauses:
    """How the kind paces, by what the camera says at the first frame."""
    if look.facts.drive_mode is DriveMode.CONTINUOUS:
        return habits.driven_on
    told = look.focus is not None or look.facts.focus_mode is not None
    return habits.pauses if told else habits.untold


def _counters(link: Link, *, driven: bool) -> float:
    """What the counters cost within a series."""
    cost = costs.OTHER_BURST_ID if link.same_burst is False else 0.0
    if driven:
        cost += _shot_cost(link)
        if link.shot_begins:
            cost += costs.SHOT_BEGINS
    elif link.shot_step == 1:
        cost += costs.SHOT_RUNS_BY_HAND
    if link.switched_off:
        cost += costs.SWITCHED_OFF if driven else costs.SWITCHED_OFF_BY_HAND
    if link.number_step is not None and link.number_step != 1:
        cost += costs.NUMBERS_MISSING
    if link.new_folder:
        cost += costs.FOLDER_ANEW if link.number_step is None else costs.FOLDER_FULL
    return cost


def _shot_cost(link: Link) -> float:
    if link.shot_step is None:
        return 0.0
    if link.shot_step == 1:
        return costs.SHOT_NEXT
    return costs.SHOT_SKIPS if link.shot_step > 1 else costs.SHOT_BEGAN_AGAIN


def opening_costs(models: tuple[Habits, ...], look: Look) -> tuple[float, ...]:
    """What it costs to open a run of each kind at the look: how rare the kind is among frames like it.

    Each kind's rarity and what the camera says are weighed against those of all kinds together
    (Bayes' rule), so settings that say nothing of the kind cost nothing.
    """
    facts = look.facts
    said = _Said(facts.drive_mode, told_bracketing(facts), facts.focus_mode, facts.flash_fired)
    return _opening_costs(models, said, late=(look.shot or 0) > 1)


class _Said(NamedTuple):
    """What the camera says at a first frame that tells of its kind."""

    drive: DriveMode | None
    bracketing: Bracketing | None
    focus_mode: FocusMode | None
    flash_fired: bool | None


@lru_cache(maxsize=1024)
def _opening_costs(models: tuple[Habits, ...], said: _Said, *, late: bool) -> tuple[float, ...]:
    raw = [_habit_cost(habits, said) for habits in models]
    least = min(raw)
    together = least - math.log(sum(math.exp(least - cost) for cost in raw))
    return tuple(
        cost - together + (costs.ANEW_SHOT_LATE if late and habits.driven else 0.0)
        for habits, cost in zip(models, raw, strict=True)
    )


def _habit_cost(habits: Habits, said: _Said) -> float:
    cost = habits.start
    if said.drive is not None:
        cost += _drive_cost(habits, said.drive, said.bracketing)
    if said.bracketing is not None:
        cost += habits.bracketing[said.bracketing]
    elif habits.exposures == "set":
        cost += costs.SET_UNTOLD
    if said.focus_mode is not None:
        cost += habits.focus_mode[said.focus_mode]
    if said.flash_fired is not None:
        cost += habits.flash[0 if said.flash_fired else 1]
    return cost


def _drive_cost(habits: Habits, drive: DriveMode, told: Bracketing | None) -> float:
    if habits.kind is Kind.BURST and drive is DriveMode.SINGLE and told is None:
        return costs.UNTOLD_SINGLE_DRIVE
    return habits.drive[drive]


def _anew_cost(link: Link) -> float:
    """What the link costs where it is a boundary, whatever kind begins behind it."""
    pause = log_cost(math.log(costs.ANEW_MEDIAN_S), costs.ANEW_SPREAD, link.pause_lo, link.pause_hi)
    at_once = costs.ANEW_AT_ONCE * max(0.0, -link.pause_hi)
    settings = costs.ANEW_CHANGED if link.changed else costs.ANEW_UNCHANGED
    return (
        pause + at_once + settings + _anew_focus(link) + _anew_exposure(link) + _anew_counters(link)
    )


def _anew_focus(link: Link) -> float:
    if link.move is Move.UNKNOWN:
        return 0.0
    if link.move is Move.TIE:
        return costs.ANEW_FOCUS_TIE
    far = link.large or link.in_steps
    return costs.ANEW_FOCUS_LARGE if far else costs.ANEW_FOCUS_SMALL


def _anew_exposure(link: Link) -> float:
    change = abs(link.ev_change)
    if change <= SAME_EV:
        return costs.ANEW_EV_SAME
    return costs.ANEW_EV_SMALL if change <= costs.EV_SMALL else costs.ANEW_EV_LARGE


def _anew_counters(link: Link) -> float:
    cost = costs.ANEW_SAME_BURST_ID if link.same_burst else 0.0
    if link.shot_step == 1:
        cost += costs.ANEW_SHOT_GOES_ON
    elif link.missing and link.shot_step == link.number_step:
        cost += costs.ANEW_SHOT_SKIPS_ON
    if link.number_step is not None and link.number_step != 1:
        cost += costs.ANEW_NUMBERS_MISSING
    if link.new_folder:
        missing = link.number_step is None
        cost += costs.ANEW_FOLDER_ANEW if missing else costs.ANEW_FOLDER_FULL
    return cost
