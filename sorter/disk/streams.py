"""Whole files, read from their first byte to their last; nothing is ever changed.

What is read is counted and handed over in blocks, so that it can be hashed and written on the way.
"""

from __future__ import annotations

import ctypes
import errno
import hashlib
import os
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final, Self

from sorter.disk.systems import SYSTEM
from sorter.disk.systems.system import PAGE, Opened

BLOCK: Final = 1024 * 1024
"""Bytes asked for at once. Larger blocks were no faster on two cores, smaller ones were."""


class Stream:
    """A plain file open for reading, never through a link.

    past: it is to be read past the system's cache; `sure` tells whether it is. Asked for that, a file
    has to be forced to the disk before. size, modified_ns: as the file system told them when it was
    opened. Raises OSError where it cannot be opened or is no plain file.
    """

    __slots__ = ("_opened", "_path", "modified_ns", "size")

    def __init__(self, path: str, *, past: bool = False) -> None:
        self._path = path
        handle = SYSTEM.open_past(path) if past else Opened(handle=os.open(path, SYSTEM.READING))
        self._opened = handle
        status = os.fstat(handle.handle)
        if not stat.S_ISREG(status.st_mode):
            os.close(handle.handle)
            raise OSError(errno.EINVAL, "not a plain file", path)
        self.size = status.st_size
        self.modified_ns = status.st_mtime_ns

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        os.close(self._opened.handle)

    @property
    def sure(self) -> bool:
        """Whether what is read comes from the disk; else perhaps from the system's memory."""
        return self._opened.sure

    def blocks(self) -> Iterator[memoryview]:
        """The file's bytes in order, up to where the system says that it ends.

        Each block stands in the same memory: it is good until the next is asked for. (New memory
        for every block took half of the time of a read.) A request that fails is made once more.
        Raises OSError where it fails again.

        Where more was asked for than the file had when it was opened, and exactly that came, that was
        its end: it is not asked for again. A small file takes one request then.
        """
        memory = _pages.pop() if _pages else _new_pages()
        try:
            wanted = min(BLOCK, -(-(self.size + 1) // PAGE) * PAGE)
            yield from self._filled(memory[:wanted])
        finally:
            _pages.append(memory)

    def _filled(self, memory: memoryview) -> Iterator[memoryview]:
        at = 0
        while count := self._fill(memory, at):
            if self._opened.direct and count % PAGE and at + count < self.size:
                count -= count % PAGE  # the next request begins at a page too
                if not count:
                    self._refused()
                    continue
            yield memory[:count]
            at += count
            if at == self.size and count < len(memory):
                return

    def _fill(self, memory: memoryview, at: int) -> int:
        try:
            return _read_at(self._opened.handle, memory, at)
        except OSError as error:
            if self._opened.direct and error.errno == errno.EINVAL:
                self._refused()
            return _read_at(self._opened.handle, memory, at)

    def _refused(self) -> None:
        """The file takes no direct reads after all, and is opened otherwise. Raises OSError."""
        again = SYSTEM.open_past(self._path, direct=False)
        one, two = os.fstat(self._opened.handle), os.fstat(again.handle)
        if not os.path.samestat(one, two):
            os.close(again.handle)
            raise OSError(errno.ESTALE, os.strerror(errno.ESTALE), self._path)
        os.close(self._opened.handle)
        self._opened = again


_pages: Final[list[memoryview]] = []
"""Memory that no stream uses just now. It begins at a page, as direct reads need it."""


def _new_pages() -> memoryview:
    """Of this process alone: what mmap gives would be shared with every process that is forked from it."""
    memory = bytearray(BLOCK + PAGE)
    start = -ctypes.addressof(ctypes.c_char.from_buffer(memory)) % PAGE
    return memoryview(memory)[start : start + BLOCK]


def _read_at(handle: int, memory: memoryview, at: int) -> int:
    """How many bytes from there on are in the memory now. The one place where whole files are read."""
    return SYSTEM.read_at(handle, memory, at)


def digest(stream: Stream, progress: Callable[[int], None] | None = None) -> tuple[int, str]:
    """How many bytes there are, and their SHA-256 (FIPS 180-4) in hexadecimal.

    progress is called with the size of each block. Raises OSError where a block cannot be read.
    """
    count, hashed = 0, hashlib.sha256()
    for block in stream.blocks():
        hashed.update(block)
        count += len(block)
        if progress is not None:
            progress(len(block))
    return count, hashed.hexdigest()


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """What a file gave. sure: it came from the disk; else perhaps from memory."""

    count: int
    sha256: str
    sure: bool


def measured(stream: Stream, progress: Callable[[int], None] | None = None) -> Measured:
    """What the stream gives, and whether that comes from the disk. It is closed then. Raises OSError."""
    with stream:
        count, sha256 = digest(stream, progress)
        return Measured(count=count, sha256=sha256, sure=stream.sure)
