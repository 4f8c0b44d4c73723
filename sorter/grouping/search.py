"""The best account of a timeline: the cheapest way to cut it into runs, each under one model.

Dynamic programming over where runs end. At every frame each model may open a run behind the best
account of all that came before; open runs go on over the next link or are dropped when they fall far
behind. With the limits in costs.py the time is linear in the number of frames.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from sorter.grouping import costs
from sorter.grouping.costs import NEVER, Habits
from sorter.grouping.evidence import Evidence
from sorter.grouping.runs import Run, anew_cost, opening_costs
from sorter.model.kinds import Kind
from sorter.model.knobs import GroupingKnobs


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One run of the best account: frames start to stop (behind the last), and its kind."""

    start: int
    stop: int
    kind: Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """How well one model accounts for a given run, in nats; NEVER: not at all."""

    kind: Kind
    cost: float


def models_for(knobs: GroupingKnobs) -> tuple[Habits, ...]:
    """The models with the user's own limits in them."""
    hand = costs.MANUAL_STACK
    pauses = replace(hand.pauses, limit_s=knobs.hand_pause_s)
    return tuple(replace(hand, pauses=pauses) if m is hand else m for m in costs.MODELS)


def best_account(evidence: Evidence, knobs: GroupingKnobs) -> tuple[Piece, ...]:
    """The cheapest segmentation of the whole timeline, in order of capture."""
    models = models_for(knobs)
    steps = evidence.links
    opened: list[list[Run]] = [[] for _ in models]
    best: list[tuple[float, int, Kind]] = [(0.0, 0, Kind.SINGLE)]
    for index, look in enumerate(evidence.looks):
        before = best[index][0]
        if index:
            before += anew_cost(steps[index - 1])
        openings = opening_costs(models, look)
        for habits, opening, runs in zip(models, openings, opened, strict=True):
            if index:
                runs[:] = [run for run in runs if run.go_on(steps[index - 1], knobs.apart_s)]
            runs.append(Run(habits, look, opening, start=index, before=before))
        best.append(_best_ending(opened))
        _drop_hopeless(opened, best[-1][0] + costs.DROP_BEHIND)
    return _pieces(best)


def _best_ending(opened: list[list[Run]]) -> tuple[float, int, Kind]:
    ends = (
        (run.total + run.closing_cost(), run.start, run.habits.kind)
        for runs in opened
        for run in runs
    )
    return min(ends, key=lambda end: end[0])


def _drop_hopeless(opened: list[list[Run]], limit: float) -> None:
    for runs in opened:
        runs[:] = [run for run in runs if run.total <= limit and run.habits.longest > run.length]
        if len(runs) > costs.KEEP_OPEN:
            runs.sort(key=lambda run: run.total)
            del runs[costs.KEEP_OPEN :]


def _pieces(best: list[tuple[float, int, Kind]]) -> tuple[Piece, ...]:
    pieces: list[Piece] = []
    stop = len(best) - 1
    while stop > 0:
        _, start, kind = best[stop]
        pieces.append(Piece(start=start, stop=stop, kind=kind))
        stop = start
    return tuple(reversed(pieces))


def judge(evidence: Evidence, start: int, stop: int, knobs: GroupingKnobs) -> tuple[Judgement, ...]:
    """How well each kind accounts for the frames start to stop as one run, the best first.

    SINGLE for several frames says that they are so many singles.
    """
    models, part = models_for(knobs), _cut(evidence, start, stop)
    found: dict[Kind, float] = {}
    for habits, opening in zip(models, opening_costs(models, part.looks[0]), strict=True):
        if habits.kind is Kind.SINGLE:
            cost = _cost_of_singles(models, part)
        else:
            cost = _cost_of_run(Run(habits, part.looks[0], opening), part, knobs)
        found[habits.kind] = min(cost, found.get(habits.kind, NEVER))
    ranked = sorted(found.items(), key=lambda item: item[1])
    return tuple(Judgement(kind=kind, cost=cost) for kind, cost in ranked)


def _cut(evidence: Evidence, start: int, stop: int) -> Evidence:
    return Evidence(looks=evidence.looks[start:stop], links=evidence.links[start : stop - 1])


def _cost_of_singles(models: tuple[Habits, ...], part: Evidence) -> float:
    place = models.index(costs.SINGLE)
    singles = sum(opening_costs(models, look)[place] for look in part.looks)
    return singles + sum(anew_cost(link) for link in part.links)


def _cost_of_run(run: Run, part: Evidence, knobs: GroupingKnobs) -> float:
    if not all(run.go_on(link, knobs.apart_s) for link in part.links):
        return NEVER
    return run.cost + run.closing_cost()
