"""The handful of numbers in grouping that a user may set."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupingKnobs:
    """Pauses in seconds, from the end of one exposure to the start of the next.

    hand_pause_s: the longest pause within a stack whose focus is turned by hand.
    apart_s: a pause that always parts two sequences, whatever else speaks for joining them.
    unsure_below: an account whose margin over the runner-up is smaller is called unsure.
    """

    hand_pause_s: float = 45.0
    apart_s: float = 900.0
    unsure_below: float = 3.0
