"""What is asked of a system: the same names in the module of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Protocol

from sorter.model.disks import Disk

PAGE: Final = 4096
"""Bytes that offsets, sizes and memory of a direct read are a multiple of; enough for every sector."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """A file open for reading.

    direct: each request has to be aligned to PAGE, and goes to the disk. sure: what is read comes from
    the disk; else perhaps from memory.
    """

    handle: int
    direct: bool = False
    sure: bool = False


class System(Protocol):
    """A module of this package."""

    @property
    def READING(self) -> int:  # noqa: N802  a constant of the module
        """Flags to open a file for reading: never through a link, never waiting for a pipe."""

    @property
    def GIVEN(self) -> int:  # noqa: N802  a constant of the module
        """Flags to open for reading what a user named: links followed, never waiting for a pipe."""

    @property
    def NEW(self) -> int:  # noqa: N802  a constant of the module
        """Flags to make a file that was not there, and write it."""

    @property
    def WRITING(self) -> int:  # noqa: N802  a constant of the module
        """Flags to open a file that is there, so that it can be forced to the disk."""

    @property
    def HELPERS(self) -> bool:  # noqa: N802  a constant of the module
        """Whether a process that we start can be handed one end of a line to us."""

    def read_at(self, handle: int, memory: memoryview, at: int) -> int:
        """How many bytes from there on are in the memory now. Raises OSError."""

    def comes(self, handle: int, seconds: float) -> bool:
        """Whether so soon something can be read from a pipe, or it has ended: its writers are gone.

        Of a pipe that nobody has written to since it was opened that is not said. Raises OSError.
        """

    def open_past(self, path: str, *, direct: bool = True) -> Opened:
        """The file, to be read past the system's cache.

        direct: unless a request was refused before. Raises OSError.
        """

    def force(self, handle: int) -> None:
        """Returns when the system says that the file, or folder, is on the disk. Raises OSError."""

    def force_all(self, folder: str) -> bool:
        """Whether all that was written to the folder's file system is on the disk now. Raises OSError."""

    def start_writing(self, handle: int) -> None:
        """Asks the system to begin to bring the file's bytes to the disk, where it can be asked."""

    def rename_exclusive(self, source: str, target: str) -> None:
        """A rename that replaces nothing, by the system's own call.

        Raises FileExistsError, OSError (ENOSYS, EINVAL and the like where there is no such call).
        """

    def hold_alone(self, handle: int) -> None:
        """No other open file of the same name is held so until this one is closed; waits until it is so.

        Opened for reading is enough, and nothing is changed. Raises OSError where there are no such locks.
        """

    def free_space(self, folder: str) -> int:
        """How many bytes may still be written where the folder lies. Raises OSError."""

    def disk(self, path: str) -> Disk:
        """Where a file or folder that is there lies. Raises OSError."""

    def origin(self, path: str) -> tuple[str, str] | None:
        """Where a folder that is there lies on its file system: which one, and the path in it.

        The same for a folder that is mounted in a second place. None where the system does not tell.
        """

    def die_with(self, parent: int) -> None:
        """This process is killed when its parent, of this number, ends, where the system sees to that."""
