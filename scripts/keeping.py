"""What is costly to make is made once and kept in build/, where it can be deleted at any time.

It is kept under a digest of all that decides what comes out. It is made in a folder beside and renamed
when it is whole, by one process while others wait, so that nobody ever sees half of it. What is no
longer as it was made is made anew; what has not been asked for of late is removed.
"""

from __future__ import annotations

import hashlib
import json
import shutil
import sys
import tempfile
import time
from contextlib import contextmanager, suppress
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Final

try:
    import fcntl
except (
    ImportError
):  # where no file can be locked, each process makes its own, and one of them is kept
    fcntl = None  # type: ignore[assignment]

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

HOME: Final = Path(__file__).parents[1] / "build" / "kept"
DRAWN_WITH: Final = ("numpy", "opencv-python-headless", "pillow")
"""Libraries of which another version may make other bytes."""
LENGTH, LETTER = 24, "[0-9a-f]"
"""Of a digest in a name."""
DAY_S: Final = 24 * 3600
WHOLE: Final = "whole.json"
"""Lists what was made, file by file, with sizes and times."""


def kept(
    name: str, sources: Iterable[Path], make: Callable[[Path], object], home: Path = HOME
) -> Path:
    """The folder that make fills, from these source files, at most once. To be read, never changed."""
    folder = home / f"{name}-{digest(sources)}"
    home.mkdir(parents=True, exist_ok=True)
    with _alone(home / f"{name}.lock"):
        _clear(home.glob(f"{name}.making.*"))
        if not _is_whole(folder):
            _made(folder, make)
        folder.touch()
        prune(home.glob(f"{name}-{LETTER * LENGTH}"), DAY_S)
    return folder


def digest(sources: Iterable[Path]) -> str:
    """Tells these files, the interpreter and the libraries that draw from any others."""
    said = hashlib.sha256(repr((sys.version_info[:2], [*map(version, DRAWN_WITH)])).encode())
    for path in sorted(sources):
        said.update(hashlib.sha256(path.read_bytes()).digest())
    return said.hexdigest()[:LENGTH]


def prune(paths: Iterable[Path], unused_s: float) -> None:
    """Removes of these files and folders what was not asked for in so many seconds."""
    until = time.time() - unused_s
    for path in paths:
        with suppress(FileNotFoundError):
            if path.stat().st_mtime < until:
                _clear([path])


def _made(folder: Path, make: Callable[[Path], object]) -> None:
    _clear([folder])
    beside = Path(
        tempfile.mkdtemp(prefix=f"{folder.name.rpartition('-')[0]}.making.", dir=folder.parent)
    )
    try:
        make(beside)
        (beside / WHOLE).write_text(json.dumps(_listed(beside)))
        beside.rename(folder)
    finally:
        _clear([beside])


def _is_whole(folder: Path) -> bool:
    """Whether every file is there, as large and as old as it was when it was made, and no other."""
    try:
        listed: object = json.loads((folder / WHOLE).read_text())
    except (OSError, ValueError):
        return False
    return listed == _listed(folder)


def _listed(folder: Path) -> dict[str, list[int]]:
    """Size and time of every file but the list itself."""
    found = {}
    for path in folder.rglob("*"):
        about = path.lstat()
        if not path.is_dir() and path != folder / WHOLE:
            found[path.relative_to(folder).as_posix()] = [about.st_size, about.st_mtime_ns]
    return found


def _clear(paths: Iterable[Path]) -> None:
    for path in paths:
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    """One process at a time; the others wait. A process that dies lets go."""
    with path.open("w") as file:
        if fcntl is not None:
            fcntl.flock(file, fcntl.LOCK_EX)
        yield
