"""The best account of a timeline: the cheapest way to cut it into runs, each under one model.

Dynamic programming over where runs end. At every frame each model may open a run behind the best
account of all that came before; open runs go on over the next link or are dropped when they fall far
behind. With the limits in costs.py the time is linear in the number of frames.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from operator import attrgetter
from typing import Final

from sorter.grouping import costs
from sorter.grouping.costs import NEVER, Habits
from sorter.grouping.evidence import Evidence, Look
from sorter.grouping.rhythm import Rhythm
from sorter.grouping.runs import Run, Step, opening_costs
from sorter.model.kinds import Kind
from sorter.model.knobs import GroupingKnobs

_TOTAL: Final = attrgetter("total")
_SINGLE: Final = costs.MODELS.index(costs.SINGLE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """The rhythm of the last series of a kind: the next of that kind may keep it."""

    rhythm: Rhythm
    kind: Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One run of the best account: frames start to stop (behind the last), and its kind.

    before: what it may keep of the last series before it.
    """

    start: int
    stop: int
    kind: Kind
    before: Kept | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What is searched: the looks of one timeline and the steps between them, and by what.

    models: with the user's own limits in them. opening: for each look what it costs to open a run
    of each model there. apart_s: a pause that always parts two sequences.
    """

    looks: tuple[Look, ...]
    steps: tuple[Step, ...]
    models: tuple[Habits, ...]
    opening: tuple[tuple[float, ...], ...]
    apart_s: float


def ground_of(evidence: Evidence, knobs: GroupingKnobs) -> Ground:
    """The evidence ready to be searched."""
    models = _models_for(knobs)
    return Ground(
        looks=evidence.looks,
        steps=tuple(map(Step, evidence.links)),
        models=models,
        opening=tuple(opening_costs(models, look) for look in evidence.looks),
        apart_s=knobs.apart_s,
    )


@cache
def _models_for(knobs: GroupingKnobs) -> tuple[Habits, ...]:
    """The models with the user's own limits in them."""
    hand = costs.MANUAL_STACK
    own = replace(
        hand,
        pauses=replace(hand.pauses, limit_s=knobs.hand_pause_s),
        pauses_untold=replace(hand.untold, limit_s=knobs.hand_pause_s),
    )
    return tuple(own if each is hand else each for each in costs.MODELS)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ending:
    """The best account up to a frame: what it costs, and the run that it ends with."""

    cost: float
    start: int
    kind: Kind
    kept: Kept | None


def best_account(ground: Ground) -> tuple[Piece, ...]:
    """The cheapest segmentation of the whole timeline, in order of capture."""
    opened: dict[Habits, list[Run]] = {habits: [] for habits in ground.models}
    best = [_Ending(cost=0.0, start=0, kind=Kind.SINGLE, kept=None)]
    for index in range(len(ground.looks)):
        before = best[index].cost
        if index:
            before += ground.steps[index - 1].anew
            _go_on(opened, ground.steps[index - 1], ground.apart_s)
        ending = _best_ending(opened, best, before + single_cost(ground, index))
        limit = ending.cost + costs.DROP_BEHIND
        for run in openings(ground, index, best[index].kept, before=before, limit=limit):
            opened[run.habits].append(run)
        _drop_hopeless(opened, limit)
        best.append(ending)
    return _pieces(best)


def _go_on(opened: dict[Habits, list[Run]], step: Step, apart_s: float) -> None:
    for runs in opened.values():
        runs[:] = [run for run in runs if run.go_on(step, apart_s)]


def single_cost(ground: Ground, index: int) -> float:
    """What the frame costs as a single, but for the boundary before it."""
    return ground.opening[index][_SINGLE]


def openings(
    ground: Ground, index: int, kept: Kept | None, *, before: float = 0.0, limit: float = NEVER
) -> Iterator[Run]:
    """A run of each kind of series that may begin at the frame, with a fresh rhythm or the kept one.

    kept: that of the last series. before: what all before the frame costs. Runs that would begin
    above the limit are left out, and so is what cannot go on to the next frame.
    """
    if index + 1 >= len(ground.looks):
        return
    look, onward, fresh = ground.looks[index], ground.steps[index].link, Rhythm()
    if "lens" in onward.changed or onward.clock_back:
        return
    rhythm = kept.rhythm if kept and kept.rhythm.fits(onward) else None
    for habits, opening in zip(ground.models, ground.opening[index], strict=True):
        if habits.longest == 1 or before + opening > limit:
            continue
        if onward.share_s > habits.pauses.limit_s + onward.grain_s:
            continue
        yield Run(habits, look, opening, start=index, before=before, fresh=fresh)
        fixed = habits.periodic or habits.pauses.fixed
        if rhythm and kept and habits.kind is kept.kind and not fixed:
            yield Run(habits, look, opening, start=index, before=before, rhythm=rhythm, fresh=fresh)


def _best_ending(opened: dict[Habits, list[Run]], best: list[_Ending], single: float) -> _Ending:
    """The cheapest run to end here: a single, or one that was open."""
    cost, ending = single, None
    for runs in opened.values():
        for run in runs:
            if run.total < cost:
                closed = run.total + run.closing_cost()
                if closed < cost:
                    cost, ending = closed, run
    if ending is None:
        # Singles between two series take nothing of the rhythm away.
        last = len(best) - 1
        return _Ending(cost=cost, start=last, kind=Kind.SINGLE, kept=best[last].kept)
    kind, rhythm = ending.habits.kind, ending.rhythm
    kept = Kept(rhythm=rhythm, kind=kind) if rhythm else best[ending.start].kept
    return _Ending(cost=cost, start=ending.start, kind=kind, kept=kept)


def _drop_hopeless(opened: dict[Habits, list[Run]], limit: float) -> None:
    for habits, runs in opened.items():
        runs[:] = [run for run in runs if run.total <= limit and habits.longest > run.length]
        if len(runs) > habits.keep_open:
            runs.sort(key=_TOTAL)
            del runs[habits.keep_open :]


def _pieces(best: list[_Ending]) -> tuple[Piece, ...]:
    pieces: list[Piece] = []
    stop = len(best) - 1
    while stop > 0:
        end = best[stop]
        kept = best[end.start].kept
        pieces.append(Piece(start=end.start, stop=stop, kind=end.kind, before=kept))
        stop = end.start
    return tuple(reversed(pieces))


# ---- a given run --------------------------------------------------------------------------------


def follow(ground: Ground, run: Run, stop: int, path: Sequence[float] = ()) -> list[float] | None:
    """Takes the run on to the frame before `stop`; what it costs up to each frame that it takes in.

    None where its kind cannot account for them. path: what another account costs up to the same
    frames; a run that falls hopelessly behind it is given up too.
    """
    costs_so_far: list[float] = []
    first = run.start + run.length - 1
    for place, index in enumerate(range(first, stop - 1)):
        if not run.go_on(ground.steps[index], ground.apart_s):
            return None
        if path and run.cost > path[place] + costs.GIVE_UP_BEHIND:
            return None
        costs_so_far.append(run.cost)
    return costs_so_far


def cheapest(runs: Iterable[Run]) -> tuple[Kind | None, float]:
    """The kind of the cheapest of the runs as they end here, and what it costs."""
    kind, cost = None, NEVER
    for run in runs:
        closed = run.cost + run.closing_cost()
        if closed < cost:
            kind, cost = run.habits.kind, closed
    return kind, cost


def cost_of_singles(ground: Ground, start: int, stop: int) -> list[float]:
    """What the frames cost as so many singles, up to each of them."""
    cost = single_cost(ground, start)
    found = [cost]
    for index in range(start + 1, stop):
        cost += ground.steps[index - 1].anew + single_cost(ground, index)
        found.append(cost)
    return found
