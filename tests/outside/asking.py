"""exiftool kept open and asked again and again: to start it takes longer than to read ten files."""

from __future__ import annotations

import atexit
import os
import shutil
import subprocess
from functools import cache
from typing import Final

READY: Final = "{ready}"
"""The line that exiftool ends each answer with; see -stay_open in its documentation."""


def exiftool(*arguments: str) -> str:
    """What it writes for these arguments, of which none holds a line break."""
    process = _opened(os.getpid())
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write("".join(f"{each}\n" for each in (*arguments, "-execute")))
    process.stdin.flush()
    said: list[str] = []
    for line in process.stdout:
        if line.rstrip("\n") == READY:
            return "".join(said)
        said.append(line)
    raise AssertionError(f"exiftool ended: {process.wait()}")


@cache
def _opened(_: int) -> subprocess.Popen[str]:
    """The process, of which each of ours has its own."""
    program = shutil.which("exiftool")
    assert program, "exiftool is missing: run scripts/test, or install it"
    process = subprocess.Popen(  # noqa: S603  named here
        [program, "-stay_open", "True", "-@", "-"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env={**os.environ, "LC_ALL": "C"},
        text=True,
        encoding="utf-8",
    )
    atexit.register(process.kill)
    return process
