"""The door to a card as an undo looks at it: what it still has of what came from it. Nothing is changed.

A file of the shoot is never taken for its own original, by whatever way the card leads to it.
"""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Callable, Iterator
from enum import Enum, auto
from pathlib import Path
from typing import Final

from sorter.disk.shoot import Shoot
from sorter.disk.streams import Stream, measured
from sorter.errors import CardGone, CardNotFound, CardNotReadable

_NOT_THERE: Final = frozenset({errno.ENOENT, errno.ENOTDIR, errno.ENAMETOOLONG})


class Original(Enum):
    """What a card has in the place of a file's original.

    THERE: a file of its own with the same bytes. GONE: nothing. OTHER: something else, or a folder
    where a file's folder would be. LINKED: a link is on the way to it, and none is followed. OURS: a
    folder on the way is one of the shoot's. ITSELF: the copy, by another name.
    """

    THERE = auto()
    GONE = auto()
    OTHER = auto()
    LINKED = auto()
    OURS = auto()
    ITSELF = auto()


class Originals:
    """The files of the card at the root, held against their copies in a shoot."""

    def __init__(self, root: Path, shoot: Shoot) -> None:
        self.root = root
        self._real = os.path.realpath(root)
        self._shoot = shoot
        self._folders: dict[str, Original] = {}
        self._shoots_own: frozenset[tuple[int, int]] | None = None

    def at(self, source: str) -> str:
        """The path of an original as the system names it."""
        return os.path.join(self._real, source)

    def expect(self) -> None:
        """Returns where the card can be listed. Raises CardNotFound, CardNotReadable."""
        try:
            self._list()
        except OSError as error:
            if error.errno in _NOT_THERE:
                raise CardNotFound(f"{self.root}: there is no such folder.") from error
            raise CardNotReadable(
                f"{self.root}: the system does not let us list this folder ({error.strerror}). "
                "Check its permissions, or mount the card for your user."
            ) from error

    def is_ours(self) -> bool:
        """Whether the root is a folder of the shoot, by whatever path."""
        try:
            return identity(os.stat(self.root)) in self._own()
        except OSError:  # it is not there, or nobody can look
            return False

    def inspect(
        self,
        source: str,
        copy: str,
        known: tuple[int, str],
        progress: Callable[[int], None] = lambda _: None,
    ) -> Original:
        """What the card has in the place of the original; read past the cache to find out.

        source: its path below the root. copy: that of its copy below the shoot. known: its bytes and
        their SHA-256. progress: told of each block. Raises OSError where it cannot be looked at, CardGone
        where the card itself went away.
        """
        if _leads_out(source):
            raise OSError(errno.EINVAL, "its path leads out of the card")
        try:
            found = self._folder(source.rpartition("/")[0])
            return (
                found if found is not Original.THERE else self._file(source, copy, known, progress)
            )
        except OSError as error:
            if error.errno in _NOT_THERE:
                return Original.GONE
            self._refuse_gone()
            raise

    def _file(
        self, source: str, copy: str, known: tuple[int, str], progress: Callable[[int], None]
    ) -> Original:
        path = self.at(source)
        status = os.lstat(path)
        if stat.S_ISLNK(status.st_mode):
            return Original.LINKED
        if not stat.S_ISREG(status.st_mode) or status.st_size != known[0]:
            return Original.OTHER
        if self._is_copy(status, copy):
            return Original.ITSELF
        found = measured(Stream(path, past=True), progress)
        return Original.THERE if (found.count, found.sha256) == known else Original.OTHER

    def _is_copy(self, status: os.stat_result, copy: str) -> bool:
        """Whether it is the copy by another name; not where the copy is not there any more."""
        try:
            return os.path.samestat(status, os.lstat(self._shoot.at(copy)))
        except (FileNotFoundError, NotADirectoryError):
            return False

    def _folder(self, folder: str) -> Original:
        """THERE where every folder on the way to it is the card's own and no link. Raises OSError."""
        if folder not in self._folders:
            self._folders[folder] = self._checked(folder)
        return self._folders[folder]

    def _checked(self, folder: str) -> Original:
        if not folder:
            return Original.THERE
        above = self._folder(folder.rpartition("/")[0])
        if above is not Original.THERE:
            return above
        path = os.path.join(self._real, folder)
        if os.path.realpath(path) != os.path.normpath(path):
            return Original.LINKED
        status = os.lstat(path)
        if not stat.S_ISDIR(status.st_mode):
            return Original.OTHER
        return Original.OURS if identity(status) in self._own() else Original.THERE

    def _own(self) -> frozenset[tuple[int, int]]:
        """Which folders are the shoot's, as the system tells them apart."""
        if self._shoots_own is None:
            self._shoots_own = frozenset(folders_below(self._shoot))
        return self._shoots_own

    def _list(self) -> None:
        with os.scandir(self.root) as entries:
            next(entries, None)

    def _refuse_gone(self) -> None:
        try:
            self._list()
        except OSError as error:
            raise CardGone(
                f"{self.root}: the card went away while it was read. Put it back in, and run the same "
                "command again."
            ) from error


def _leads_out(path: str) -> bool:
    """Whether a path of a damaged ledger would lead elsewhere."""
    return "\0" in path or any(part in ("", ".", "..") for part in path.split("/"))


def folders_below(shoot: Shoot) -> Iterator[tuple[int, int]]:
    """What tells the shoot's folder and all below it; those that cannot be looked into are passed over."""
    root = os.fspath(shoot.root)
    yield identity(os.stat(root))
    for folder, names, _ in os.walk(root):
        for name in names:
            try:
                yield identity(os.lstat(os.path.join(folder, name)))
            except OSError:
                continue


def identity(status: os.stat_result) -> tuple[int, int]:
    """What tells a folder from all others, by whatever path it is reached."""
    return status.st_dev, status.st_ino
