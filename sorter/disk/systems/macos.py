"""macOS. Out of the system's own headers and manual, and from memory: nothing of it was run."""

from __future__ import annotations

import contextlib
import ctypes
import errno
import os
from typing import Final

from sorter.disk.systems.posix import (
    GIVEN,
    HELPERS,
    NEW,
    READING,
    WRITING,
    comes,
    failed,
    free_space,
    hold_alone,
    is_out_of_memory,
    library,
    read_at,
)
from sorter.disk.systems.system import Opened
from sorter.model.disks import Disk, Lies

__all__ = [
    "GIVEN",
    "HELPERS",
    "NEW",
    "READING",
    "WRITING",
    "comes",
    "die_with",
    "disk",
    "force",
    "force_all",
    "free_space",
    "hold_alone",
    "open_past",
    "origin",
    "read_at",
    "rename_exclusive",
    "start_writing",
]

_NO_CACHE: Final = 48  # F_NOCACHE of <fcntl.h>
_FULL_SYNC: Final = 51  # F_FULLFSYNC of <fcntl.h>
_INVALIDATE: Final = 2  # MS_INVALIDATE of <sys/mman.h>
_EXCLUSIVE: Final = 4  # RENAME_EXCL of <stdio.h>


def open_past(path: str, *, direct: bool = True) -> Opened:
    """See System. Nothing new is kept by F_NOCACHE; what is there already is dropped and looked for."""
    del direct
    import fcntl  # noqa: PLC0415  Windows has none

    handle = os.open(path, READING)
    try:
        with contextlib.suppress(OSError):
            os.fsync(handle)
        fcntl.fcntl(handle, _NO_CACHE, 1)
        sure = is_out_of_memory(handle, dropped_by=_INVALIDATE)
    except OSError:
        sure = False
    return Opened(handle=handle, sure=sure)


def force(handle: int) -> None:
    """See System. fsync alone reaches the drive and not the platter; some shares know no more."""
    import fcntl  # noqa: PLC0415  Windows has none

    try:
        fcntl.fcntl(handle, _FULL_SYNC)
    except OSError as error:
        if error.errno not in (errno.ENOTSUP, errno.EINVAL, errno.ENOTTY):
            raise
        os.fsync(handle)


def force_all(folder: str) -> bool:
    """See System. There is no such call: each file is to be forced."""
    del folder
    return False


def start_writing(handle: int) -> None:
    """See System. There is no such call."""
    del handle


def rename_exclusive(source: str, target: str) -> None:
    """See System."""
    if not hasattr(library(), "renamex_np"):
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))
    one, two = os.fsencode(source), os.fsencode(target)
    if library().renamex_np(one, two, ctypes.c_uint(_EXCLUSIVE)):
        raise failed(source, target)


def disk(path: str) -> Disk:
    """See System. Volumes of one container share its free space and its disk, and their numbers do not tell."""
    return Disk(lies=Lies.UNKNOWN, device=os.stat(path).st_dev)


def origin(path: str) -> tuple[str, str] | None:
    """See System. It does not tell."""
    del path
    return None


def die_with(parent: int) -> None:
    """See System. There is no such call: a helper looks whether its parent is still there."""
    del parent
