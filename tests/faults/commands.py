"""The command itself, in a process of its own: stopped by a signal, and what it said."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import sorter
from faults.dying import Disk
from faults.scenarios import Pool
from sorter.cli import run

HOME: Final = Path(sorter.__file__).parents[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How the process ended. points: at how many a signal may come; where it got one, only those before."""

    code: int
    said: str
    points: int
    signalled: bool


def started(arguments: tuple[str, ...]) -> subprocess.Popen[str]:
    """The command in a new interpreter."""
    command = [sys.executable, "-m", "sorter", *arguments]
    return subprocess.Popen(  # noqa: S603  our own program
        command, cwd=HOME, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True
    )


def signalled(pool: Pool, arguments: tuple[str, ...], point: int, by: signal.Signals) -> Ended:
    """The command in a forked process that gets the signal at this point of its work on the disk, if any."""
    said, report, graves = (pool.scratch / name for name in ("said", "death.json", "graves"))
    shutil.rmtree(graves, ignore_errors=True)
    graves.mkdir(parents=True)
    report.unlink(missing_ok=True)
    child = os.fork()
    if child == 0:
        _become(arguments, said, Disk(point, report, graves, by=by))
    _, status = os.waitpid(child, 0)
    told = json.loads(report.read_text())
    return Ended(
        code=os.waitstatus_to_exitcode(status),
        said=said.read_text(),
        points=told["point"],
        signalled=told["point"] >= point,  # threads may be one call further by then
    )


def _become(arguments: tuple[str, ...], said: Path, disk: Disk) -> None:
    """Never returns."""
    code = 1
    try:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        with said.open("wb") as errors, Path(os.devnull).open("wb") as nowhere:
            os.dup2(nowhere.fileno(), 1)
            os.dup2(errors.fileno(), 2)
        sys.stdout, sys.stderr = (os.fdopen(number, "w") for number in (1, 2))
        sys.argv = ["sorter", *arguments]
        disk.watch()
        run()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 1
        sys.stderr.flush()
    finally:
        if not disk.is_told:
            disk.ends()
        os._exit(code)
