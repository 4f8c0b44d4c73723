"""A stacking program run for one stack: its output in a log, its end awaited, its children ended too."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import IO, Final

from sorter.disk.permission import Permission

GRACE_S: Final = 2.0
"""What a program that is told to end has, to tidy up after itself, before it is killed."""
POLL_S: Final = 0.05
"""How often it is looked whether leave is withdrawn."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How a program ended. code: its exit code, negative for the signal that killed it.

    seconds: how long it ran. late: it ran into the time limit. stopped: leave was withdrawn.
    """

    code: int
    seconds: float
    late: bool = False
    stopped: bool = False


def run(
    arguments: Sequence[str],
    log: IO[bytes],
    permission: Permission,
    *,
    limit_s: float | None = None,
) -> Ended:
    """Returns when the program and all that it started are at their end.

    Both its outputs go to the log, and it is given no input. It is ended where leave is withdrawn, from
    whatever thread or process, and where it takes longer than limit_s. Raises OSError where it cannot
    be started.
    """
    if not permission.holds:
        return Ended(code=-signal.SIGTERM, seconds=0.0, stopped=True)
    began = time.monotonic()
    process = subprocess.Popen(  # noqa: S603  the user's own command, and no shell
        arguments,
        stdin=subprocess.DEVNULL,
        stdout=log,
        stderr=subprocess.STDOUT,
        start_new_session=True,  # at the head of a group of its own
    )
    late = False
    try:
        with _ended_without(permission, process):
            process.wait(limit_s)
    except subprocess.TimeoutExpired:
        late = True
    finally:
        _end(process)
    spent = time.monotonic() - began
    return Ended(code=process.returncode, seconds=spent, late=late, stopped=not permission.holds)


@contextlib.contextmanager
def _ended_without(permission: Permission, process: subprocess.Popen[bytes]) -> Iterator[None]:
    """The process is told to end as soon as leave is withdrawn, and after a while made to.

    By a thread that looks: to wait for the process by looking would cost time with every program.
    """
    is_over = threading.Event()

    def watch() -> None:
        while not is_over.wait(POLL_S):
            if not permission.holds:
                _signal(process, signal.SIGTERM)
                _await_group(process, time.monotonic() + GRACE_S)
                _signal(process, signal.SIGKILL)
                return

    looking = threading.Thread(target=watch, daemon=True)
    looking.start()
    try:
        yield
    finally:
        is_over.set()
        looking.join()


def _end(process: subprocess.Popen[bytes]) -> None:
    """The process and its children are gone: told to end, and after a while made to."""
    _signal(process, signal.SIGTERM)  # where it has ended, its children may not have
    with contextlib.suppress(subprocess.TimeoutExpired):
        process.wait(GRACE_S)
    _await_group(process, time.monotonic() + GRACE_S)
    _signal(process, signal.SIGKILL)
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


def _signal(process: subprocess.Popen[bytes], what: signal.Signals) -> None:
    with contextlib.suppress(OSError):  # nobody of the group is left
        os.killpg(process.pid, what)
