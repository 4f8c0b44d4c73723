"""The best account of a timeline: the cheapest way to cut it into candidates, each under one model.

Dynamic programming over where candidates end. At every frame each model may open a candidate behind the best
account of all that came before; open candidates go on over the next transition or are dropped when they fall far
behind. With the limits in costs.py the time is linear in the number of frames.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from operator import attrgetter
from typing import Final

from sorter.grouping import costs
from sorter.grouping.candidates import Candidate, PricedTransition, insistences, opening_costs
from sorter.grouping.costs import NEVER, Habits
from sorter.grouping.evidence import Evidence, Observation
from sorter.grouping.rhythm import Rhythm
from sorter.model.kinds import Kind
from sorter.model.knobs import GroupingKnobs

_TOTAL: Final = attrgetter("total")
_SINGLE: Final = costs.MODELS.index(costs.SINGLE)


@dataclass(frozen=True, slots=True, kw_only=True)
class PreviousRhythm:
    """The rhythm of the last series of a kind: the next of that kind may keep it.

    count: how many frames it had. machine: a machine ran it.
    """

    rhythm: Rhythm
    kind: Kind
    count: int = 0
    machine: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """One series of the best account: frames start to stop (behind the last), and its kind.

    Several frames of kind single are a row: each of them is a sequence of its own.
    before: what it may keep of the last series before it.
    """

    start: int
    stop: int
    kind: Kind
    previous: PreviousRhythm | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SearchInput:
    """What is searched: the observations of one timeline and the steps between them, and by what.

    models: with the user's own limits in them. opening: for each observation what it costs to open a candidate
    of each model there. apart_s: a pause that always parts two sequences.
    """

    observations: tuple[Observation, ...]
    transitions: tuple[PricedTransition, ...]
    models: tuple[Habits, ...]
    opening: tuple[tuple[float, ...], ...]
    apart_s: float


def search_input(evidence: Evidence, knobs: GroupingKnobs) -> SearchInput:
    """The evidence ready to be searched."""
    models = _models_for(knobs)
    return SearchInput(
        observations=evidence.observations,
        transitions=tuple(map(PricedTransition, evidence.transitions, evidence.observations[1:])),
        models=models,
        opening=tuple(opening_costs(models, observation) for observation in evidence.observations),
        apart_s=knobs.apart_s,
    )


@cache
def _models_for(knobs: GroupingKnobs) -> tuple[Habits, ...]:
    """The models with the user's own limits in them: a shorter one than is usual holds for machines too."""
    hand, machine = costs.MANUAL_STACK, costs.MACHINE_STACK
    own = replace(
        hand,
        pauses=replace(hand.pauses, limit_s=knobs.hand_pause_s),
        pauses_unknown=replace(hand.when_unknown, limit_s=knobs.hand_pause_s),
    )
    theirs = machine
    if knobs.hand_pause_s < GroupingKnobs().hand_pause_s:
        theirs = replace(machine, pauses=replace(machine.pauses, limit_s=knobs.hand_pause_s))
    limited = {hand: own, machine: theirs}
    return tuple(limited.get(each, each) for each in costs.MODELS)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ending:
    """The best account up to a frame: what it costs, and the candidate that it ends with."""

    cost: float
    start: int
    kind: Kind
    previous: PreviousRhythm | None


def best_account(inputs: SearchInput) -> tuple[Segment, ...]:
    """The cheapest segmentation of the whole timeline, in order of capture."""
    opened: dict[Habits, list[Candidate]] = {habits: [] for habits in inputs.models}
    best = [_Ending(cost=0.0, start=0, kind=Kind.SINGLE, previous=None)]
    for index in range(len(inputs.observations)):
        before = best[index].cost
        if index:
            before += inputs.transitions[index - 1].boundary
            _go_on(opened, inputs.transitions[index - 1], inputs.apart_s)
        ending = _best_ending(opened, best, before + single_cost(inputs, index))
        limit = ending.cost + costs.DROP_BEHIND
        for candidate in openings(inputs, index, best[index].previous, before=before, limit=limit):
            opened[candidate.habits].append(candidate)
        _drop_hopeless(opened, limit)
        best.append(ending)
    return _segments(best)


def _go_on(
    opened: dict[Habits, list[Candidate]], transition: PricedTransition, apart_s: float
) -> None:
    for candidates in opened.values():
        candidates[:] = [
            candidate for candidate in candidates if candidate.go_on(transition, apart_s)
        ]


def single_cost(inputs: SearchInput, index: int) -> float:
    """What the frame costs as a single, but for the boundary before it."""
    return inputs.opening[index][_SINGLE]


def openings(
    inputs: SearchInput,
    index: int,
    previous: PreviousRhythm | None,
    *,
    before: float = 0.0,
    limit: float = NEVER,
) -> Iterator[Candidate]:
    """A candidate of each kind of series that may begin at the frame, with a fresh rhythm or the kept one.

    kept: that of the last series. before: what all before the frame costs. Runs that would begin
    above the limit are left out, and so is what cannot go on to the next frame.
    """
    if index + 1 >= len(inputs.observations):
        return
    observation, onward, fresh = (
        inputs.observations[index],
        inputs.transitions[index].transition,
        Rhythm(),
    )
    if "lens" in onward.changed or onward.clock_back:
        return
    rhythm = previous.rhythm if previous and previous.rhythm.fits(onward) else None
    insists = insistences(observation.facts)
    for habits, opening, against in zip(inputs.models, inputs.opening[index], insists, strict=True):
        if habits.longest == 1 or opening == NEVER or before + opening > limit:
            continue
        if onward.share_s > habits.pauses.limit_s + onward.grain_s:
            continue
        yield Candidate(
            habits, observation, opening, start=index, before=before, insists=against, fresh=fresh
        )
        fixed = habits.periodic or habits.pauses.fixed
        alike = previous and habits.kind is previous.kind and habits.machine is previous.machine
        if rhythm and previous and alike and not fixed:
            yield Candidate(
                habits, observation, opening, start=index, before=before, rhythm=rhythm,
                same_count=previous.count, insists=against, fresh=fresh,
            )  # fmt: skip


def _best_ending(
    opened: dict[Habits, list[Candidate]], best: list[_Ending], single: float
) -> _Ending:
    """The cheapest candidate to end here: a single, or one that was open."""
    cost, ending = single, None
    for candidates in opened.values():
        for candidate in candidates:
            if candidate.total < cost:
                closed = candidate.total + candidate.closing_cost()
                if closed < cost:
                    cost, ending = closed, candidate
    if ending is None:
        # Singles between two series take nothing of the rhythm away.
        last = len(best) - 1
        return _Ending(cost=cost, start=last, kind=Kind.SINGLE, previous=best[last].previous)
    kind, rhythm = ending.habits.kind, ending.rhythm
    previous = best[ending.start].previous
    if rhythm and kind is not Kind.SINGLE:
        machine = ending.habits.machine
        previous = PreviousRhythm(rhythm=rhythm, kind=kind, count=ending.length, machine=machine)
    return _Ending(cost=cost, start=ending.start, kind=kind, previous=previous)


def _drop_hopeless(opened: dict[Habits, list[Candidate]], limit: float) -> None:
    for habits, candidates in opened.items():
        candidates[:] = [
            candidate
            for candidate in candidates
            if candidate.total <= limit and habits.longest > candidate.length
        ]
        if len(candidates) > habits.keep_open:
            candidates.sort(key=_TOTAL)
            del candidates[habits.keep_open :]


def _segments(best: list[_Ending]) -> tuple[Segment, ...]:
    segments: list[Segment] = []
    stop = len(best) - 1
    while stop > 0:
        end = best[stop]
        previous = best[end.start].previous
        segments.append(Segment(start=end.start, stop=stop, kind=end.kind, previous=previous))
        stop = end.start
    return tuple(reversed(segments))


# ---- a given candidate --------------------------------------------------------------------------------


def follow(
    inputs: SearchInput, candidate: Candidate, stop: int, path: Sequence[float] = ()
) -> list[float] | None:
    """Takes the candidate on to the frame before `stop`; what it costs up to each frame that it takes in.

    None where its kind cannot account for them. path: what another account costs up to the same
    frames; a candidate that falls hopelessly behind it is given up too.
    """
    costs_so_far: list[float] = []
    first = candidate.start + candidate.length - 1
    for place, index in enumerate(range(first, stop - 1)):
        if not candidate.go_on(inputs.transitions[index], inputs.apart_s):
            return None
        if path and candidate.cost > path[place] + costs.GIVE_UP_BEHIND:
            return None
        costs_so_far.append(candidate.cost)
    return costs_so_far


def cheapest(candidates: Iterable[Candidate]) -> tuple[Kind | None, float]:
    """The kind of the cheapest of the candidates as they end here, and what it costs."""
    kind, cost = None, NEVER
    for candidate in candidates:
        closed = candidate.cost + candidate.closing_cost()
        if closed < cost:
            kind, cost = candidate.habits.kind, closed
    return kind, cost


def cost_of_singles(inputs: SearchInput, start: int, stop: int) -> list[float]:
    """What the frames cost as so many singles, up to each of them."""
    cost = single_cost(inputs, start)
    found = [cost]
    for index in range(start + 1, stop):
        cost += inputs.transitions[index - 1].boundary + single_cost(inputs, index)
        found.append(cost)
    return found
