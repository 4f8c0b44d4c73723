"""Where the folders of tests lie: in memory where there is room, for tests force thousands of files to the disk.

On a real disk lie those of the rooms that are about disks, and all where everything is asked for
(--thorough), where a place is named (--basetemp), or where memory is short.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import pytest

MEMORY: Final = Path("/dev/shm")  # noqa: S108  where Linux has one: folders of pytest's own only
DISK: Final = Path(tempfile.gettempdir())
"""Where folders lie that are said to lie nowhere else."""
KNOWN: Final = Path("/proc/meminfo")
"""proc(5): a line for each amount, in kB."""
ROOM: Final = 4_000_000_000
"""Bytes: twice what a whole run leaves there until its end."""
ON_DISK: Final = (
    "tests/disk/",
    "tests/faults/",
    "tests/test_docs.py::test_the_outputs_in_the_readme",
)
"""Tests whose own folders lie on a real disk, whatever the others' do: what disks do is looked at, or what is said
of them. What a test of faults wants in memory is in its base."""
ROOT: Final = "PYTEST_DEBUG_TEMPROOT"
"""Where pytest makes its folders, by its documentation."""


def place(config: pytest.Config) -> None:
    """Says where the folders of this run lie, pytest's and tempfile's; a worker's lie where it was started from."""
    option = config.option
    is_told = ROOT in os.environ or hasattr(config, "workerinput")
    if not (is_told or option.thorough or option.basetemp) and has_room():
        os.environ[ROOT] = str(MEMORY)
    if os.environ.get(ROOT) == str(MEMORY):
        tempfile.tempdir = str(MEMORY)


def has_room(memory: Path = MEMORY, known: Path = KNOWN) -> bool:
    """Whether the system has a folder in memory, and enough is free there and of all memory."""
    if not (memory.is_dir() and os.access(memory, os.W_OK) and known.is_file()):
        return False
    about = os.statvfs(memory)
    return min(about.f_bavail * about.f_frsize, available(known.read_text())) >= ROOM


def available(text: str) -> int:
    """The bytes that programs can have without anything being written out, by what proc(5) says; 0 untold."""
    lines = (line.split() for line in text.splitlines())
    return next((int(words[1]) * 1024 for words in lines if words[:1] == ["MemAvailable:"]), 0)


def is_on_disk(nodeid: str) -> bool:
    """Whether a test's own folders lie on a real disk always."""
    return nodeid.startswith(ON_DISK)
