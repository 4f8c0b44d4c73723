"""Starts the command that it is given, and writes what it took: seconds, kB of memory, exit code.

It is run as a program of its own, without the modules of a site. The system counts a process's memory
from what its parent held when it was started: under a bench that holds large arrays, every command would
seem to hold as much.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time


def main(command: list[str]) -> None:
    """The command has run to its end; what it printed is gone."""
    began = time.perf_counter()
    with subprocess.Popen(  # noqa: S603  the bench's own command
        command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as process:
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    print(time.perf_counter() - began, usage.ru_maxrss, process.returncode)


if __name__ == "__main__":
    main(sys.argv[1:])
