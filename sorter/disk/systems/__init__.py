"""All that differs between Linux, macOS and Windows: a module a system, chosen here and nowhere else."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sorter.disk.systems.system import System

if sys.platform == "win32":
    from sorter.disk.systems import windows as _here
elif sys.platform == "darwin":
    from sorter.disk.systems import macos as _here
else:
    from sorter.disk.systems import linux as _here

SYSTEM: System = _here
"""The system that we run on. Others that are neither macOS nor Windows are taken for a Linux: what they
do not have is asked for call by call."""
