"""A stacking program run for one stack: its output in a log, its end awaited, its children ended too."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import IO, Final

GRACE_S: Final = 2.0
"""What a program that is told to end has, to tidy up after itself, before it is killed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How a program ended. code: its exit code, negative for the signal that killed it.

    seconds: how long it ran. late: it ran into the time limit. stopped: this run was to end.
    """

    code: int
    seconds: float
    late: bool = False
    stopped: bool = False


class Runner:
    """Runs programs, from several threads at a time, until `stop`.

    limit_s: how long each may run; None for as long as it takes.
    """

    def __init__(self, limit_s: float | None = None) -> None:
        self._limit_s = limit_s
        self._running: set[subprocess.Popen[bytes]] = set()
        self._stopped = False
        self._changing = threading.Lock()

    def run(self, arguments: Sequence[str], log: IO[bytes]) -> Ended:
        """Returns when the program and all that it started are at their end.

        Both its outputs go to the log, and it is given no input. Raises OSError where it cannot be
        started.
        """
        began = time.monotonic()
        process = self._started(arguments, log)
        if process is None:
            return Ended(code=-signal.SIGTERM, seconds=0.0, stopped=True)
        late = False
        try:
            process.wait(self._limit_s)
        except subprocess.TimeoutExpired:
            late = True
        finally:
            _end(process)
            with self._changing:
                self._running.discard(process)
        spent = time.monotonic() - began
        return Ended(code=process.returncode, seconds=spent, late=late, stopped=self._stopped)

    def stop(self) -> None:
        """Ends every program that is running, and lets none begin any more."""
        with self._changing:
            self._stopped = True
            running = list(self._running)
        for process in running:
            _tell(process, signal.SIGTERM)
        until = time.monotonic() + GRACE_S
        for process in running:
            _await_group(process, until)
            _tell(process, signal.SIGKILL)

    def _started(self, arguments: Sequence[str], log: IO[bytes]) -> subprocess.Popen[bytes] | None:
        """The process, at the head of a group of its own; None after `stop`."""
        with self._changing:
            if self._stopped:
                return None
            process = subprocess.Popen(  # noqa: S603  the user's own command, and no shell
                arguments,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
            self._running.add(process)
            return process


def _end(process: subprocess.Popen[bytes]) -> None:
    """The process and its children are gone: told to end, and after a while made to."""
    _tell(process, signal.SIGTERM)  # where it has ended, its children may not have
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(GRACE_S)
    _await_group(process, time.monotonic() + GRACE_S)
    _tell(process, signal.SIGKILL)
    process.wait()


def _await_group(process: subprocess.Popen[bytes], until: float) -> None:
    """Children that were told to end are given the time for it."""
    while _is_there(process) and time.monotonic() < until:
        time.sleep(0.02)


def _is_there(process: subprocess.Popen[bytes]) -> bool:
    try:
        os.killpg(process.pid, 0)
    except OSError:
        return False
    return True


def _tell(process: subprocess.Popen[bytes], what: signal.Signals) -> None:
    with contextlib.suppress(OSError):  # nobody of the group is left
        os.killpg(process.pid, what)
