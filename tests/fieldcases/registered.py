"""All habits that any module of this folder registers."""

from __future__ import annotations

import importlib
from importlib.util import find_spec

from fieldcases.habits import HABITS, Habit

_MODULES = ("fieldcases.habits", "fieldcases.habits_files", "fieldcases.habits_strange")


def all_habits() -> tuple[Habit, ...]:
    """Every registered habit once, in the order of the modules."""
    found = list(HABITS)
    for name in _MODULES[1:]:
        if find_spec(name) is not None:
            found += [h for h in importlib.import_module(name).HABITS if h not in found]
    return tuple(found)
