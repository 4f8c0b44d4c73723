"""How a sequence stands to the one before it on the same body."""

from __future__ import annotations

from dataclasses import dataclass

from sorter.grouping.evidence import Look
from sorter.model.kinds import STACK_KINDS, Kind
from sorter.model.sequence import Relation

# A retake begins within a minute or so of the attempt before (common practice, no source).
_RETAKE_S = 90.0
_MOVES_ON_WITHIN = 0.15  # of the span of focus so far: the next series begins where this one ended


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """A sequence as relations see it: its looks, its kind, the pause before it in seconds."""

    looks: tuple[Look, ...]
    kind: Kind
    pause_s: float


def relations(before: Series, now: Series, index_before: int) -> tuple[Relation, ...]:
    """What the sequence is to the one before; nothing where it is nothing to it."""
    if before.kind not in STACK_KINDS or now.kind != before.kind or now.pause_s > _RETAKE_S:
        return ()
    one, two = before.looks[-1].facts, now.looks[0].facts
    if (one.lens, one.f_number) != (two.lens, two.f_number):
        return ()
    if _goes_on(before, now):
        return (Relation(what="goes on from", to=index_before),)
    if _is_retake(before, now):
        return (Relation(what="may be a retake of", to=index_before),)
    return ()


def _goes_on(before: Series, now: Series) -> bool:
    """Focus begins where it ended before, and moves the same way."""
    ends = (before.looks[0].focus, before.looks[-1].focus, now.looks[0].focus, now.looks[-1].focus)
    first, last, again, onward = ends
    if first is None or last is None or again is None or onward is None or first == last:
        return False
    span = last - first
    return abs(again - last) <= _MOVES_ON_WITHIN * abs(span) and (onward - again) * span > 0


def _is_retake(before: Series, now: Series) -> bool:
    """The attempt before was cut short, or this one takes more frames over the same ground."""
    planned = before.looks[0].facts.planned
    stopped = planned is not None and len(before.looks) < planned
    longer = len(now.looks) > len(before.looks)
    return (stopped or longer) and _overlap(before, now)


def _overlap(before: Series, now: Series) -> bool:
    one = [look.focus for look in before.looks if look.focus is not None]
    two = [look.focus for look in now.looks if look.focus is not None]
    if not one or not two:
        return True  # focus untold: the time alone speaks for it
    return min(max(one), max(two)) >= max(min(one), min(two))
