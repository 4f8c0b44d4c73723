"""What every reader here reads from: ranges of bytes that never raise."""

from __future__ import annotations

from typing import Protocol

from sorter.model.allowance import Allowance


class Source(Protocol):
    """A file, or a part of memory, as ranges of bytes.

    size: its bytes. head: its first block, for the fast way. read: the bytes of a range, fewer at
    the end, none beyond it; it never raises. allowance: what its readers may still walk over.
    """

    @property
    def size(self) -> int:
        """How many bytes there are."""
        ...

    @property
    def head(self) -> bytes:
        """The first bytes, as many as were read at once."""
        ...

    @property
    def allowance(self) -> Allowance:
        """What the readers of this file may still walk over and hand out."""
        ...

    def read(self, offset: int, length: int) -> bytes:
        """The bytes from offset on, at most length of them."""
        ...


class Memory:
    """Bytes in memory as a source; head_size makes the slow way testable."""

    __slots__ = ("_data", "allowance", "head", "size")

    def __init__(self, data: bytes, head_size: int | None = None) -> None:
        self._data = data
        self.allowance = Allowance()
        self.size = len(data)
        self.head = data if head_size is None else data[:head_size]

    def read(self, offset: int, length: int) -> bytes:
        """The bytes from offset on, at most length of them."""
        return self._data[offset : offset + length] if offset >= 0 and length > 0 else b""
