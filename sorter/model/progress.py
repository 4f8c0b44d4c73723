"""How work tells how far it has come: functions that it calls, from any thread."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeAlias

CountProgress: TypeAlias = Callable[[int, int], None]
"""Called with how much is done, of how much."""
ByteProgress: TypeAlias = Callable[[int], None]
"""Called with the bytes of each block that is done."""
