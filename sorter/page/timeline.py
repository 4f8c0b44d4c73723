"""The shoot over time: a lane for each body, a mark for each sequence, long pauses folded."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Final

from sorter.model.kinds import Kind
from sorter.page.parts import AxisLabel, Lane, TimeLine, TimelineMark

WIDTH: Final = 1000.0
"""SVG units of the whole line."""
FOLD: Final = 14.0
"""Units that a folded pause takes."""
LEAST_PAUSE: Final = 600.0
"""Seconds from which on a pause may be folded …"""
MOST_FOLDS: Final = 12
"""… and how many are, the longest ones."""
LEAST_MARK: Final = 4.0
LANE: Final = 58.0
TOP: Final = 4.0
FOOT: Final = 34.0
_MINUTES: Final = 120
_HOURS: Final = 48
"""Longer pauses are told in hours, and in days."""
LABEL: Final = 62.0
DATED: Final = 124.0
"""Units that the label of a time takes, and of a time with its date."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """A sequence in time. first, last: comparable with those of the others; shown: by its own clock."""

    number: int
    kind: Kind
    body: int
    first: datetime
    last: datetime
    shown: datetime
    stated: str
    needs_attention: bool


def time_line(items: Sequence[Item], bodies: Sequence[str]) -> TimeLine | None:
    """All sequences of all bodies; None where none has a time."""
    if not items:
        return None
    scale = _Scale(items)
    lanes = tuple(
        Lane(
            label=label,
            y=TOP + place * LANE,
            marks=tuple(_mark(each, scale) for each in items if each.body == body),
        )
        for place, (body, label) in enumerate(_with_items(items, bodies))
    )
    return TimeLine(
        lanes=lanes,
        stops=tuple(_stops(items, scale)),
        folds=tuple(AxisLabel(at=round(x + FOLD / 2, 1), text=_pause(s)) for x, s in scale.folds),
        height=TOP + len(lanes) * LANE + FOOT,
    )


def _with_items(items: Sequence[Item], bodies: Sequence[str]) -> list[tuple[int, str]]:
    used = {each.body for each in items}
    return [(body, label) for body, label in enumerate(bodies) if body in used]


def _mark(item: Item, scale: _Scale) -> TimelineMark:
    start, stop = scale.at(item.first), scale.at(item.last)
    width = max(LEAST_MARK, stop - start)
    return TimelineMark(
        number=item.number,
        kind=item.kind,
        x=_short(min(start, WIDTH - width)),
        width=_short(width),
        stated=item.stated,
        needs_attention=item.needs_attention,
    )


class _Scale:
    """From moments to SVG units. folds: where each folded pause begins, and its seconds."""

    def __init__(self, items: Sequence[Item]) -> None:
        self._zero = min(each.first for each in items)
        spans = _busy([(self._of(each.first), self._of(each.last)) for each in items])
        pauses = [(two[0] - one[1], one[1]) for one, two in pairwise(spans)]
        longest = sorted((each for each in pauses if each[0] >= LEAST_PAUSE), reverse=True)
        self._folded = sorted((at, seconds) for seconds, at in longest[:MOST_FOLDS])
        end = max(stop for _, stop in spans)
        shown = end - sum(seconds for _, seconds in self._folded)
        self._unit = (WIDTH - FOLD * len(self._folded)) / shown if shown > 0 else 0.0
        self.folds = [(self._place(at), seconds) for at, seconds in self._folded]

    def at(self, when: datetime) -> float:
        """The units of a moment."""
        return self._place(self._of(when))

    def _of(self, when: datetime) -> float:
        return (when - self._zero).total_seconds()

    def _place(self, seconds: float) -> float:
        before = [pause for at, pause in self._folded if at < seconds]
        return (seconds - sum(before)) * self._unit + FOLD * len(before)


def _busy(spans: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Spans of time in which something was taken, one after the other."""
    merged: list[tuple[float, float]] = []
    for start, stop in sorted(spans):
        if merged and start <= merged[-1][1]:
            merged[-1] = merged[-1][0], max(merged[-1][1], stop)
        else:
            merged.append((start, stop))
    return merged


def _stops(items: Sequence[Item], scale: _Scale) -> list[AxisLabel]:
    """Times of day under the line: those of sequences, as far apart as their labels need.

    The first of a day has its date, before which a time gives way.
    """
    stops: list[AxisLabel] = []
    free, day = -math.inf, None
    for item in sorted(items, key=lambda each: each.first):
        at, text = round(scale.at(item.first), 1), f"{item.shown:%H:%M}"
        is_new = item.shown.date() != day
        width = DATED if is_new else LABEL
        fits = at <= WIDTH - width
        if is_new and fits and stops and at < free and len(stops[-1].text) == len(text):
            free = stops.pop().at
        if at < free or not fits:
            continue
        stops.append(AxisLabel(at=at, text=f"{item.shown:%Y-%m-%d} {text}" if is_new else text))
        free, day = at + width, item.shown.date()
    return stops


def _pause(seconds: float) -> str:
    minutes, hours = round(seconds / 60), round(seconds / 3600)
    if minutes < _MINUTES:
        return f"{minutes} min without a frame"
    return f"{hours} h without a frame" if hours < _HOURS else f"{hours // 24} days without a frame"


def _short(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
