"""Settings of other libraries, changed only while they are needed: a host program has its own."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import TypeAlias

Restore: TypeAlias = Callable[[], None]


class Borrowed:
    """A setting that is changed in a with statement, and afterwards is as it was. Threads may share it.

    change: changes it, and returns what changes it back. While any thread needs it, it stays changed.
    """

    def __init__(self, change: Callable[[], Restore]) -> None:
        self._change = change
        self._restore: Restore | None = None
        self._count = 0
        self._lock = threading.Lock()

    def __enter__(self) -> None:
        """It is changed."""
        with self._lock:
            if self._restore is None:
                self._restore = self._change()
            self._count += 1

    def __exit__(self, *_: object) -> None:
        with self._lock:
            self._count -= 1
            if not self._count and self._restore is not None:
                self._restore()
                self._restore = None
