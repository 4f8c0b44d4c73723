"""The best account of a timeline: the cheapest way to cut it into runs, each under one model.

Dynamic programming over where runs end. At every frame each model may open a run behind the best
account of all that came before; open runs go on over the next link or are dropped when they fall far
behind. With the limits in costs.py the time is linear in the number of frames.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

from sorter.grouping import costs
from sorter.grouping.costs import NEVER, Habits
from sorter.grouping.evidence import Evidence, Link
from sorter.grouping.rhythm import Rhythm
from sorter.grouping.runs import Run, anew_cost, opening_costs
from sorter.model.kinds import Kind
from sorter.model.knobs import GroupingKnobs


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One run of the best account: frames start to stop (behind the last), and its kind.

    rhythm_before: that of the last series before it.
    """

    start: int
    stop: int
    kind: Kind
    rhythm_before: Rhythm | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """How well one model accounts for a given run, in nats; NEVER: not at all."""

    kind: Kind
    cost: float


@cache
def models_for(knobs: GroupingKnobs) -> tuple[Habits, ...]:
    """The models with the user's own limits in them."""
    hand = costs.MANUAL_STACK
    pauses = replace(hand.pauses, limit_s=knobs.hand_pause_s)
    return tuple(replace(hand, pauses=pauses) if m is hand else m for m in costs.MODELS)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ending:
    """The best account up to a frame: what it costs, and the run that it ends with."""

    cost: float
    start: int
    kind: Kind
    rhythm: Rhythm | None


def best_account(evidence: Evidence, knobs: GroupingKnobs) -> tuple[Piece, ...]:
    """The cheapest segmentation of the whole timeline, in order of capture."""
    models = models_for(knobs)
    steps = evidence.links
    opened: list[list[Run]] = [[] for _ in models]
    best = [_Ending(cost=0.0, start=0, kind=Kind.SINGLE, rhythm=None)]
    for index, look in enumerate(evidence.looks):
        last = best[index]
        before = last.cost + (anew_cost(steps[index - 1]) if index else 0.0)
        onward = steps[index] if index < len(steps) else None
        openings = opening_costs(models, look)
        for habits, opening, runs in zip(models, openings, opened, strict=True):
            if index:
                runs[:] = [run for run in runs if run.go_on(steps[index - 1], knobs.apart_s)]
            for rhythm in _rhythms(habits, onward, last.rhythm):
                run = Run(habits, look, opening, start=index, before=before, rhythm=rhythm)
                runs.append(run)
        best.append(_best_ending(opened, best))
        _drop_hopeless(opened, best[-1].cost + costs.DROP_BEHIND)
    return _pieces(best)


def _rhythms(
    habits: Habits, onward: Link | None, before: Rhythm | None
) -> tuple[Rhythm | None, ...]:
    """A fresh rhythm, and that of the series before where there is one to go on with.

    None at all where the model cannot go on over the next link, so that no run need be opened.
    """
    if habits.longest == 1:
        return (None,)
    if onward is None or onward.pause_s > habits.pauses.limit_s + onward.grain_s:
        return ()
    if "lens" in onward.changed or onward.clock_back:
        return ()
    if before is None or habits.periodic or habits.pauses.fixed or not before.fits(onward):
        return (None,)
    return (None, before)


def _best_ending(opened: list[list[Run]], best: list[_Ending]) -> _Ending:
    ends = [(run.total + run.closing_cost(), run) for runs in opened for run in runs]
    cost, run = min(ends, key=lambda end: end[0])
    # Singles between two series take nothing of the rhythm away.
    rhythm = run.rhythm or best[run.start].rhythm
    return _Ending(cost=cost, start=run.start, kind=run.habits.kind, rhythm=rhythm)


def _drop_hopeless(opened: list[list[Run]], limit: float) -> None:
    for runs in opened:
        runs[:] = [run for run in runs if run.total <= limit and run.habits.longest > run.length]
        if len(runs) > costs.KEEP_OPEN:
            runs.sort(key=lambda run: run.total)
            del runs[costs.KEEP_OPEN :]


def _pieces(best: list[_Ending]) -> tuple[Piece, ...]:
    pieces: list[Piece] = []
    stop = len(best) - 1
    while stop > 0:
        end = best[stop]
        rhythm = best[end.start].rhythm
        pieces.append(Piece(start=end.start, stop=stop, kind=end.kind, rhythm_before=rhythm))
        stop = end.start
    return tuple(reversed(pieces))


def judge(
    evidence: Evidence, piece: Piece, knobs: GroupingKnobs, path: tuple[float, ...] = ()
) -> tuple[Judgement, ...]:
    """How well each kind accounts for the piece's frames as one run, the best first.

    SINGLE for several frames says that they are so many singles. path: what another account costs
    up to each of the frames; a kind that falls hopelessly behind it is given up, and costs NEVER.
    """
    models, part = models_for(knobs), _cut(evidence, piece.start, piece.stop)
    found: dict[Kind, float] = {}
    for habits, opening in zip(models, opening_costs(models, part.looks[0]), strict=True):
        if habits.kind is Kind.SINGLE:
            cost = _path_of_singles(models, part, path)[-1]
        else:
            runs = _runs(habits, opening, part, piece)
            cost = min((_path_of(run, part, knobs, path)[-1] for run in runs), default=NEVER)
        found[habits.kind] = min(cost, found.get(habits.kind, NEVER))
    ranked = sorted(found.items(), key=lambda item: item[1])
    return tuple(Judgement(kind=kind, cost=cost) for kind, cost in ranked)


def own_path(evidence: Evidence, piece: Piece, knobs: GroupingKnobs) -> tuple[float, ...]:
    """What the piece's own kind costs up to each of its frames, and at last with its end."""
    models, part = models_for(knobs), _cut(evidence, piece.start, piece.stop)
    if piece.kind is Kind.SINGLE:
        return _path_of_singles(models, part, ())
    openings = zip(models, opening_costs(models, part.looks[0]), strict=True)
    return min(
        (
            _path_of(run, part, knobs, ())
            for habits, opening in openings
            if habits.kind is piece.kind
            for run in _runs(habits, opening, part, piece)
        ),
        key=lambda path: path[-1],
    )


def _cut(evidence: Evidence, start: int, stop: int) -> Evidence:
    return Evidence(looks=evidence.looks[start:stop], links=evidence.links[start : stop - 1])


def _runs(habits: Habits, opening: float, part: Evidence, piece: Piece) -> Iterator[Run]:
    onward = part.links[0] if part.links else None
    for rhythm in _rhythms(habits, onward, piece.rhythm_before):
        yield Run(habits, part.looks[0], opening, rhythm=rhythm)


def _path_of_singles(
    models: tuple[Habits, ...], part: Evidence, path: tuple[float, ...]
) -> tuple[float, ...]:
    place = models.index(costs.SINGLE)
    cost = opening_costs(models, part.looks[0])[place]
    own = [cost]
    for index, link in enumerate(part.links, 1):
        cost += anew_cost(link) + opening_costs(models, part.looks[index])[place]
        own.append(cost)
        if path and cost > path[index] + costs.GIVE_UP_BEHIND:
            return (NEVER,)
    return (*own, cost)


def _path_of(
    run: Run, part: Evidence, knobs: GroupingKnobs, path: tuple[float, ...]
) -> tuple[float, ...]:
    own = [run.cost]
    for index, link in enumerate(part.links, 1):
        if not run.go_on(link, knobs.apart_s):
            return (NEVER,)
        own.append(run.cost)
        if path and run.cost > path[index] + costs.GIVE_UP_BEHIND:
            return (NEVER,)
    return (*own, run.cost + run.closing_cost())
