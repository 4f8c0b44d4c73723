"""The command in processes of its own that begin with its modules loaded: half a second less for each.

They are forked from a process that does nothing else, so that none has another one's threads. What it
takes to load the modules is held by the tests that start `python -m sorter`.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import time
import traceback
from collections.abc import Mapping, Sequence
from functools import cache
from multiprocessing import get_context
from multiprocessing.context import ForkServerContext
from pathlib import Path
from pkgutil import walk_packages
from tempfile import TemporaryDirectory
from typing import Final

import sorter
from sorter.cli import run

LOADED: Final = [
    "processes",
    "cv2",
    "jinja2",
    "pandas",
    "PIL.Image",
    "rich.console",
    "rich.progress",
    "rich.table",
    "platformdirs",
    *(
        each.name
        for each in walk_packages(sorter.__path__, "sorter.")
        if each.name != "sorter.__main__"
    ),
]
"""All of ours too, for a command loads two hundred modules only when it is called."""


def ran(
    arguments: Sequence[str],
    place: Path,
    environment: Mapping[str, str],
    patience_s: float | None = None,
    limits: Mapping[int, int] | None = None,
) -> subprocess.CompletedProcess[str]:
    """`sorter` run to its end in the folder, with what it said.

    patience_s: how long that may take; without this, as long as it takes. limits: what it may use of each
    resource of setrlimit(2), the modules that are loaded before it included. Raises TimeoutExpired.
    """
    with TemporaryDirectory() as folder:
        said = Path(folder) / "out", Path(folder) / "err"
        child = _server().Process(
            target=_become,
            args=(list(arguments), place, dict(environment), said, dict(limits or {})),
        )
        child.start()
        child.join(patience_s)
        if child.exitcode is None:
            child.kill()
            child.join()
            raise subprocess.TimeoutExpired(["sorter", *arguments], patience_s or 0)
        out, err = (path.read_text(encoding="utf-8") for path in said)
    return subprocess.CompletedProcess(["sorter", *arguments], child.exitcode, out, err)


@cache
def _server() -> ForkServerContext:
    context = get_context("forkserver")
    context.set_forkserver_preload(LOADED)
    return context


def _become(
    arguments: list[str],
    place: Path,
    environment: dict[str, str],
    said: tuple[Path, Path],
    limits: dict[int, int],
) -> None:
    """Never returns."""
    code = 1
    try:
        os.environ.clear()
        os.environ.update(environment)
        time.tzset()
        os.chdir(place)
        for number, path in enumerate(said, 1):
            with path.open("wb") as file:
                os.dup2(file.fileno(), number)
        sys.stdout, sys.stderr = (open(number, "w", encoding="utf-8") for number in (1, 2))  # noqa: PTH123, SIM115
        sys.argv = ["sorter", *arguments]
        for kind, most in limits.items():
            resource.setrlimit(kind, (most, most))
        run()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else int(end.code is not None)
    except BaseException:  # noqa: BLE001  as the interpreter tells it
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)
