"""The sorter: finds the sequences on a memory card, says why, and never loses a frame.

    import sorter

    plan = sorter.plan("/media/card", "rock-pool")
    sorter.carry(plan)
    sorter.check("rock-pool").to_pandas()

Importing it loads nothing of the work: each name is imported when it is asked for.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from sorter.api import (
        Cancel,
        Correction,
        Progress,
        Regrouping,
        Stage,
        carry,
        check,
        collect,
        hand_off,
        ingest,
        plan,
        regroup,
        report,
        scan,
        steps,
        tally,
        undo,
        verify,
    )
    from sorter.errors import SorterError

__version__ = "0.1.0"
_API: Final = "sorter.api"
_HOME_OF: Final = {"SorterError": "sorter.errors"}

__all__ = [
    "Cancel",
    "Correction",
    "Progress",
    "Regrouping",
    "SorterError",
    "Stage",
    "carry",
    "check",
    "collect",
    "hand_off",
    "ingest",
    "plan",
    "regroup",
    "report",
    "scan",
    "steps",
    "tally",
    "undo",
    "verify",
]


def __getattr__(name: str) -> object:
    """The name out of the front door, imported now."""
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found: object = getattr(importlib.import_module(_HOME_OF.get(name, _API)), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
