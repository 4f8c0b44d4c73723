"""What the user asks of an ingest, and how its progress is told."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from pathlib import Path

from sorter.model.correction import Correction
from sorter.model.progress import CountProgress
from sorter.planning import pattern
from sorter.settings import Settings


@dataclass(frozen=True, slots=True, kw_only=True)
class IngestOptions:
    """What the user asked for. folder: the pattern of folder names. name: for that pattern.

    uses_pictures: the pictures decide too what belongs together. backup: where a second copy is to lie; None
    for none. rereads: the card is read a second time, past the system's cache, and compared.
    """

    settings: Settings = field(default_factory=Settings)
    folder: str = pattern.DEFAULT
    name: str = ""
    corrections: tuple[Correction, ...] = ()
    moves: bool = False
    uses_pictures: bool = False
    backup: Path | None = None
    rereads: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class StageProgress:
    """Progress by stage. reading: in files of the card. looking: in frames. The others: in bytes."""

    reading: CountProgress
    comparing: CountProgress
    carrying: CountProgress
    looking: CountProgress = lambda _done, _total: None


class SharedCount:
    """Adds up what is dealt with, and passes on the sum and the total. Threads may share it."""

    def __init__(self, progress: CountProgress, total: int = 0) -> None:
        self._done = 0
        self._total = total
        self._progress = progress
        self._adding = threading.Lock()

    def expect(self, total: int) -> None:
        """So much is to be dealt with in all."""
        self._total = total

    def add(self, amount: int) -> None:
        """So much more is done. More than the total is not told: some work is done twice."""
        with self._adding:
            self._done = min(self._done + amount, self._total)
            self._progress(self._done, self._total)
