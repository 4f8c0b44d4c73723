"""What labelled cards say of the table of costs: its likelihood, and how each figure would move it.

A diagnostic, and no fit: it changes nothing. For each card the labelled account and the best one are
priced by the table. What the labelled one costs more (its regret, in nats) is how much likelier the
table holds something that did not happen; 0 where the labels are the best account. The slope of a
figure is how the regret of all cards changes with it: above 0 the cards want it smaller. A figure that
changes neither price is one that no card speaks of.
"""

from __future__ import annotations

import argparse
import dataclasses
import math
import random
import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from scoring.habits import habits, parser_of, reading_of, wanted
from sorter.grouping import candidates, costs, search
from sorter.grouping.costs import Habits, Pauses
from sorter.grouping.evidence import Evidence, gather
from sorter.grouping.search import (
    PreviousRhythm,
    SearchInput,
    Segment,
    best_account,
    follow,
    openings,
    search_input,
)
from sorter.grouping.timeline import timelines
from sorter.model.kinds import Kind
from sorter.model.knobs import GroupingKnobs

EXAMPLE = """\
examples:
  .venv/bin/python scripts/fit_costs --topic tries          (a minute or two)
  .venv/bin/python scripts/fit_costs --only MACHINE_STACK --seeds 1-3"""
_STEP = 0.05  # of a figure, or nats where it is below 1
_SEEN = 1e-7  # nats: less is dust of the sums


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """A card's timeline with its labels as pieces, in order."""

    evidence: Evidence
    labels: tuple[Segment, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """What the accounts of all cards cost: as labelled, and at best."""

    labelled: float
    best: float

    @property
    def regret(self) -> float:
        """By how much the labels cost more than the best accounts."""
        return self.labelled - self.best


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """One figure of the table, by its name; put: sets it."""

    name: str
    value: float
    put: Callable[[float], None]


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs the command."""
    options = parser().parse_args(arguments)
    cases = list(cases_of(options))
    price = priced(cases)
    shots = sum(len(case.evidence.observations) for case in cases)
    print(
        f"{len(cases)} cards of {shots} frames: the labelled accounts cost {price.labelled:.1f} nats,"
    )
    print(f"the best ones {price.best:.1f}: a regret of {price.regret:.1f}, or "
          f"{price.regret / max(1, shots):.4f} a frame")  # fmt: skip
    slopes, silent = [], []
    for figure in figures():
        if options.only and options.only not in figure.name:
            continue
        slope = slope_of(figure, cases, price)
        if slope is None:
            silent.append(figure)
        else:
            slopes.append((slope, figure))
    print("\n".join(_shown(slopes, silent)))
    return 0


def parser() -> argparse.ArgumentParser:
    """The command's options."""
    asked = parser_of("fit_costs", __doc__, EXAMPLE, seeds=1)
    asked.add_argument("--only", metavar="TEXT", help="figures whose name has this in it")
    return asked


def cases_of(options: argparse.Namespace) -> Iterator[Case]:
    """The cards that are asked for, each body's timeline with its labels; none of a habit that is held."""
    for habit in habits(options.topic, options.name):
        for seed in options.seeds:
            made = habit.make(random.Random(f"{habit.name} {seed}"))
            truth = list(wanted(made))
            for line in timelines(reading_of(made).frames):
                place = {
                    file.path: index
                    for index, frame in enumerate(line.frames)
                    for file in frame.files
                }
                labels = [
                    Segment(start=min(at), stop=max(at) + 1, kind=Kind(one.kind))
                    for one in truth
                    if (at := {place[path] for path in one.sources if path in place})
                ]
                yield Case(evidence=gather(line), labels=tuple(labels))


# ---- prices -------------------------------------------------------------------------------------


def priced(cases: Sequence[Case]) -> Price:
    """What the accounts of the cards cost by the table as it is now.

    A card whose labels no model can account for is left out of both.
    """
    labelled = best = 0.0
    for case in cases:
        ground = search_input(case.evidence, GroupingKnobs())
        told = cost_of(ground, tuple(_rows(case.labels)))
        if told < costs.NEVER:
            labelled += told
            best += min(told, cost_of(ground, best_account(ground)))
    return Price(labelled=labelled, best=best)


def _rows(labels: tuple[Segment, ...]) -> Iterator[Segment]:
    """The pieces with singles next to each other as one row."""
    for kind, pieces in groupby(labels, key=lambda piece: piece.kind):
        if kind is not Kind.SINGLE:
            yield from pieces
            continue
        row = list(pieces)
        yield replace(row[0], stop=row[-1].stop)


def cost_of(ground: SearchInput, pieces: tuple[Segment, ...]) -> float:
    """What an account costs; a row of singles costs what it does as one, or one by one."""
    total, kept = 0.0, None
    for piece in pieces:
        if piece.start:
            total += ground.transitions[piece.start - 1].boundary
        cost, kept = _of_piece(ground, piece, kept)
        total += cost
    return total


def _of_piece(
    ground: SearchInput, piece: Segment, kept: PreviousRhythm | None
) -> tuple[float, PreviousRhythm | None]:
    best, after = costs.NEVER, kept
    if piece.kind is Kind.SINGLE:
        best = search.cost_of_singles(ground, piece.start, piece.stop)[-1]
    if piece.stop - piece.start == 1:
        return best, kept
    for run in openings(ground, piece.start, kept):
        if run.habits.kind is not piece.kind or follow(ground, run, piece.stop) is None:
            continue
        closed = run.cost + run.closing_cost()
        if closed < best:
            best = closed
            if run.rhythm and piece.kind is not Kind.SINGLE:
                after = PreviousRhythm(rhythm=run.rhythm, kind=piece.kind, count=run.length,
                             machine=run.habits.machine)  # fmt: skip
    return best, after


# ---- figures ------------------------------------------------------------------------------------


def figures() -> Iterator[Figure]:
    """Every figure of the table that may be more or less."""
    for name, value in vars(costs).items():
        if name.isupper() and _is_figure(value):
            yield Figure(name=name, value=value, put=_setter(costs, name))
    for name, model in vars(costs).items():
        if isinstance(model, Habits) and any(model is each for each in costs.MODELS):
            yield from _figures_of(name, model)


def _figures_of(name: str, owner: Habits | Pauses) -> Iterator[Figure]:
    for one in dataclasses.fields(owner):
        value, label = getattr(owner, one.name), f"{name}.{one.name}"
        if not one.init or value == one.default:
            continue
        if isinstance(value, Pauses):
            yield from _figures_of(label, value)
        elif isinstance(value, dict):
            for key, figure in value.items():
                if _is_figure(figure):
                    yield Figure(name=f"{label}[{key}]", value=figure, put=_item(value, key))
        elif _is_figure(value):
            yield Figure(name=label, value=value, put=_setter(owner, one.name))


def _is_figure(value: object) -> bool:
    return isinstance(value, float) and math.isfinite(value)


def _setter(owner: object, name: str) -> Callable[[float], None]:
    def put(value: float) -> None:
        object.__setattr__(owner, name, value)
        if isinstance(owner, Pauses):
            owner.__post_init__()

    return put


def _item(table: dict[object, float], key: object) -> Callable[[float], None]:
    def put(value: float) -> None:
        table[key] = value

    return put


def slope_of(figure: Figure, cases: Sequence[Case], price: Price) -> float | None:
    """How the regret changes with the figure, in nats for each 1 more; None where nothing changes."""
    step = _STEP * max(1.0, abs(figure.value))
    try:
        figure.put(figure.value + step)
        forget()
        more = priced(cases)
    finally:
        figure.put(figure.value)
        forget()
    moved = (more.labelled - price.labelled, more.best - price.best)
    if max(map(abs, moved)) < _SEEN:
        return None
    return (more.regret - price.regret) / step


def forget() -> None:
    """Drops what was worked out by the figures as they were."""
    for cached in (candidates._opening_costs, candidates._tag_cost, search._models_for):  # noqa: SLF001
        cached.cache_clear()


# ---- shown --------------------------------------------------------------------------------------


def _shown(slopes: list[tuple[float, Figure]], silent: list[Figure]) -> Iterator[str]:
    yield ""
    yield "figures that the cards would move (nats of regret for each 1 more; above 0: smaller)"
    moving = [pair for pair in slopes if abs(pair[0]) >= 0.01]
    for slope, figure in sorted(moving, key=lambda pair: -abs(pair[0])):
        yield f"  {slope:+9.3f}  {figure.name} = {figure.value:g}"
    yield ""
    yield f"spoken of and well where they are: {len(slopes) - len(moving)}"
    yield f"no card speaks of these {len(silent)}:"
    for figure in silent:
        yield f"  {figure.name} = {figure.value:g}"


if __name__ == "__main__":
    sys.exit(main())
