"""Work of which only one may be done at a time on this machine, in whatever process."""

from __future__ import annotations

import os
import tempfile
from threading import RLock
from types import TracebackType
from typing import Any, Self

from sorter.disk.systems import SYSTEM


class OneAtATime:
    """A turn, taken by a with statement: whoever else wants it waits.

    Within a process by a lock; beside others by one on a file in the system's folder for such, which the
    system lets go of when a process ends. Where no such file can be had, each process has turns of its own.
    """

    def __init__(self, name: str) -> None:
        self._name = name
        self._lock = RLock()
        self._handle: int | None = None

    def __reduce__(self) -> tuple[Any, ...]:
        return OneAtATime, (self._name,)

    def __enter__(self) -> Self:
        self._lock.acquire()
        self._handle = self._held()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._handle is not None:
            os.close(self._handle)
            self._handle = None
        self._lock.release()

    def _held(self) -> int | None:
        path = os.path.join(tempfile.gettempdir(), f"sorter-{self._name}.turn")
        try:
            handle = os.open(path, SYSTEM.WRITING | os.O_CREAT, 0o666)
        except OSError:
            return None
        try:
            SYSTEM.hold(handle)
        except OSError:
            os.close(handle)
            return None
        return handle
