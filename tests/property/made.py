"""What properties of grouping are held on: random shoots of the tests, and random cards as read."""

from __future__ import annotations

from typing import Final

from hypothesis import strategies as st

from cardmaking.cameras import BY_NAME
from examples import examples
from grouping.drawn import drawn
from grouping.shoots import BODIES, shoot
from sorter.model.frame import Reading

ANY: Final = "any"
"""A random card of whatever body, seldom of two."""

seeds = st.integers(min_value=0, max_value=10**6)
bodies = st.sampled_from([*sorted(BODIES), *sorted(BY_NAME), ANY])
few = examples(30)


def reading_of(seed: int, body: str, count: int = 120) -> Reading:
    """About so many frames by a body of the shoots, or of the random cards: nothing loose."""
    if body in BODIES:
        return shoot(seed, BODIES[body], count).reading()
    names = () if body == ANY else (body,)
    return Reading(frames=drawn(seed, count, *names).frames)
