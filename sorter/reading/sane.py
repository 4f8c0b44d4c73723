"""What a file said, held against what can be: damage writes any number, a camera does not.

A number of a signed type may stand where a count is meant, a code may be one that no table has. Each
decoder would have to look, so it is done once for all of them.
"""

from __future__ import annotations

import math
from typing import Any, Final, cast

from sorter.reading.builder import FactsBuilder
from sorter.reading.standard import LARGEST_EV, LARGEST_ISO, SMALLEST

_MOST: Final = 0xFFFFFFFF
_COUNTS: Final = ("shot_number", "planned", "counter", "merged_from", "width", "height")
_BOUNDS: Final[tuple[tuple[str, float, float], ...]] = (
    *((name, 1, _MOST) for name in _COUNTS),
    ("iso", SMALLEST, LARGEST_ISO),
    ("bracket_offset_ev", -LARGEST_EV, LARGEST_EV),
    ("focus_near_m", SMALLEST, math.inf),
    ("focus_far_m", SMALLEST, math.inf),
)
_TOGETHER: Final = ("focus_near_m", "focus_far_m")


def settle(builder: FactsBuilder) -> None:
    """Takes back what no camera means."""
    facts = cast("dict[str, Any]", builder.facts)
    for name, low, high in _BOUNDS:
        value = facts.get(name)
        if value is not None and not low <= value <= high:
            facts.update(dict.fromkeys(_TOGETHER if name in _TOGETHER else (name,)))
