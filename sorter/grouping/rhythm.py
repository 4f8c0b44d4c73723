"""A candidate's own rhythm: how well the next pause, or the next period, fits those before it.

Costs are in nats and on one measure for all models and for boundaries: the density of the logarithm
of the pause, widened to what the stamps' grain leaves open.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from sorter.grouping import costs
from sorter.grouping.costs import NEVER, Pauses
from sorter.grouping.evidence import SHORTEST_PAUSE_S, Transition

_ROOT_TAU = math.sqrt(math.tau)
_NEW_PACE_LEAST = costs.NEW_PACE + math.log(_ROOT_TAU * costs.NEW_PACE_SPREAD)
_COARSE = 0.3  # of the usual pause: the stamps' grain
_COARSE_TO_A_MACHINE = (
    0.04  # its beat is known better than that, and the middle of whole seconds is not
)
_PER_MEDIAN_DEVIATION = 1.4826  # of a normal spread (handbook value)
_ENOUGH = 3  # pauses make a rhythm
_UNSETTLED = 3  # pauses
_FEW = 3  # pauses: what one second may hold by hand, it does not hold three times
_SLOWER = math.log(1.6)  # a buffer that is full, or a flash that is empty, slows down by more
_BY_MUCH = math.log(2.0)
_SLOWEST = math.log(6.0)  # but not to a crawl: then it is another series
_SPREADS = 3.0  # a beat strays by less
_ABOUT_AS_LONG = 1.0  # by less than a factor of e
_SLOW_BEAT = math.log(5.5)  # seconds: whole ones tell such a beat well enough
_WAITS_S = 8.0  # ... and from there on whole seconds tell a timer well enough
_WANDERS_S = 3.5  # hands that press so slowly are uneven by more than a second
_WHOLE_S = 0.5  # stamps of whole seconds, or coarser still
_REMEMBERED = 12  # beats that a new one is held against
_MEMORY = 9  # pauses; a buffer that fills up slows a candidate down, and the rhythm follows


def log_cost(middle: float, spread: float, low: float, high: float) -> float:
    """The cost of a pause between low and high where `middle` is expected (all logarithms).

    Two stamps leave open a whole grain on either side, but not all of it alike (the difference of
    two roundings is a triangle): it is as wide as one grain.
    """
    width, narrowest = 0.5 * (high - low), _ROOT_TAU * spread
    cost = math.log(max(narrowest, width))
    off = low - middle if low > middle else middle - high if middle > high else 0.0
    return cost + 0.5 * (off / spread) ** 2


def _outside(middle: float, low: float, high: float) -> float:
    return max(0.0, low - middle, middle - high)


class Rhythm:
    """The last few pauses that a candidate saw, with their middle and spread; it never changes.

    count: how many pauses made it. recent, recent_s: the last of them, as logarithms and in seconds.
    middle, own_spread: median and median deviation of the logarithms. middle_s: median of the
    seconds. Runs of several kinds that began at one frame saw the same pauses: so what comes after
    a transition is worked out once for all of them.
    """

    __slots__ = (
        "_habit",
        "_link",
        "_next",
        "count",
        "middle",
        "middle_s",
        "own_spread",
        "recent",
        "recent_s",
    )

    def __init__(
        self, count: int = 0, recent: tuple[float, ...] = (), recent_s: tuple[float, ...] = ()
    ) -> None:
        """recent, recent_s: no more than the memory holds."""
        self.count = count
        self.recent = recent
        self.recent_s = recent_s
        self.middle = self.middle_s = self.own_spread = 0.0
        self._link: Transition | None = None
        self._next = self._habit = self
        if recent:
            self._measure()

    def after(self, transition: Transition) -> Rhythm:
        """The rhythm with one more pause."""
        if self._link is not transition:
            self._link = transition
            pause = transition.pause_mid
            if self._slows_down(pause, transition):
                last, last_s = self.recent[-1], self.recent_s[-1]
                self._next = Rhythm(2, (last, pause), (last_s, transition.pause_s))
            else:
                recent, recent_s = self.recent[1 - _MEMORY :], self.recent_s[1 - _MEMORY :]
                self._next = Rhythm(
                    self.count + 1, (*recent, pause), (*recent_s, transition.pause_s)
                )
        return self._next

    def _slows_down(self, pause: float, transition: Transition) -> bool:
        """A second pause in a row is far slower than the beat was: what was before tells no more."""
        if self.count <= _UNSETTLED or transition.grain_s > _COARSE * self.middle_s:
            return False
        slower = self.middle + max(_SLOWER, _SPREADS * self.own_spread)
        # The pause before another series is longer than those within it.
        last = self.recent[-1]
        return slower < pause < self.middle + _SLOWEST and slower < last < pause + _BY_MUCH

    def as_habit(self) -> Rhythm:
        """What another series takes over: it remembers no more pauses than these few."""
        if self._habit.count > len(self.recent):
            self._habit = Rhythm(len(self.recent), self.recent, self.recent_s)
        return self._habit

    def fits(self, transition: Transition) -> bool:
        """The pause is about as long as these; only then is there anything to take over."""
        return _outside(self.middle, transition.pause_lo, transition.pause_hi) < _ABOUT_AS_LONG

    def _measure(self) -> None:
        """The middle and the median deviation of the last few pauses: hitches do not count."""
        half = (len(self.recent) - 1) // 2
        self.middle = middle = sorted(self.recent)[half]
        self.middle_s = sorted(self.recent_s)[half]
        deviation = sorted([abs(pause - middle) for pause in self.recent])[half]
        self.own_spread = _PER_MEDIAN_DEVIATION * deviation


class Beat:
    """The pauses of a candidate so far, held against the habits of its kind."""

    __slots__ = ("before", "last", "pauses", "so_far")

    def __init__(self, pauses: Pauses, before: Rhythm | None, fresh: Rhythm | None = None) -> None:
        """before: the rhythm of the series before, to go on with; None for a fresh one.

        fresh: a rhythm without pauses, shared by the candidates that begin here.
        """
        self.pauses = pauses
        self.before = before
        self.so_far = fresh or Rhythm()
        self.last = 0.0

    def fork(self) -> Beat:
        """A beat that goes on from here on its own."""
        other = Beat(self.pauses, self.before, self.so_far)
        other.last = self.last
        return other

    @property
    def rhythm(self) -> Rhythm | None:
        """What the next series may keep of this one's rhythm; None where it is too short for one."""
        return self.so_far if self.so_far.count >= _ENOUGH else None

    def take(self, transition: Transition) -> float:
        """Takes in one more pause and says what it costs; NEVER beyond the limit of the kind."""
        if transition.share_s > self.pauses.limit_s + transition.grain_s:
            return NEVER
        kept = 0.0
        if self.before is not None and not self.so_far.count:
            self.so_far = self.before.as_habit()
            kept = costs.SAME_RHYTHM
        middle, spread = self._expected(transition)
        cost = self._fits(transition, middle, spread)
        if cost > costs.SETTLES:  # a pause that fits well is no hitch, and most do; none costs less
            cost = min(cost, self._hitch(transition, middle, spread))
        settled, self.so_far = self.so_far.count, self.so_far.after(transition)
        if self.so_far.count < settled:
            # It was no hitch: there the series slowed down.
            kept -= max(0.0, self.last - costs.SLOWS_DOWN)
        self.last = cost
        if transition.unflashed:
            kept += self.pauses.unlit
        return kept + cost + (self._rushed(transition) if self.pauses.quickest_s else 0.0)

    def _rushed(self, transition: Transition) -> float:
        """What it costs that hands were so quick."""
        quickest, pause = self.pauses.quickest_s, transition.pause_hi
        if transition.grain_s > _COARSE * quickest:
            # One second may hold one frame or ten: then several of them tell.
            recent_s = self.so_far.recent_s[-_FEW:]
            pause = math.log((sum(recent_s) + transition.grain_s) / len(recent_s))
        return self.pauses.rushed * max(0.0, self.pauses.log_quickest - pause)

    def _fits(self, transition: Transition, middle: float, spread: float) -> float:
        """What the pause costs as one in rhythm; where frames are missing, as the pauses of all."""
        low, high = transition.pause_lo, transition.pause_hi
        if self.pauses.hitch_beats and transition.pause_mid > _SLOW_BEAT:
            # A steady beat comes as one of two whole seconds, never as the one before or behind.
            low, high = 0.5 * (low + transition.pause_mid), 0.5 * (high + transition.pause_mid)
        cost = log_cost(middle, spread, low, high)
        if transition.missing:
            cost = min(cost, log_cost(middle, spread, transition.share_lo, transition.share_hi))
        so_far = self.so_far
        # Most pauses fit well, and a new pace costs more than that at the least.
        if (
            cost > _NEW_PACE_LEAST
            and so_far.count > _UNSETTLED
            and (not transition.flashed or self.pauses.waits)
        ):
            # A full buffer slows a series down for good, an empty flash for a while: then the last
            # pause tells the next.
            wide = max(spread, costs.NEW_PACE_SPREAD)
            changed = log_cost(so_far.recent[-1], wide, transition.pause_lo, transition.pause_hi)
            cost = min(cost, costs.NEW_PACE + changed)
        pauses = self.pauses
        slow = transition.pause_mid - (
            pauses.log_flash_slowest if transition.flashed else pauses.log_slowest
        )
        # However slow a flash is, so steady a beat is no hand's.
        if slow <= 0 or (transition.flashed and spread <= costs.MACHINE_SPREAD):
            return cost
        return cost + pauses.dragging * slow

    def _expected(self, transition: Transition) -> tuple[float, float]:
        """The middle and the spread that the next pause is held against, as logarithms."""
        pauses, so_far = self.pauses, self.so_far
        if so_far.count == 0 or pauses.fixed:
            return pauses.log_first, pauses.first_spread
        coarse = _COARSE_TO_A_MACHINE if pauses.hitch_beats else _COARSE
        if transition.grain_s > coarse * so_far.middle_s:
            # The spread of such a rhythm cannot be told from the grain of its stamps.
            mean = _mean_without_hitches(so_far.recent_s, so_far.middle_s, transition.grain_s)
            return math.log(max(SHORTEST_PAUSE_S, mean)), pauses.spread
        known = so_far.count - 2
        if known <= 0 or not pauses.learns:
            # Out of one or two pauses the middle is not well known itself.
            return so_far.middle, pauses.spread * math.sqrt(1 + 1 / so_far.count)
        uneven = self._is_uneven(transition)
        weight = costs.UNEVEN_HABIT_WEIGHT if uneven else costs.HABIT_WEIGHT
        own = max(pauses.tightest, so_far.own_spread)
        if pauses.jitter_s:
            own = max(own, min(costs.MACHINE_JITTER, pauses.jitter_s / so_far.middle_s))
        own = min(own, pauses.widest)
        # The middle one of the last few: one hitch, even as the first pause, spoils nothing.
        return so_far.middle, pauses.spread * (own / pauses.spread) ** (known / (weight + known))

    def _hitch(self, transition: Transition, middle: float, spread: float) -> float:
        """What a pause out of rhythm costs: recycling flashes stumble, steady shutters rarely do."""
        pauses = self.pauses
        pause = math.log(max(transition.pause_s, SHORTEST_PAUSE_S))
        if self._is_uneven(transition) and 0 < self.so_far.count <= _UNSETTLED and pause < middle:
            return costs.SETTLES
        if pauses.hitch_beats:
            early = costs.MACHINE_EARLY if pause < middle else 0.0
            late = max(0.0, pause - middle - pauses.log_hitch_beats)
            return pauses.hitch + early + pauses.steep * late
        slow = middle >= costs.SLOWER_THAN_SPRAY
        if transition.flashed and slow and pauses.steady_hitch_s:
            cost, limit = pauses.steady_hitch, pauses.steady_hitch_s
        elif transition.flashed:
            cost, limit = pauses.flash_hitch, pauses.flash_hitch_s
        else:
            steadier = max(0.0, math.log(pauses.spread / spread))
            cost, limit = pauses.hitch + steadier, pauses.hitch_s
        late = pause - math.log(limit)
        if late <= 0:
            return cost
        torn = 0.0 if transition.flashed else max(0.0, pause - middle - costs.TORN_RATIO)
        return cost + pauses.steep * late + costs.TORN * torn

    def _is_uneven(self, transition: Transition) -> bool:
        """A flash that recycles, or hands, make a few pauses uneven."""
        return transition.flashed or self.pauses.quickest_s > 0


def _mean_without_hitches(pauses_s: tuple[float, ...], middle_s: float, grain_s: float) -> float:
    """The mean of the pauses near the middle one: whole seconds leave the middle at 0 or 1."""
    limit = 2 * middle_s + grain_s
    kept = [pause for pause in pauses_s if pause <= limit]
    return sum(kept) / len(kept)


class Period:
    """The start-to-start periods of an interval series so far."""

    __slots__ = ("beats", "count", "in_line", "pauses", "shortest_s", "total_s")

    def __init__(self, pauses: Pauses, shortest_s: float) -> None:
        self.pauses = pauses
        self.shortest_s = shortest_s
        self.count = 0
        self.total_s = 0.0
        self.in_line = True
        self.beats = Beats()

    def fork(self) -> Period:
        """A period that goes on from here on its own."""
        other = Period(self.pauses, self.shortest_s)
        other.count, other.total_s, other.beats = self.count, self.total_s, self.beats
        other.in_line = self.in_line
        return other

    def take(self, transition: Transition) -> float:
        """Takes in one more period and says what it costs; NEVER where no timer is so fast."""
        period, grain = transition.elapsed_s, transition.grain_s
        shortest = costs.FLASH_PERIOD_S if transition.flashed else self.shortest_s
        if period + grain < shortest or period > self.pauses.limit_s + grain:
            return NEVER
        beats = self.beats.after(period, grain)
        if not beats.even and self.count:
            return self._stumbled(period, grain)
        # The usual period is known no better than its stamps, shared out over their number.
        open_s = grain * (1 + 1 / self.count) if self.count and grain < _WHOLE_S else grain
        cost = self._fits(period, open_s, beats)
        skipped = self._skipped(period, open_s)
        if cost <= skipped:
            self.count += 1
            self.total_s += period
            self.beats = beats
        return min(cost, skipped)

    def close(self) -> float:
        """What is wrong with the usual period: timers are set in whole seconds."""
        if not self.count:
            return 0.0
        low, high = self.beats.low_s, self.beats.high_s
        if math.isinf(high):
            usual, slack = self.total_s / self.count, costs.TIMER_JITTER_S
            low, high = usual - slack, usual + slack
        return 0.0 if math.floor(high) >= low else costs.TIMER_OFF_THE_SECOND

    def _stumbled(self, period: float, grain: float) -> float:
        """What it costs that whole seconds come as they do not from one timer."""
        usual = self.total_s / self.count
        beats = self.beats.after(period, grain, skipped=max(0, round(period / usual) - 1))
        if beats.even:
            self.beats = beats
            return self._left_out(period)
        self.beats, self.in_line = Beats(), False
        if period < usual:
            return costs.TIMER_EARLY
        return self._left_out(period) + costs.TIMER_OFF_BEAT

    def _left_out(self, period: float) -> float:
        late = max(0.0, math.log(period / self.pauses.hitch_s)) * self.pauses.steep
        return self.pauses.hitch + late

    def _skipped(self, period: float, open_s: float) -> float:
        """What it costs that the timer left out a frame or more; it never fires early."""
        if self.count == 0:
            return NEVER
        usual = self.total_s / self.count
        slack = costs.TIMER_JITTER_S + open_s
        if period < usual - slack:
            return costs.TIMER_EARLY
        off_beat = abs(period / usual - round(period / usual)) * usual > slack
        return self._left_out(period) + (costs.TIMER_OFF_BEAT if off_beat else 0.0)

    def _fits(self, period: float, open_s: float, beats: Beats) -> float:
        low, high = math.log(max(SHORTEST_PAUSE_S, period - open_s)), math.log(period + open_s)
        if self.count == 0:
            return log_cost(self.pauses.log_first, self.pauses.first_spread, low, high)
        usual = self.total_s / self.count
        if _WANDERS_S < usual < _WAITS_S and self.in_line and beats.high_s < math.inf:
            # Whole seconds leave it open, and hands would have wandered off the line by then.
            usual = max(beats.low_s, min(period, beats.high_s))
        spread = max(self.pauses.spread, costs.TIMER_JITTER_S / usual)
        return log_cost(math.log(usual), spread, low, high)


@dataclass(frozen=True, slots=True, kw_only=True)
class Beats:
    """Stamps in whole seconds held against one timer: they must lie on a straight line.

    Each stamp is off by less than its grain. So any two of them that are n beats apart leave open
    a period of their distance, give or take a grain, over n (a digital straight line: A. Rosenfeld,
    IEEE Transactions on Computers C-23, 1974, from memory). Hands wander off it within a few frames.

    beats: the last beats, as their number and their second from the start. low_s, high_s: what
    period they leave open.
    """

    beats: tuple[tuple[int, float], ...] = ((0, 0.0),)
    low_s: float = 0.0
    high_s: float = math.inf

    @property
    def even(self) -> bool:
        """Some period fits them all."""
        return self.low_s <= self.high_s

    def after(self, period_s: float, grain_s: float, *, skipped: int = 0) -> Beats:
        """The stamps with one more, so many beats left out before it; finer stamps say nothing."""
        if grain_s < _WHOLE_S:
            return self
        number, second = self.beats[-1]
        number, second, slack = (
            number + 1 + skipped,
            second + period_s,
            grain_s + costs.TIMER_JITTER_S,
        )
        low = max((second - then - slack) / (number - n) for n, then in self.beats)
        high = min((second - then + slack) / (number - n) for n, then in self.beats)
        return Beats(
            beats=(*self.beats[1 - _REMEMBERED :], (number, second)),
            low_s=max(self.low_s, low),
            high_s=min(self.high_s, high),
        )
