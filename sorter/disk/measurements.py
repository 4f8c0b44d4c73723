"""What was found out about a shoot's pictures, kept beside its ledger: it can be lost at any time."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import Final

from sorter.disk.shoot import MEASUREMENTS, Shoot

MOST_BYTES: Final = 256 * 1024 * 1024


class MeasurementStore:
    """Stores by their keys; an empty key has none. A disk that takes no more, or gives nothing, is no fault here."""

    def __init__(self, shoot: Shoot | None) -> None:
        self._shoot = shoot
        self._used: set[str] = set()

    def get(self, key: str) -> bytes | None:
        """The store of this key; None where there is none that can be read."""
        self.use(key)
        if self._shoot is None or not key:
            return None
        path = Path(self._shoot.root) / MEASUREMENTS / key
        with contextlib.suppress(OSError):
            if path.is_file() and not path.is_symlink() and path.stat().st_size <= MOST_BYTES:
                return path.read_bytes()
        return None

    def put(self, key: str, data: bytes) -> None:
        """The store is kept, where the disk takes it."""
        self.use(key)
        if self._shoot is not None and key:
            with contextlib.suppress(OSError):
                self._shoot.keep(f"{MEASUREMENTS}/{key}", data)

    def use(self, key: str) -> None:
        """The store of this key is still of use, whether or not it is read now."""
        self._used.add(key)

    def drop_others(self) -> None:
        """Stores that are of no use any more are gone: their series are no longer in the shoot."""
        if self._shoot is None:
            return
        with contextlib.suppress(OSError):
            for each in sorted((Path(self._shoot.root) / MEASUREMENTS).iterdir()):
                if each.name not in self._used:
                    self._shoot.remove(f"{MEASUREMENTS}/{each.name}")
