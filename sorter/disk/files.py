"""How files come into being, reach the disk and get their names: the verbs that all writers share."""

from __future__ import annotations

import contextlib
import errno
import os
import stat
from pathlib import Path
from typing import Final, Self

from sorter.disk.systems import SYSTEM

FULL: Final = frozenset({errno.ENOSPC, errno.EDQUOT})
"""What a system says of a disk that takes no more."""

_READABLE: Final = 0o666  # less what the user's umask takes
_BROKEN: Final = frozenset({errno.EIO, errno.ENXIO, errno.ENODEV})
_NOT_THERE_FOR_US: Final = frozenset(
    {errno.ENOSYS, errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EPERM}
)


class NewFile:
    """A file that was not there before, while it is written. It is closed, and stays, at the end."""

    __slots__ = ("_handle",)

    def __init__(self, path: str) -> None:
        self._handle = os.open(path, SYSTEM.NEW, _READABLE)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Closes the file. Raises OSError where the system says only now that it took too little."""
        os.close(self._handle)

    def write(self, block: memoryview) -> None:
        """Writes all of the block; a system may take a part of it at a time."""
        left = block
        while left:
            left = left[os.write(self._handle, left) :]

    def start_writing(self) -> None:
        """Asks the system to begin to bring the bytes to the disk, where it can be asked for that.

        Forcing many files one after the other costs far less when their writing has begun.
        """
        SYSTEM.start_writing(self._handle)

    def stamp(self, modified_ns: int) -> str:
        """Sets the modification time; returns why it could not be set, else nothing."""
        try:
            os.utime(self._handle, ns=(modified_ns, modified_ns))
        except OSError as error:
            return f"its modification time could not be kept: {error.strerror}"
        return ""


def force_file(path: str) -> None:
    """Returns when the system says that the file is on the disk. Raises OSError."""
    handle = os.open(path, SYSTEM.WRITING)
    try:
        SYSTEM.force(handle)
    finally:
        os.close(handle)


def force_all(folder: Path | str) -> bool:
    """Whether all that was written to the folder's file system is on the disk now.

    False where the system has no such call; then each file is to be forced. Raises OSError.
    """
    return SYSTEM.force_all(os.fspath(folder))


def force_folder(folder: Path | str) -> None:
    """The names in the folder are on the disk, where the system lets us see to that.

    Raises OSError where the disk failed at it, or is full.
    """
    try:
        handle = os.open(folder, os.O_RDONLY)
        try:
            SYSTEM.force(handle)
        finally:
            os.close(handle)
    except OSError as error:  # some systems and shares force no folders
        if error.errno in _BROKEN | FULL:
            raise


def make_folders(folder: str) -> None:
    """The folder and those above it are there, and on the disk, where they were not.

    A name that is on the disk is of no use while the name of its folder is not. Raises OSError.
    """
    if not folder or os.path.isdir(folder):
        return
    above = os.path.dirname(folder)
    make_folders(above)
    os.makedirs(folder, exist_ok=True)
    force_folder(above or ".")


# ---- renaming without replacing -------------------------------------------------------------


def rename_new(source: str, target: str) -> None:
    """A rename that fails with FileExistsError where the target is there.

    By the system's own call for it; where the file system has none, by a second name and taking
    the first away; where it has no second names either (FAT), by looking first: there another
    program could slip in between. Where a run was killed between the second name and taking the first
    away, the first is taken away now. A file that fails to lose its first name loses the second again;
    only where that fails too has it both, and the next try finds it so.
    """
    for way in (_rename_exclusive, _link_and_unlink):
        try:
            way(source, target)
        except FileExistsError:
            if not _are_names_of_one(source, target):
                raise
            os.unlink(source)
            return
        except OSError as error:
            got_both = way is _link_and_unlink and _has_both(source, target)
            if error.errno not in _NOT_THERE_FOR_US or got_both:
                raise
        else:
            return
    if os.path.lexists(target):
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), target)
    os.rename(source, target)


def _are_names_of_one(source: str, target: str) -> bool:
    """Whether both are names of one file. File systems without second names count one for each."""
    one, two = os.lstat(source), os.lstat(target)
    return os.path.samestat(one, two) and stat.S_ISREG(one.st_mode) and one.st_nlink > 1


def _rename_exclusive(source: str, target: str) -> None:
    SYSTEM.rename_exclusive(source, target)


def _link_and_unlink(source: str, target: str) -> None:
    os.link(source, target, follow_symlinks=False)
    try:
        os.unlink(source)
    except FileNotFoundError:  # somebody else took it away: the second name is the only one now
        return
    except OSError:
        if _has_both(source, target):
            with contextlib.suppress(OSError):
                os.unlink(target)
        raise


def _has_both(source: str, target: str) -> bool:
    """Whether both are names of one file, as far as the system tells."""
    try:
        return _are_names_of_one(source, target)
    except OSError:
        return False
