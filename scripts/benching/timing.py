"""How long a call takes, and commands that are measured."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final

STARTER: Final = Path(__file__).with_name("starting.py")


def seconds(call: Callable[[], object]) -> float:
    """How long the call takes."""
    began = time.perf_counter()
    call()
    return time.perf_counter() - began


def timed(call: Callable[[], object], runs: int) -> float:
    """The median of so many runs in seconds, after one that is not counted."""
    call()
    return statistics.median(seconds(call) for _ in range(runs))


def paired(
    ours: Callable[[], object], bare: Callable[[], object], runs: int, number: int
) -> tuple[float, float, float]:
    """The median ratio of both in so many runs of one after the other, and ms of each for one of number."""
    ours(), bare()  # what is loaded and cached once does not count
    taken = [(seconds(ours), seconds(bare)) for _ in range(runs)]
    a, b = (statistics.median(column) / number * 1e3 for column in zip(*taken, strict=True))
    return statistics.median(a / b for a, b in taken), a, b


def silent(*_: int) -> None:
    """A tick where nobody looks on."""


def with_memory(command: Sequence[str]) -> tuple[float, float]:
    """Seconds and the most memory in MB that the command took, without what it prints.

    The command has a small parent (starting.py), so that nothing of this process's memory is counted.
    Raises SystemExit where it fails.
    """
    starter = (sys.executable, "-I", "-S", str(STARTER), *command)
    done = subprocess.run(starter, check=True, capture_output=True, text=True)  # noqa: S603
    took, memory_kb, code = done.stdout.split()
    if code != "0":
        raise SystemExit(f"{' '.join(command)} ended with {code}")
    return float(took), int(memory_kb) / 1024


def quietly(command: Sequence[str]) -> None:
    """Runs the command to its end without what it prints. Raises where it fails."""
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)  # noqa: S603 - our own commands
