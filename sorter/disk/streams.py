"""Whole files, read from their first byte to their last; nothing is ever changed.

What is read is counted and handed over in blocks, so that it can be hashed and written on the way.
"""

from __future__ import annotations

import errno
import hashlib
import os
import stat
import sys
from collections.abc import Callable, Iterator
from typing import Final, Self

BLOCK: Final = 1024 * 1024
"""Bytes asked for at once. Larger blocks were no faster on two cores, smaller ones were."""

_FLAGS: Final = os.O_RDONLY | os.O_CLOEXEC | os.O_NOFOLLOW | os.O_NONBLOCK
_NO_CACHE: Final = 48  # F_NOCACHE of <fcntl.h> on macOS, which Python does not name


class Stream:
    """A plain file open for reading, never through a link.

    size, modified_ns: as the file system told them when it was opened. Raises OSError where it
    cannot be opened or is no plain file.
    """

    __slots__ = ("_handle", "modified_ns", "size")

    def __init__(self, path: str) -> None:
        self._handle = os.open(path, _FLAGS)
        about = os.fstat(self._handle)
        if not stat.S_ISREG(about.st_mode):
            os.close(self._handle)
            raise OSError(errno.EINVAL, "not a plain file", path)
        self.size = about.st_size
        self.modified_ns = about.st_mtime_ns

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        os.close(self._handle)

    def blocks(self) -> Iterator[memoryview]:
        """The file's bytes in order, up to where the system says that it ends.

        Each block stands in the same memory: it is good until the next is asked for. (New memory
        for every block took half of the time of a read.) A request that fails is made once more.
        Raises OSError where it fails again.

        Where more was asked for than the file had when it was opened, and exactly that came, that was
        its end: it is not asked for again. A small file takes one request then.
        """
        memory = memoryview(bytearray(min(BLOCK, self.size + 1)))
        at = 0
        while count := self._fill(memory, at):
            yield memory[:count]
            at += count
            if at == self.size and count < len(memory):
                return

    def past_the_cache(self) -> None:
        """What is read next comes from the disk, where the system lets us ask for that.

        Pages that were not yet written stay, so the file has to be forced to the disk before.
        """
        if sys.platform == "darwin":
            import fcntl  # noqa: PLC0415  not on every system

            fcntl.fcntl(self._handle, _NO_CACHE, 1)
        elif hasattr(os, "posix_fadvise"):
            os.posix_fadvise(self._handle, 0, 0, os.POSIX_FADV_DONTNEED)

    def _fill(self, memory: memoryview, at: int) -> int:
        try:
            return _read_at(self._handle, memory, at)
        except OSError:
            return _read_at(self._handle, memory, at)


def _read_at(handle: int, memory: memoryview, at: int) -> int:
    """How many bytes from there on are in the memory now."""
    if hasattr(os, "preadv"):
        return os.preadv(handle, [memory], at)
    os.lseek(handle, at, os.SEEK_SET)  # Windows has neither of the two
    data = os.read(handle, len(memory))
    memory[: len(data)] = data
    return len(data)


def digest(stream: Stream, tick: Callable[[int], None] | None = None) -> tuple[int, str]:
    """How many bytes there are, and their SHA-256 (FIPS 180-4) in hexadecimal.

    tick is called with the size of each block. Raises OSError where a block cannot be read.
    """
    count, hashed = 0, hashlib.sha256()
    for block in stream.blocks():
        hashed.update(block)
        count += len(block)
        if tick is not None:
            tick(len(block))
    return count, hashed.hexdigest()
