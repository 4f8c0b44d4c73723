"""What Linux and macOS have in common."""

from __future__ import annotations

import ctypes
import os
import select
import sys
from functools import cache
from typing import Final

READING: Final = os.O_RDONLY | os.O_CLOEXEC | os.O_NOFOLLOW | os.O_NONBLOCK
GIVEN: Final = os.O_RDONLY | os.O_CLOEXEC | os.O_NONBLOCK | os.O_NOCTTY
NEW: Final = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC | os.O_NOFOLLOW
WRITING: Final = os.O_RDWR | os.O_CLOEXEC | os.O_NOFOLLOW
HELPERS: Final = True

_PROT_READ: Final = 1
_MAP_SHARED: Final = 1
_RESIDENT: Final = 1  # mincore(2): the least bit of each byte


def read_at(handle: int, memory: memoryview, at: int) -> int:
    """See System."""
    return os.preadv(handle, [memory], at)


def comes(handle: int, seconds: float) -> bool:
    """See System."""
    waiting = select.poll()
    waiting.register(handle, select.POLLIN)
    return bool(waiting.poll(seconds * 1000))


def hold_alone(handle: int) -> None:
    """See System."""
    import fcntl  # noqa: PLC0415  Windows has none

    fcntl.flock(handle, fcntl.LOCK_EX)


def free_space(folder: str) -> int:
    """See System. A disk that does not tell has endless free space, until it has none."""
    status = os.statvfs(folder)
    return status.f_bavail * status.f_frsize if status.f_blocks else sys.maxsize


@cache
def library() -> ctypes.CDLL:
    """The system's own, for calls that Python does not name."""
    return ctypes.CDLL(None, use_errno=True)


def failed(path: str, target: str | None = None) -> OSError:
    """The error of the last call to the library."""
    number = ctypes.get_errno()
    return OSError(number, os.strerror(number), path, None, target)


@cache
def _pages() -> ctypes.CDLL:
    """A library of our own, so that these types are nobody else's."""
    own = ctypes.CDLL(None, use_errno=True)
    own.mmap.restype = ctypes.c_void_p
    own.mmap.argtypes = (
        [ctypes.c_void_p, ctypes.c_size_t, ctypes.c_int, ctypes.c_int, ctypes.c_int, ctypes.c_long]
    )  # fmt: skip
    own.munmap.argtypes = [ctypes.c_void_p, ctypes.c_size_t]
    own.msync.argtypes = [ctypes.c_void_p, ctypes.c_size_t, ctypes.c_int]
    own.mincore.argtypes = [ctypes.c_void_p, ctypes.c_size_t, ctypes.c_char_p]
    return own


def is_out_of_memory(handle: int, *, dropped_by: int | None = None) -> bool:
    """Whether no page of the file is in the system's memory, as far as the system tells us.

    It shows pages of a file only to who may write to it, and to others all of them as there: then
    the answer is no. dropped_by: flags of msync, called first.
    """
    size = os.fstat(handle).st_size
    if not size:
        return True
    own, page = _pages(), os.sysconf("SC_PAGE_SIZE")
    place = own.mmap(None, size, _PROT_READ, _MAP_SHARED, handle, 0)
    if place in (None, ctypes.c_void_p(-1).value):
        return False
    try:
        if dropped_by is not None:
            own.msync(place, size, dropped_by)
        known = ctypes.create_string_buffer(-(-size // page))
        if own.mincore(place, size, known):
            return False
        return not any(each & _RESIDENT for each in known.raw[: -(-size // page)])
    finally:
        own.munmap(place, size)
