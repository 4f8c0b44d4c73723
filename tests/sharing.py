"""How the tests are shared out among processes: in units that make the same things, the longest first.

A unit is a module, so that what it makes once is made once. Of some modules each test function is one: it
makes all by itself, and takes long. A room whose modules all need one thing is a unit as a whole.
"""

from __future__ import annotations

from typing import Final

LONGEST: Final = (
    "tests/outside/test_sound_stacks.py",
    "tests/browser",
    "tests/test_docs.py::test_every_command_line_in_the_readme_runs",
    "tests/faults/test_dying.py::test_after_every_cut",
    "tests/cli/test_hostile_inputs.py",
    "tests/faults/test_failing_disks.py",
    "tests/cli/test_check.py",
    "tests/faults/test_spoiled.py",
    "tests/cli/test_check_apply.py",
    "tests/faults/test_full.py",
    "tests/faults/test_faulty_disks.py",
    "tests/faults/test_faulty_cards.py",
    "tests/property/test_grouping.py",
    "tests/property/test_corrected_accounts.py",
    "tests/faults/test_faulty_reads.py",
    "tests/faults/test_signals.py",
)
"""Units by the time that they take, about: a long one that comes last keeps all waiting."""
MORE: Final = 1
"""Processes beyond one for each processor: tests that wait for a limit or a disk leave theirs to others."""
APART: Final = frozenset({"tests/test_docs.py", "tests/faults/test_dying.py"})
TOGETHER: Final = ("tests/browser",)


def unit_of(nodeid: str) -> str:
    """The unit that a test belongs to."""
    module, _, _ = nodeid.partition("::")
    if module in APART:
        return nodeid.partition("[")[0]
    return next((room for room in TOGETHER if module.startswith(f"{room}/")), module)


def place_of(nodeid: str) -> int:
    """Where its unit comes: those that are known to take long in their order, then all others."""
    unit = unit_of(nodeid)
    return LONGEST.index(unit) if unit in LONGEST else len(LONGEST)
