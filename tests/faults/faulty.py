"""A disk with faults: a file system that passes all through to a folder below, but for what it was told.

It is run by a process of its own (passing.py) and mounted by FUSE, so that the sorter meets its faults
where it would meet those of a real card: in the system's answers. Pages stay in the system's cache as
those of a disk do; what is read below it is counted, and what is changed in the folder below is seen
only past the cache.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import KW_ONLY, asdict, dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory, TemporaryFile
from typing import IO, Final, get_args

SERVER: Final = Path(__file__).with_name("passing.py")
DEVICE: Final = Path("/dev/fuse")
UNMOUNT: Final = "fusermount3"
END_S: Final = 10
"""Seconds that the file system has for its end; then it is killed."""


@dataclass(frozen=True, slots=True)
class FlipFirstRead:
    """Who reads this place first is given one bit that is another; all later reads are true."""

    name: str
    _: KW_ONLY
    offset: int
    bit: int = 0


@dataclass(frozen=True, slots=True)
class FlipEveryRead:
    """Whoever reads this place is given one bit that is another."""

    name: str
    _: KW_ONLY
    offset: int
    bit: int = 0


@dataclass(frozen=True, slots=True)
class NoStat:
    """EIO where the name is looked up or asked about: so many times, always where none is given."""

    name: str
    _: KW_ONLY
    times: int | None = None


@dataclass(frozen=True, slots=True)
class FailingRead:
    """EIO where anything from this byte on is read."""

    name: str
    _: KW_ONLY
    offset: int = 0


@dataclass(frozen=True, slots=True)
class FailingUnlink:
    """EIO where the name is removed."""

    name: str


@dataclass(frozen=True, slots=True)
class FailingRename:
    """EIO where the name is renamed, or something else to it."""

    name: str


@dataclass(frozen=True, slots=True)
class ClosedFolder:
    """EIO where the folder is opened; or, where a number is given, behind so many names of its listing."""

    name: str
    _: KW_ONLY
    after: int | None = None


@dataclass(frozen=True, slots=True)
class NoTypes:
    """Listings tell no types (DT_UNKNOWN)."""


@dataclass(frozen=True, slots=True)
class NoExclusiveRename:
    """A rename with flags is refused (EINVAL): none that never replaces, none that swaps."""


@dataclass(frozen=True, slots=True)
class NoSecondNames:
    """No hard links (EPERM)."""


@dataclass(frozen=True, slots=True)
class FoldsNames:
    """Capitals are taken for small letters where a name is looked up, and listed as they were written."""


@dataclass(frozen=True, slots=True)
class NoDirect:
    """Opening and reading past the cache is refused (EINVAL)."""


@dataclass(frozen=True, slots=True)
class Full:
    """ENOSPC once so many bytes were written, whichever they are.

    told: whether the system is told how much room there is left.
    """

    bytes: int
    _: KW_ONLY
    told: bool = True


@dataclass(frozen=True, slots=True)
class ReadOnly:
    """EROFS for everything that changes something."""


Fault = (
    FlipFirstRead
    | FlipEveryRead
    | NoStat
    | FailingRead
    | FailingUnlink
    | FailingRename
    | ClosedFolder
    | NoTypes
    | NoExclusiveRename
    | NoSecondNames
    | FoldsNames
    | NoDirect
    | Full
    | ReadOnly
)
"""name: a path below the mount point, or the last parts of one ("IMG_0001.JPG", "100TIDES/IMG_0001.JPG")."""
KINDS: Final[dict[str, type[Fault]]] = {kind.__name__: kind for kind in get_args(Fault)}


def spelled(fault: Fault) -> dict[str, object]:
    """A fault as JSON; fault_of is the way back."""
    return {"kind": type(fault).__name__, **asdict(fault)}


def fault_of(words: dict[str, object]) -> Fault:
    """The fault that was spelled."""
    values = dict(words)
    kind: type = KINDS[str(values.pop("kind"))]
    name = (values.pop("name"),) if "name" in values else ()
    fault: Fault = kind(*name, **values)
    return fault


def is_named(path: str, name: str) -> bool:
    """Whether a path ends with all parts of the name."""
    parts, wanted = PurePosixPath(path).parts, PurePosixPath(name).parts
    return parts[-len(wanted) :] == wanted


class Faulty:
    """A mounted disk with faults."""

    def __init__(self, mountpoint: Path, process: subprocess.Popen[str]) -> None:
        self.mountpoint = mountpoint
        self._process = process

    def reads(self, path: Path) -> int:
        """How many bytes of this file were given below the page cache so far, by any of its names."""
        return int(self._asked(do="reads", path=str(path.relative_to(self.mountpoint))))

    def met(self, fault: Fault) -> int:
        """How often somebody ran into this fault since it was told."""
        return int(self._asked(do="met", fault=spelled(fault)))

    def now(self, *faults: Fault) -> None:
        """The disk has these faults from now on, and no others; a flip comes once more."""
        self._asked(do="now", faults=[spelled(fault) for fault in faults])

    def _asked(self, **request: object) -> int:
        assert self._process.stdin is not None
        self._process.stdin.write(json.dumps(request) + "\n")
        self._process.stdin.flush()
        return self.answer()

    def answer(self) -> int:
        """What the process says next. Raises RuntimeError where it has ended."""
        assert self._process.stdout is not None
        line = self._process.stdout.readline()
        if not line:
            raise RuntimeError("the file system with faults has ended")
        return int(json.loads(line))


@contextmanager
def faulty(mountpoint: Path, below: Path, *faults: Fault) -> Iterator[Faulty]:
    """What lies below, seen through a disk with these faults; unmounted at the end, whatever happens.

    Both folders are made where they are missing. Raises RuntimeError where the file system cannot be
    mounted, and where it failed itself, other than it was told to.
    """
    mountpoint.mkdir(parents=True, exist_ok=True)
    below.mkdir(parents=True, exist_ok=True)
    with TemporaryFile("w+") as said:
        process = _started(mountpoint, below, said)
        try:
            disk = Faulty(mountpoint, process)
            _wait(disk, said)
            disk.now(*faults)
            yield disk
        finally:
            _ended(mountpoint, process)
        _hold_sound(said)


def _started(mountpoint: Path, below: Path, said: IO[str]) -> subprocess.Popen[str]:
    """The process, apart from our group: Ctrl-C is for us, and it ends when we do."""
    return subprocess.Popen(  # noqa: S603  our own program
        [sys.executable, str(SERVER), str(mountpoint), str(below)],
        env={**os.environ, "PYTHONPATH": str(SERVER.parents[1]), "FUSE_LIBRARY_NAME": "fuse3"},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=said,
        text=True,
        start_new_session=True,
    )


def _wait(disk: Faulty, said: IO[str]) -> None:
    try:
        disk.answer()
    except RuntimeError as error:
        said.seek(0)
        raise RuntimeError(f"no file system with faults could be mounted: {said.read()}") from error


def _ended(mountpoint: Path, process: subprocess.Popen[str]) -> None:
    """Its input ends, so it unmounts itself; if it cannot any more, we do."""
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.close()
    try:
        process.wait(END_S)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
    process.stdout.close()
    unmount(mountpoint)


def unmount(mountpoint: Path) -> None:
    """The mount point is a plain folder again, at once, whoever still holds files there open."""
    program = shutil.which(UNMOUNT)
    assert program is not None
    subprocess.run([program, "-u", "-z", "-q", str(mountpoint)], check=False, capture_output=True)  # noqa: S603


def _hold_sound(said: IO[str]) -> None:
    said.seek(0)
    words = said.read()
    if "Traceback" in words:  # libfuse says harmless things there too
        raise RuntimeError(f"the file system with faults failed itself: {words}")


@cache
def why_not() -> str:
    """Why no disk with faults can be had here; empty where one can. Tried once, on a folder of its own."""
    missing = {
        "this system is not Linux": sys.platform == "linux",
        f"there is no {DEVICE}": DEVICE.exists(),
        "mfusepy is not installed": find_spec("mfusepy") is not None,
        f"{UNMOUNT} is not installed (Debian: fuse3)": shutil.which(UNMOUNT) is not None,
    }
    for reason, is_there in missing.items():
        if not is_there:
            return reason
    return _refusal()


def _refusal() -> str:
    try:
        with TemporaryDirectory() as folder, faulty(Path(folder) / "disk", Path(folder) / "below"):
            return ""
    except (OSError, RuntimeError) as error:
        return str(error)
