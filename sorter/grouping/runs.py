"""A run of frames under one model: how well the model accounts for it, frame by frame.

A run is opened at a frame, goes on over links, and can be closed where it is long enough. All costs
are in nats (see costs.py); NEVER says that the model cannot account for it at all.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from sorter.grouping import costs
from sorter.grouping.costs import NEVER, Habits
from sorter.grouping.evidence import SAME_EV, Link, Look, Move, told_bracketing
from sorter.grouping.rhythm import Beat, Period, Rhythm, log_cost
from sorter.grouping.tracks import EXPOSURES, FocusTrack
from sorter.model.kinds import Bracketing, DriveMode, Kind


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
    ) -> None:
        """opening: see opening_costs. before: the cost of the best account of all that came before.

        rhythm: that of the last series in that account.
        """
        self.habits = habits
        self.start = start
        self.before = before
        self.cost = opening
        self.length = 1
        self.missing = 0
        self.planned = look.facts.planned if habits.driven else None
        numbered = told_bracketing(look.facts) is Bracketing.FOCUS and habits.driven
        self.in_steps = look.in_steps
        self.focus = FocusTrack(habits, numbered=numbered)
        self.exposure = EXPOSURES[habits.exposures](habits)
        pauses = habits.pauses
        self.tempo = (
            Period(pauses, habits.shortest_period_s) if habits.periodic else Beat(pauses, rhythm)
        )

    @property
    def total(self) -> float:
        """What the whole account up to here costs, this run still open."""
        return self.before + self.cost

    @property
    def rhythm(self) -> Rhythm | None:
        """What the next series may keep of this one's rhythm."""
        return self.tempo.rhythm if isinstance(self.tempo, Beat) else None

    def go_on(self, link: Link, apart_s: float) -> bool:
        """Takes in the frame behind the link; False where the model cannot account for it."""
        if self.length >= self.habits.longest or link.clock_back or link.pause_s > apart_s:
            return False
        cost = self.habits.goes_on + self._settings(link)
        if cost < NEVER:
            cost += self.tempo.take(link)
        if cost < NEVER:
            cost += self.exposure.take(link)
        if cost == NEVER:
            return False
        self.length += 1
        self.missing += link.missing
        self.cost += cost + self.focus.take(link) + self._counters(link) + self._plan()
        return True

    def closing_cost(self) -> float:
        """What it costs to end the run here; NEVER where it is too short or no whole pattern."""
        if self.length < self.habits.shortest:
            return NEVER
        flaws = self.exposure.close(self.length) + self._unproved()
        if self.length == self.habits.shortest:
            flaws += self.habits.fewest
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

    def _settings(self, link: Link) -> float:
        if not link.changed:
            return 0.0
        changed = self.habits.changed
        return sum(changed[name] for name in link.changed)

    def _plan(self) -> float:
        return costs.OVER_PLANNED if self.planned and self.length > self.planned else 0.0

    def _counters(self, link: Link) -> float:
        cost = costs.OTHER_BURST_ID if link.same_burst is False else 0.0
        if self.habits.driven:
            cost += _shot_cost(link)
            if link.shot_begins:
                cost += costs.SHOT_BEGINS
        elif link.shot_step == 1:
            cost += costs.SHOT_RUNS_BY_HAND
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


def opening_costs(models: Iterable[Habits], look: Look) -> list[float]:
    """What it costs to open a run of each kind at the look: how rare the kind is among frames like it.

    Each kind's rarity and what the camera says are weighed against those of all kinds together
    (Bayes' rule), so settings that say nothing of the kind cost nothing.
    """
    models = tuple(models)
    raw = [_habit_cost(habits, look) for habits in models]
    least = min(raw)
    together = least - math.log(sum(math.exp(least - cost) for cost in raw))
    late = (look.shot or 0) > 1
    return [
        cost - together + (costs.ANEW_SHOT_LATE if late and habits.driven else 0.0)
        for habits, cost in zip(models, raw, strict=True)
    ]


def _habit_cost(habits: Habits, look: Look) -> float:
    facts = look.facts
    cost = habits.start
    told = told_bracketing(facts)
    if facts.drive_mode is not None:
        cost += _drive_cost(habits, facts.drive_mode, told)
    if told is not None:
        cost += habits.bracketing[told]
    elif habits.exposures == "set":
        cost += costs.SET_UNTOLD
    if facts.focus_mode is not None:
        cost += habits.focus_mode[facts.focus_mode]
    if facts.flash_fired is not None:
        cost += habits.flash[0 if facts.flash_fired else 1]
    return cost


def _drive_cost(habits: Habits, drive: DriveMode, told: Bracketing | None) -> float:
    if habits.kind is Kind.BURST and drive is DriveMode.SINGLE and told is None:
        return costs.UNTOLD_SINGLE_DRIVE
    return habits.drive[drive]


def anew_cost(link: Link) -> float:
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
    if link.number_step is not None and link.number_step != 1:
        cost += costs.ANEW_NUMBERS_MISSING
    if link.new_folder:
        missing = link.number_step is None
        cost += costs.ANEW_FOLDER_ANEW if missing else costs.ANEW_FOLDER_FULL
    return cost
