"""Disks in memory: of a size, and read-only. Who may not mount has disks that only seem so."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

import pytest

ENOUGH: Final = 16 * 1024 * 1024
"""Bytes of a disk on which the small cards of these tests never run out of room."""


def memory(folder: Path) -> Path:
    """A folder in memory where the system has one, else the given one."""
    quick = Path("/dev/shm")  # noqa: S108  for the tests' own folders only
    return quick if quick.is_dir() and os.access(quick, os.W_OK) else folder


def may_mount() -> bool:
    """Whether this user may mount a file system here; tried on a folder of its own."""
    try:
        with TemporaryDirectory() as folder, mounted(Path(folder), "tmpfs", "-o", "size=64k"):
            return True
    except (OSError, subprocess.CalledProcessError):
        return False


@contextmanager
def mounted(folder: Path, source: str, *options: str) -> Iterator[Path]:
    """The folder with a file system mounted on it; gone at the end, whatever happens.

    Raises CalledProcessError where the system does not let us, OSError where it has no mount.
    """
    folder.mkdir(parents=True, exist_ok=True)
    kind = ("-t", "tmpfs") if source == "tmpfs" else ()
    _run("mount", *kind, *options, source, str(folder))
    try:
        yield folder
    finally:
        _run("umount", "--lazy", str(folder))


def resize(folder: Path, size: int) -> None:
    """The disk in memory has another size from now on."""
    _run("mount", "-o", f"remount,size={size}", str(folder))


@contextmanager
def limited(folder: Path, size: int, way: str) -> Iterator[Callable[[], None]]:
    """The folder lies on a disk of so many bytes; what is handed over makes room there.

    way: "mounted", a disk in memory; "seeming", one that only seems full to what Python writes.
    """
    if way == "mounted":
        with mounted(folder, "tmpfs", "-o", f"size={size}"):
            yield lambda: resize(folder, ENOUGH)
    else:
        folder.mkdir(parents=True, exist_ok=True)
        with ExitStack() as stack:
            stack.enter_context(quota(folder, size))
            yield stack.close


@contextmanager
def quota(folder: Path, size: int) -> Iterator[None]:
    """Files below the folder hold so many bytes together, and not one more: a write takes what fits."""
    write, one_at_a_time = os.write, threading.Lock()

    def limited(handle: int, data: memoryview) -> int:
        with one_at_a_time:
            there = {(about.st_dev, about.st_ino): about.st_size for about in _files(folder)}
            about = os.fstat(handle)
            room = size - sum(there.values())
            if (about.st_dev, about.st_ino) in there and room < len(data):
                if room <= 0:
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                return write(handle, data[:room])
            return write(handle, data)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "write", limited)
        yield


def _files(folder: Path) -> Iterator[os.stat_result]:
    """What is known of every file; threads at work may rename them meanwhile."""
    for path, _, names in os.walk(folder):
        for name in names:
            with suppress(FileNotFoundError):
                yield (Path(path) / name).lstat()


def _run(tool: str, *arguments: str) -> None:
    program = shutil.which(tool)
    if program is None:
        raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), tool)
    subprocess.run([program, *arguments], check=True, capture_output=True)  # noqa: S603  named here
