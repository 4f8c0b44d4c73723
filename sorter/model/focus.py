"""The order of a sequence's frames by where they are focused."""

from __future__ import annotations

import math

from sorter.model.frame import Facts
from sorter.model.sequence import Sequence

_Where = tuple[float, float]


def focus_places(sequence: Sequence) -> tuple[int | None, ...]:
    """For each frame its place counted from the nearest focus, from 1; None where it is not known.

    By distance where every frame tells one, else by motor steps where every frame tells its own
    and all of one lens say the same of which way they grow. Equal focus keeps the order of capture.
    Either all frames have a place or none.
    """
    told = [frame.facts for frame in sequence.frames]
    found = _by_distance(told) or _by_steps(told)
    if found is None:
        return (None,) * len(told)
    order = sorted(range(len(told)), key=found.__getitem__)
    place = {index: number for number, index in enumerate(order, 1)}
    return tuple(place[index] for index in range(len(told)))


def _by_distance(told: list[Facts]) -> list[_Where] | None:
    found = [where for facts in told if (where := _distance(facts))]
    return found if len(found) == len(told) else None


def _distance(facts: Facts) -> _Where | None:
    """The middle of near and far in metres; of two that reach to infinity the near ends decide."""
    ends = [end for end in (facts.focus_near_m, facts.focus_far_m) if end is not None]
    if not ends or min(ends) <= 0:
        return None
    middle = sum(ends) / len(ends)
    return middle, min(ends) if math.isinf(middle) else 0.0


def _by_steps(told: list[Facts]) -> list[_Where] | None:
    """Steps that grow toward far; a direction that the camera leaves open gives no order."""
    ways = {facts.step_nearward for facts in told}
    lenses = {facts.lens for facts in told if facts.lens}
    steps = [facts.focus_step for facts in told if facts.focus_step is not None]
    if len(steps) < len(told) or len(ways) > 1 or None in ways or len(lenses) > 1:
        return None
    return [(-step if ways == {True} else step, 0.0) for step in steps]
