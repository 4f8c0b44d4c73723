"""Where the frames of a sequence are focused, and in which order."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence as Run
from dataclasses import dataclass
from enum import StrEnum

from sorter.model.frame import Facts

_Where = tuple[float, ...]


class Direction(StrEnum):
    """Which way focus goes over a series, as far as the frames tell it.

    ONE_WAY: by motor steps of a body that does not tell which of their ends is near.
    """

    FARTHER = "farther"
    NEARER = "nearer"
    ONE_WAY = "one way"
    BOTH_WAYS = "both ways"
    STAYS = "stays"


@dataclass(frozen=True, slots=True, kw_only=True)
class FocusOrder:
    """The frames of a sequence by focus.

    places: for each frame its place counted from the nearest focus, from 1; all None where the
    order is not known. Equal focus keeps the order of capture.
    direction: None where not every frame tells its focus, or there is but one.
    near_m, far_m: the nearest and the farthest distance told, in metres (inf: infinity).
    span_m: how far it is from the nearest frame's focus to the farthest one's, in metres.
    repeats: how many frames are focused where the one before them was. Distances of whole
    centimetres repeat though the lens moved.
    """

    places: tuple[int | None, ...]
    direction: Direction | None = None
    near_m: float | None = None
    far_m: float | None = None
    span_m: float | None = None
    repeats: int = 0

    @property
    def from_near(self) -> tuple[int, ...]:
        """The frames' indexes, nearest focus first; in order of capture where it is not known."""
        known = [(place, index) for index, place in enumerate(self.places) if place is not None]
        return tuple(index for _, index in sorted(known)) or tuple(range(len(self.places)))


def focus_order(known_values: Run[Facts]) -> FocusOrder:
    """The order of frames with these facts, which are in order of capture.

    By distance where every frame tells one, and where distances tie by motor steps; by these alone
    where not every frame tells a distance. Steps count where every frame tells its own, and all of
    one lens say the same of which way they grow. Either all frames have a place or none.
    """
    distances, steps = _distances(known_values), _steps(known_values)
    known = steps if steps and None not in {facts.step_nearward for facts in known_values} else None
    found = _joined(distances, known)
    way = found or steps
    near, far = _ends(known_values)
    return FocusOrder(
        places=_places(found, len(known_values)),
        direction=_direction(way, known=found is not None)
        if way and len(known_values) > 1
        else None,
        near_m=near,
        far_m=far,
        span_m=_span(known_values),
        repeats=sum(a == b for a, b in itertools.pairwise(way)) if way else 0,
    )


def _joined(distances: list[_Where] | None, steps: list[_Where] | None) -> list[_Where] | None:
    if distances is None or steps is None:
        return distances or steps
    return [one + two for one, two in zip(distances, steps, strict=True)]


def _places(found: list[_Where] | None, count: int) -> tuple[int | None, ...]:
    if found is None:
        return (None,) * count
    order = sorted(range(count), key=found.__getitem__)
    place = {index: number for number, index in enumerate(order, 1)}
    return tuple(place[index] for index in range(count))


def _direction(way: list[_Where], *, known: bool) -> Direction:
    moves = {b > a for a, b in itertools.pairwise(way) if a != b}
    if not moves:
        return Direction.STAYS
    if len(moves) > 1:
        return Direction.BOTH_WAYS
    if not known:
        return Direction.ONE_WAY
    return Direction.FARTHER if True in moves else Direction.NEARER


def _ends(known: Run[Facts]) -> tuple[float | None, float | None]:
    """The nearest and the farthest distance of all; None where none is told."""
    ends = [
        end
        for facts in known
        for end in (facts.focus_near_m, facts.focus_far_m)
        if end is not None and end > 0
    ]
    return (min(ends), max(ends)) if ends else (None, None)


def _span(known: Run[Facts]) -> float | None:
    """From the nearest to the farthest of the frames that tell a distance; of infinities 0."""
    middles = [where[0] for facts in known if (where := _distance(facts))]
    if not middles:
        return None
    near, far = min(middles), max(middles)
    return 0.0 if near == far else far - near


def _distances(known: Run[Facts]) -> list[_Where] | None:
    found = [where for facts in known if (where := _distance(facts))]
    return found if len(found) == len(known) else None


def _distance(facts: Facts) -> _Where | None:
    """The middle of near and far in metres; of two that reach to infinity the near ends decide."""
    ends = [end for end in (facts.focus_near_m, facts.focus_far_m) if end is not None]
    if not ends or min(ends) <= 0:
        return None
    middle = sum(ends) / len(ends)
    return middle, min(ends) if math.isinf(middle) else 0.0


def _steps(known: Run[Facts]) -> list[_Where] | None:
    """Every frame's motor step, of one lens and one direction, growing toward far where told."""
    ways = {facts.step_nearward for facts in known}
    lenses = {facts.lens for facts in known if facts.lens}
    steps = [facts.focus_step for facts in known if facts.focus_step is not None]
    if len(steps) < len(known) or len(ways) > 1 or len(lenses) > 1:
        return None
    return [(float(-step if ways == {True} else step),) for step in steps]
