"""How far a call has come, and how it is taken back."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeAlias

from sorter.errors import Cancelled
from sorter.model.progress import CountProgress

Progress: TypeAlias = Callable[[str, int, int], None]
"""Called from any thread: the stage, how much of it is done, of how much."""


class Stage(StrEnum):
    """What a call is at, and what is counted there.

    reading, ending, moving, collecting: files. looking, drawing: frames. comparing, carrying, verifying,
    mending, undoing: bytes. handing, merging: stacks. counting: shoots.
    """

    READING = "reading"
    LOOKING = "looking"
    COMPARING = "comparing"
    CARRYING = "carrying"
    VERIFYING = "verifying"
    MENDING = "mending"
    UNDOING = "undoing"
    ENDING = "ending"
    MOVING = "moving"
    DRAWING = "drawing"
    HANDING = "handing"
    MERGING = "merging"
    COLLECTING = "collecting"
    COUNTING = "counting"


class Cancel:
    """A token by which a call is taken back from another thread.

    It is looked at between frames and blocks; the call ends then with Cancelled. That is a stop as any
    other: nothing is lost, and the same call goes on where it stopped.

    >>> token = Cancel()
    >>> token.is_cancelled
    False
    >>> token.cancel()
    >>> token.is_cancelled
    True
    """

    def __init__(self) -> None:
        self._event = threading.Event()

    @property
    def is_cancelled(self) -> bool:
        """Whether somebody took the call back."""
        return self._event.is_set()

    def cancel(self) -> None:
        """The call is to end at the next place where nothing is lost; may be called from any thread."""
        self._event.set()


def _nobody(_stage: str, _done: int, _total: int) -> None:
    """Nobody wants to know."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Watch:
    """Who is told how far a call has come, and who may take it back."""

    progress: Progress = field(default=_nobody)
    cancel: Cancel | None = None

    @classmethod
    def of(cls, progress: Progress | None, cancel: Cancel | None) -> Watch:
        """What a call was given; it may have been taken back before it began. Raises Cancelled."""
        watch = cls(progress=progress or _nobody, cancel=cancel)
        watch.check()
        return watch

    def check(self) -> None:
        """Returns where nobody took the call back. Raises Cancelled."""
        if self.cancel is not None and self.cancel.is_cancelled:
            raise Cancelled(
                "taken back. Nothing was lost, and nothing half-written is left; the same call goes on."
            )

    def progress_of(self, stage: Stage) -> CountProgress:
        """What a stage calls with how much is done, of how much."""

        def report(done: int, total: int) -> None:
            self.check()
            self.progress(stage.value, done, total)

        return report
