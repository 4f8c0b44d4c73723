"""How long a call takes, and commands that are measured."""

from __future__ import annotations

import statistics
import subprocess
import time
from collections.abc import Callable, Sequence


def seconds(call: Callable[[], object]) -> float:
    """How long the call takes."""
    began = time.perf_counter()
    call()
    return time.perf_counter() - began


def timed(call: Callable[[], object], runs: int) -> float:
    """The median of so many runs in seconds, after one that is not counted."""
    call()
    return statistics.median(seconds(call) for _ in range(runs))


def quietly(command: Sequence[str]) -> None:
    """Runs the command to its end without what it prints. Raises where it fails."""
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)  # noqa: S603 - our own commands
