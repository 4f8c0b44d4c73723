"""What a candidate knows of its own focus and exposure, and what the next frame's change costs (nats)."""

from __future__ import annotations

import itertools
import math

from sorter.grouping import costs
from sorter.grouping.costs import NEVER, Habits
from sorter.grouping.evidence import SAME_EV, FocusMove, Transition

# Of each step so much is remembered at the next: centimetres tie near by, and no more far away.
_FADES = 0.9
_RUNG_AND_A_HALF = 1.5
_FAR_BACK = 3  # rungs
_STAYED = 2  # steps at one distance
_USUAL_AFTER = 2  # moves; one step makes no usual step


class FocusTrack:
    """Which way focus goes in a candidate, and by how much a step."""

    __slots__ = ("direction", "habits", "moved", "moves", "numbered", "stayed", "stays", "turned")

    def __init__(self, habits: Habits, *, numbered: bool) -> None:
        """numbered: the camera says that it brackets focus, so its shot number proves the order."""
        self.habits = habits
        self.numbered = numbered
        self.direction = FocusMove.UNKNOWN
        self.moves = 0
        self.stays = 0
        self.turned = 0.0
        self.moved = 0.0
        self.stayed = 0.0

    def fork(self) -> FocusTrack:
        """A track that goes on from here on its own."""
        other = FocusTrack(self.habits, numbered=self.numbered)
        for name in ("direction", "moves", "stays", "turned", "moved", "stayed"):
            setattr(other, name, getattr(self, name))
        return other

    def take(self, transition: Transition) -> float:
        """Takes in one more step and says what it costs."""
        if transition.focus_move is FocusMove.UNKNOWN:
            return 0.0
        habits = self.habits
        stays, moves = habits.stays + self.stayed, habits.moves + self.moved
        self.stayed *= _FADES
        self.moved *= _FADES
        if transition.focus_move is FocusMove.TIE:
            self.stays += 1
            self.stayed += 1
            return math.log((stays + moves) / stays)
        cost = math.log((stays + moves) / moves) + self._way(transition)
        self.moves += 1
        self.moved += 1
        self.turned += transition.turn
        return cost

    def _way(self, transition: Transition) -> float:
        """What it costs that focus moved this way and so far."""
        habits = self.habits
        if habits.free_focus:
            return self._any_way(transition) + (habits.leap if transition.large else 0.0)
        if self.numbered and transition.shot_step == 1:
            # Some bodies take the middle slice first, then nearer, then farther ones.
            return 0.0
        far = habits.leap if transition.large else habits.wide if transition.wide else 0.0
        leap = max(far, self._leap(transition))
        if (
            transition.jump
            and not self.moves
            and self.stays >= (1 if transition.in_steps else _STAYED)
        ):
            leap = max(leap, costs.LEAP_FROM_STAYS)
        if self.direction is FocusMove.UNKNOWN:
            self.direction = transition.focus_move
            return habits.either_way + leap
        if transition.focus_move is self.direction:
            return leap
        return habits.thrown + leap if leap or not self._is_slip(transition) else habits.against

    def _any_way(self, transition: Transition) -> float:
        """What it costs that focus goes on the same way, or turns, where it is free to."""
        habits, before = self.habits, self.direction
        if not habits.onward:
            return habits.either_way
        self.direction = transition.focus_move
        if before is FocusMove.UNKNOWN:
            return habits.either_way
        return habits.onward if transition.focus_move is before else habits.back

    def _is_slip(self, transition: Transition) -> bool:
        """Focus turned back by no more than rounding makes, or by half of the usual step."""
        if transition.waver:
            return True
        usual = self.moves >= _USUAL_AFTER
        return usual and transition.turn * self.moves <= costs.SLIP * self.turned

    def _leap(self, transition: Transition) -> float:
        """What it costs that focus turned by many of the candidate's usual steps at once."""
        if self.moves < _USUAL_AFTER or transition.waver:
            return 0.0
        ratio = transition.turn * self.moves / (costs.LEAP_TIMES * self.turned)
        return self.habits.leap + costs.LEAP_STEEP * math.log(ratio) if ratio > 1 else 0.0


class ExposureTrack:
    """Exposure in a series that does not vary it: it stays, or drifts with the light."""

    __slots__ = ("habits",)

    def __init__(self, habits: Habits) -> None:
        self.habits = habits

    def fork(self) -> ExposureTrack:
        """A track that goes on from here on its own; this one has nothing to remember."""
        return self

    def take(self, transition: Transition) -> float:
        """Says what the step's change of exposure costs."""
        change = abs(transition.ev_change)
        if change <= SAME_EV:
            return self.habits.ev_same
        if change <= costs.EV_SMALL:
            return self.habits.ev_small
        return self.habits.ev_large + (self.habits.ev_leap if change > costs.EV_LEAP else 0.0)

    def close(self, length: int) -> float:  # noqa: ARG002 - the same question for all tracks
        """Nothing is left open at the end."""
        return 0.0


class ExposureSet(ExposureTrack):
    """The exposures of an automatic bracket: all different, evenly spaced when it is whole."""

    __slots__ = ("unbidden", "values")

    def __init__(self, habits: Habits) -> None:
        super().__init__(habits)
        self.values = [0.0]
        self.unbidden = False

    def fork(self) -> ExposureSet:
        """A set that goes on from here on its own."""
        other = ExposureSet(self.habits)
        other.values, other.unbidden = self.values.copy(), self.unbidden
        return other

    def take(self, transition: Transition) -> float:
        """Says what one more exposure costs; NEVER where the set has it already."""
        value = self.values[-1] + transition.ev_change
        if any(abs(value - seen) < costs.SET_REPEATED_EV for seen in self.values):
            return NEVER
        self.values.append(value)
        self.unbidden = self.unbidden or (
            transition.unbidden and transition.pause_s >= costs.ANOTHER_LIGHT_S
        )
        return self.habits.ev_large

    def close(self, length: int) -> float:
        """Says what is wrong with the set as a bracket."""
        values = sorted(self.values)
        steps = [b - a for a, b in itertools.pairwise(values)]
        flaws = costs.SET_OF_THIRDS if min(steps) <= costs.EV_SMALL else 0.0
        flaws += costs.UNBIDDEN_EV if self.unbidden else 0.0
        if length == 2:  # noqa: PLR2004 - the smallest set
            return flaws + costs.SET_OF_TWO
        flaws += costs.SET_SIZES.get(length, costs.SET_INCOMPLETE)
        if max(steps) - min(steps) > costs.SET_TOLERANCE_EV:
            flaws += costs.SET_UNEVEN
        return flaws + (0.0 if self._in_order(values) else costs.SET_ODD_ORDER)

    def _in_order(self, values: list[float]) -> bool:
        """One way, or from the middle outward: the orders that makers' menus offer."""
        middle = values[len(values) // 2]
        outward = [abs(value - middle) for value in self.values]
        near = costs.SET_TOLERANCE_EV
        return self.values in (values, values[::-1]) or all(
            b >= a - near for a, b in itertools.pairwise(outward)
        )


class ExposureLadder(ExposureTrack):
    """Exposures changed by hand, stepping mostly one way; no rung comes twice."""

    __slots__ = ("last", "lone", "rungs", "slip", "traded", "turns", "unbidden", "value", "values")

    def __init__(self, habits: Habits) -> None:
        super().__init__(habits)
        self.last = self.value = 0.0
        self.values = [0.0]
        self.rungs = self.traded = self.turns = 0
        self.slip = self.unbidden = self.lone = False

    def fork(self) -> ExposureLadder:
        """A ladder that goes on from here on its own."""
        other = ExposureLadder(self.habits)
        other.last, other.rungs, other.traded = self.last, self.rungs, self.traded
        other.turns = self.turns
        other.value, other.values = self.value, self.values.copy()
        other.slip, other.unbidden, other.lone = self.slip, self.unbidden, self.lone
        return other

    def take(self, transition: Transition) -> float:
        """Says what one more rung costs."""
        change, traded = transition.ev_change, 0.0
        if abs(change) <= SAME_EV:
            change, traded = transition.time_change, costs.LADDER_TRADED
        if abs(change) <= SAME_EV:
            return self.habits.ev_same
        if self.rungs and bool(self.traded) is not bool(traded):
            traded += costs.LADDER_MIXED
        self.traded += bool(traded)
        self.unbidden = self.unbidden or (transition.unbidden and not traded)
        first = not self.rungs
        cost = self.habits.ev_large if abs(change) > costs.EV_SMALL else self.habits.ev_small
        if first:
            self.last = change
        else:
            cost = self._next(change)
        self.value += change
        self.values.append(self.value)
        self.rungs += 1
        return cost + traded

    def _next(self, change: float) -> float:
        """What it costs that the next rung lies there."""
        last, value = self.last, self.value + change
        low, high = min(self.values), max(self.values)
        rung = min(abs(value - low), abs(value - high))
        self.lone = False
        if last * change > 0 and not low <= value <= high:
            self.last = change
            return self._onward(abs(change), abs(last))
        if not low <= value <= high:
            self.last, self.slip = math.copysign(rung, change), False
            self.lone = abs(change) > _FAR_BACK * rung
            return costs.LADDER_OTHER_END + self._onward(rung, abs(last))
        if all(abs(value - seen) > costs.SET_REPEATED_EV for seen in self.values):
            return costs.LADDER_BETWEEN if self._is_midway(value) else costs.LADDER_FELL_BACK
        self.last = change
        return self._turned(change, last)

    def _is_midway(self, value: float) -> bool:
        """A rung that was passed over lies in the middle between its neighbours; a whim lies anywhere."""
        below = max(seen for seen in self.values if seen < value)
        above = min(seen for seen in self.values if seen > value)
        return abs(above + below - 2 * value) <= 2 * costs.RUNG_TOLERANCE_EV

    def _onward(self, rung: float, last: float) -> float:
        same = abs(rung - last) <= costs.RUNG_TOLERANCE_EV
        self.slip = False
        return costs.LADDER_SAME_RUNG if same else costs.LADDER_OTHER_RUNG

    def _turned(self, change: float, last: float) -> float:
        """What it costs that a rung comes once more."""
        same = abs(abs(change) - abs(last)) <= costs.RUNG_TOLERANCE_EV
        if self.slip and same:
            # One click back was a slip: now it goes on.
            self.slip = False
            return costs.LADDER_SAME_RUNG
        self.slip = True
        self.turns += 1
        again = costs.LADDER_TURNS_AGAIN * (self.turns - 1)
        fell_back = abs(change) > _RUNG_AND_A_HALF * abs(last)
        return again + (costs.LADDER_FELL_BACK if fell_back else costs.LADDER_TURNS)

    def close(self, length: int) -> float:
        """Says whether it is a ladder at all: most steps must be rungs."""
        if self.rungs * 2 <= length - 1:
            return NEVER
        lone = costs.LADDER_LONE if self.lone else 0.0
        return lone + (costs.UNBIDDEN_EV if self.unbidden else 0.0)


class ExposureRow(ExposureTrack):
    """Exposures of frames that are each a picture by itself: how often they change is learned."""

    __slots__ = ("other", "same")

    def __init__(self, habits: Habits) -> None:
        super().__init__(habits)
        self.same, self.other = costs.ROW_EV_SAME, costs.ROW_EV_OTHER

    def fork(self) -> ExposureRow:
        """A row that goes on from here on its own."""
        row = ExposureRow(self.habits)
        row.same, row.other = self.same, self.other
        return row

    def take(self, transition: Transition) -> float:
        """Says what the next frame's exposure costs."""
        both = self.same + self.other
        if abs(transition.ev_change) <= SAME_EV:
            cost = math.log(both / self.same)
            self.same += 1
        else:
            cost = math.log(both / self.other) + costs.ROW_EV_EITHER
            cost += 0.0 if transition.unbidden else costs.ROW_EV_BIDDEN
            self.other += 1
        return cost


EXPOSURES = {
    "": ExposureTrack,
    "set": ExposureSet,
    "ladder": ExposureLadder,
    "row": ExposureRow,
}
