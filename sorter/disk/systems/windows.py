"""Windows. Out of the system's own manual, and from memory: nothing of it was run.

What is read may come from memory here, and is said to: no file is removed on the strength of it.
"""

from __future__ import annotations

import errno
import os
import shutil
import threading
from typing import Final

from sorter.disk.systems.system import Opened
from sorter.model.disks import Disk, Lies

_BINARY: Final = getattr(os, "O_BINARY", 0)  # else line ends and 0x1A are translated
READING: Final = os.O_RDONLY | _BINARY
GIVEN: Final = READING
NEW: Final = os.O_WRONLY | os.O_CREAT | os.O_EXCL | _BINARY
WRITING: Final = os.O_RDWR | _BINARY
HELPERS: Final = False

_FAR: Final = 1 << 30
_seeking = threading.Lock()


def read_at(handle: int, memory: memoryview, at: int) -> int:
    """See System. There is no read at an offset: seek and read may not be parted."""
    with _seeking:
        os.lseek(handle, at, os.SEEK_SET)
        data = os.read(handle, len(memory))
    memory[: len(data)] = data
    return len(data)


def comes(handle: int, seconds: float) -> bool:
    """See System. It cannot be asked: whoever reads waits for it."""
    del handle, seconds
    return True


def open_past(path: str, *, direct: bool = True) -> Opened:
    """See System. Perhaps from memory."""
    del direct
    return Opened(handle=os.open(path, READING))


def force(handle: int) -> None:
    """See System. FlushFileBuffers, for which the file must be open for writing."""
    os.fsync(handle)


def force_all(folder: str) -> bool:
    """See System. There is no such call with plain rights: each file is to be forced."""
    del folder
    return False


def start_writing(handle: int) -> None:
    """See System. There is no such call."""
    del handle


def rename_exclusive(source: str, target: str) -> None:
    """See System. MoveFileW never replaces."""
    os.rename(source, target)


def hold_alone(handle: int) -> None:
    """See System. A byte far behind the end is locked, which bars nobody from reading; each try takes 10 s."""
    import msvcrt  # noqa: PLC0415  there is none elsewhere

    locking, mode = getattr(msvcrt, "locking"), getattr(msvcrt, "LK_LOCK")  # noqa: B009  not known elsewhere
    while True:
        os.lseek(handle, _FAR, os.SEEK_SET)
        try:
            locking(handle, mode, 1)
        except OSError as error:
            if error.errno != errno.EDEADLK:  # it is held by another
                raise
        else:
            return


def free_space(folder: str) -> int:
    """See System."""
    return shutil.disk_usage(folder).free


def disk(path: str) -> Disk:
    """See System. st_dev is a volume's serial number, and two volumes may lie on one disk."""
    return Disk(lies=Lies.UNKNOWN, device=os.stat(path).st_dev)


def origin(path: str) -> tuple[str, str] | None:
    """See System. It does not tell."""
    del path
    return None


def die_with(parent: int) -> None:
    """See System. There is no such call."""
    del parent
