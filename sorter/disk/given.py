"""What a user names to be read, read whole: bounded in bytes and in time, whatever lies there."""

from __future__ import annotations

import errno
import os
import stat
import time
from contextlib import suppress
from pathlib import Path
from typing import Final

from sorter.disk.systems import SYSTEM

NOBODY_S: Final = 5.0
"""How long somebody is waited for who writes to a pipe: a shell starts both ends at one time."""
LONGEST_S: Final = 30.0
"""How long a pipe may take to its end."""

_BLOCK: Final = 1024 * 1024


def read_given(path: Path, most: int) -> bytes:
    """The bytes of a file, links followed, or of a pipe up to its end.

    A device is not opened, for that alone may do something; the null device is an empty file. Raises
    OSError whose strerror says in words why it cannot be read, also where it is longer than most.
    """
    handle = _opened(path)
    try:
        status = os.fstat(handle)
        _refuse_mode(path, status)
        if status.st_size > most and stat.S_ISREG(status.st_mode):
            raise _too_long(path, most)
        if stat.S_ISFIFO(status.st_mode):
            return _piped(path, handle, most)
        return _whole(path, handle, most)
    finally:
        os.close(handle)


def _opened(path: Path) -> int:
    """It is looked at before: by its name, which may lead to something else a moment later."""
    _refuse_mode(path, os.stat(path))
    return os.open(path, SYSTEM.GIVEN)


def _refuse_mode(path: Path, status: os.stat_result) -> None:
    mode = status.st_mode
    if stat.S_ISSOCK(mode):
        raise OSError(errno.EINVAL, "it is a socket: name a file or a pipe", path)
    if stat.S_ISBLK(mode) or (stat.S_ISCHR(mode) and not _is_null(status)):
        raise OSError(errno.EINVAL, "it is a device: name a file or a pipe", path)


def _is_null(status: os.stat_result) -> bool:
    with suppress(OSError):
        return os.path.samestat(status, os.stat(os.devnull))
    return False


def _whole(path: Path, handle: int, most: int) -> bytes:
    """What can be read of a file, which may tell no size, or grow."""
    blocks, count = [], 0
    while block := os.read(handle, min(_BLOCK, most + 1 - count)):
        blocks.append(block)
        count += len(block)
        if count > most:
            raise _too_long(path, most)
    return b"".join(blocks)


def _piped(path: Path, handle: int, most: int) -> bytes:
    """What comes through a pipe until all who write to it have closed it."""
    blocks: list[bytes] = []
    count = 0
    until = time.monotonic() + LONGEST_S
    wait = min(NOBODY_S, LONGEST_S)
    while True:
        came = SYSTEM.comes(handle, wait)
        block = _next(handle, most + 1 - count, came=came)
        if block == b"":
            if came or blocks:
                return b"".join(blocks)
            raise _late(path, f"it is a pipe to which nobody wrote for {NOBODY_S:g} s: name a file")
        if block:
            blocks.append(block)
            count += len(block)
        if count > most:
            raise _too_long(path, most)
        wait = until - time.monotonic()
        if wait <= 0:
            raise _late(path, _endless())


def _next(handle: int, most: int, *, came: bool) -> bytes | None:
    """What can be read now: nothing where nobody writes to the pipe, None where somebody is silent.

    Where the system shares an open pipe with whoever gave it to us, a read may wait: then it is known
    only that somebody is there.
    """
    if not came and os.get_blocking(handle):
        return None
    try:
        return os.read(handle, min(_BLOCK, most))
    except BlockingIOError:
        return None


def _endless() -> str:
    return (
        f"it is a pipe that did not end within {LONGEST_S:g} s: let its writer make a file, and name "
        "that"
    )


def _late(path: Path, why: str) -> OSError:
    return OSError(errno.ETIMEDOUT, why, path)


def _too_long(path: Path, most: int) -> OSError:
    size = f"{most / 1e6:g} MB" if most >= 1e6 else f"{most / 1e3:g} kB"  # noqa: PLR2004
    return OSError(errno.EFBIG, f"it is longer than {size}: name another file", path)
