"""How long a call takes."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable


def seconds(call: Callable[[], object]) -> float:
    """How long the call takes."""
    began = time.perf_counter()
    call()
    return time.perf_counter() - began


def timed(call: Callable[[], object], runs: int) -> float:
    """The median of so many runs in seconds, after one that is not counted."""
    call()
    return statistics.median(seconds(call) for _ in range(runs))
