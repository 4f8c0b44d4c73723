"""Processes that copy small files and read them back: faster than threads, which wait for each other.

A thread lets go of the interpreter's lock at each of the dozen calls that a small file takes, and waits
for it again. Four thousand files of 100 kB were carried in 2.0 s by three threads, and in 1.3 s with
three helpers, on two cores.

A helper only ever says of a file that all went well. Whatever else there is to say of it is found out
by doing it again, without help: so what goes wrong, and how that is told, is in one place.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

from sorter.disk.files import NewFile
from sorter.disk.streams import Measured, Stream, measured
from sorter.disk.systems import SYSTEM
from sorter.writing.integrity import IntegrityCheck
from sorter.writing.passing import passed

_HOME: Final = str(Path(__file__).parents[2])
_PROGRAM: Final = (
    "import sys; sys.path.insert(0, sys.argv[1]); from sorter.writing.helping import answer; "
    "answer(int(sys.argv[2]), int(sys.argv[3]))"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """A file to be copied, and to which new files; their paths as the system names them.

    container, is_picture: as Watch wants them. past: it is read past the system's cache.
    """

    source: str
    targets: tuple[str, ...]
    container: str
    is_picture: bool
    past: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Done:
    """A file that was copied whole: bytes, digest, its own stamp, and what was seen on the way.

    late: for each target what is to be said of its stamp; empty for nothing.
    """

    count: int
    sha256: str
    modified_ns: int
    verdict: str
    late: tuple[str, ...]


class Helpers:
    """A few of these processes; threads may share them. They are started when they are needed."""

    def __init__(self) -> None:
        self._idle: list[_Helper] = []
        self._choosing = threading.Lock()

    def start(self, count: int) -> None:
        """So many are on their way: it takes a tenth of a second until they answer."""
        self._idle += [_Helper() for _ in range(count - len(self._idle))]

    def copied(self, tasks: Sequence[Task]) -> list[Done | None]:
        """What became of each file; None where not all went well."""
        wanted = [
            [one.source, one.targets, one.container, one.is_picture, one.past] for one in tasks
        ]
        known = self._asked("copy", wanted)
        return [
            None if one is None else Done(**{**one, "late": tuple(one["late"])}) for one in known
        ]

    def measured(self, paths: Sequence[str]) -> list[Measured | None]:
        """What each of the files gives, read past the system's cache; None where it gave nothing."""
        return [None if one is None else Measured(**one) for one in self._asked("read", paths)]

    def close(self) -> None:
        """They are gone; when no thread asks them any more."""
        while self._idle:
            self._idle.pop().close()

    def _asked(self, what: str, about: Sequence[object]) -> list[Any]:
        with self._borrowed() as helper:
            try:
                return helper.asked(what, about)
            except (OSError, ValueError):  # it is not there any more
                return [None] * len(about)

    @contextlib.contextmanager
    def _borrowed(self) -> Iterator[_Helper]:
        with self._choosing:
            helper = self._idle.pop() if self._idle else _Helper()
        try:
            yield helper
        finally:
            with self._choosing:
                self._idle.append(helper)


class _Helper:
    """One such process, or none where the system starts none for us."""

    def __init__(self) -> None:
        ours, theirs = socket.socketpair()
        self._line = ours.makefile("rwb")
        self.process: subprocess.Popen[bytes] | None = None
        with ours, theirs, contextlib.suppress(OSError, ValueError):
            if SYSTEM.HELPERS:  # elsewhere no line can be handed over like this
                self.process = _started(theirs.fileno())

    def asked(self, what: str, about: Sequence[object]) -> list[Any]:
        """Its answers. Raises OSError or ValueError where it gives none."""
        if self.process is None:
            raise OSError(errno.ECHILD, os.strerror(errno.ECHILD))
        self._line.write(json.dumps([what, about]).encode() + b"\n")
        self._line.flush()
        known: list[Any] = json.loads(self._line.readline())
        if len(known) != len(about):
            raise ValueError("not what was asked for")
        return known

    def close(self) -> None:
        """The process is gone."""
        with contextlib.suppress(OSError):
            self._line.close()
        if self.process is not None:
            self.process.wait()


def _started(end: int) -> subprocess.Popen[bytes]:
    return subprocess.Popen(  # noqa: S603  our own interpreter, our own module
        [sys.executable, "-I", "-S", "-c", _PROGRAM, _HOME, str(end), str(os.getpid())],
        pass_fds=[end], cwd=os.sep,
        stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip


# ---- the helper's part -----------------------------------------------------------------------


def answer(end: int, parent: int) -> None:
    """Does what each line asks for and tells it in a line, until there are no more lines.

    end: the handle of our end of the line. Signals are left to the one who started us; his death is
    ours, so that nobody writes to a shoot on behalf of a run that is over.
    """
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, signal.SIG_IGN)
    SYSTEM.die_with(parent)
    with socket.socket(fileno=end) as ours, ours.makefile("rwb") as line:
        for asked in iter(line.readline, b""):
            if os.getppid() != parent:
                return
            what, about = json.loads(asked)
            done = [_copied(*one) if what == "copy" else _measured(one) for one in about]
            line.write(json.dumps(done).encode() + b"\n")
            line.flush()


def _copied(
    source: str, targets: list[str], container: str, is_picture: bool, past: bool
) -> dict[str, object] | None:
    watch = IntegrityCheck(container, is_picture=is_picture)
    try:
        with Stream(source, past=past) as stream, ExitStack() as open_files:
            files = [open_files.enter_context(NewFile(target)) for target in targets]
            found = passed(stream.blocks(), watch, files)
            if found.count != stream.size:
                return None
            stamp = stream.modified_ns
            late = [file.stamp(stamp) for file in files]
    except OSError:
        return None
    return {**asdict(found), "modified_ns": stamp, "late": late}


def _measured(path: str) -> dict[str, object] | None:
    try:
        return asdict(measured(Stream(path, past=True)))
    except OSError:
        return None
