"""The door to a card. It has no verb that changes anything.

Files are opened for reading only, never through a link, and never as a whole: a window reads the
first block at once and the rest by ranges, within a budget.
"""

from __future__ import annotations

import errno
import os
import re
import stat
import threading
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final, Self

from sorter.disk.streams import Measured, Stream, measured
from sorter.disk.systems import SYSTEM
from sorter.errors import CardEmpty, CardGone, CardNotFound, CardNotReadable
from sorter.model.allowance import Allowance
from sorter.model.card import CardFile, Listing
from sorter.model.disks import Disk

FIRST_BLOCK: Final = 64 * 1024
"""Bytes read at once on opening. Holds all metadata of most files, in one request to the card."""
NEXT_BLOCK: Final = 4 * 1024
"""The least that a later request asks for: values lie close behind the directory that names them."""
MARKED: Final = 4 * 1024
"""The first bytes, in which bodies write time and counters. All 64 kB cost a tenth of a reading."""
BUDGET: Final = 4 * 1024 * 1024
"""Bytes that may be read of one file. Metadata that need more are no metadata of a camera."""
REQUESTS: Final = 256
"""Requests to the card that may be made for one file: each may cost a card reader's delay."""

_LITTER_FILES: Final = frozenset({".ds_store", "thumbs.db", "desktop.ini"})
_LITTER_FOLDERS: Final = re.compile(
    r"\.trashes|\.trash-.*|\.spotlight-v100|\.fseventsd|\.temporaryitems"
    r"|system volume information|\$recycle\.bin|lost\+found|found\.\d{3}",
    re.IGNORECASE,
)


class Window:
    """A file of the card as ranges of bytes; nothing that is asked of it raises.

    size: the file's bytes. head: its first block. exhausted: the budget of bytes or of requests is
    used up, further ranges come back empty. obstacle: the system's words for a read that failed
    twice; else empty. allowance: what the file's readers may still walk over.
    """

    __slots__ = (
        "_blocks",
        "_card",
        "_handle",
        "allowance",
        "bytes_read",
        "exhausted",
        "head",
        "obstacle",
        "size",
    )

    def __init__(self, card: Card, handle: int, size: int) -> None:
        self._card = card
        self._handle = handle
        self._blocks: list[tuple[int, bytes]] = []
        self.allowance = Allowance()
        self.size = size
        self.bytes_read = 0
        self.exhausted = False
        self.obstacle = ""
        self.head = self._fetch(0, min(size, FIRST_BLOCK))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Closes the file, and tells the card how much of it was read."""
        os.close(self._handle)
        self._card.count(self.bytes_read)

    def mark(self) -> int:
        """A checksum over the first bytes: equal for equal files, 0 where nothing could be read."""
        return zlib.crc32(self.head[:MARKED]) if self.head else 0

    def read(self, offset: int, length: int) -> bytes:
        """The bytes from offset on: fewer at the file's end, none beyond it or past the budget."""
        stop = min(offset + length, self.size)
        if offset < 0 or stop <= offset:
            return b""
        if stop <= len(self.head):
            return self.head[offset:stop]
        if self._blocks:
            for start, block in reversed(self._blocks):  # a walk goes on where it was
                if start <= offset and stop <= start + len(block):
                    return block[offset - start : stop - start]
        return self._further(offset, stop)

    def _further(self, offset: int, stop: int) -> bytes:
        wanted = min(max(stop - offset, NEXT_BLOCK), self.size - offset)
        allowed = BUDGET - self.bytes_read
        if self.exhausted or stop - offset > allowed or len(self._blocks) >= REQUESTS:
            self.exhausted = True
            return b""
        block = self._fetch(offset, min(wanted, allowed))
        self._blocks.append((offset, block))
        return block[: stop - offset]

    def _fetch(self, offset: int, length: int) -> bytes:
        """One request to the card, made again once where it fails."""
        try:
            data = self._request(offset, length)
        except OSError:
            try:
                data = self._request(offset, length)
            except OSError as error:
                self.obstacle = f"cannot be read: {os.strerror(error.errno or errno.EIO)}"
                data = b""
        self.bytes_read += len(data)
        return data

    def _request(self, offset: int, length: int) -> bytes:
        data = os.pread(self._handle, length, offset)
        while len(data) < length:  # a card reader may hand over less than asked
            more = os.pread(self._handle, length - len(data), offset + len(data))
            if not more:
                break
            data += more
        return data


class Card:
    """A folder tree as a camera left it: its root, its DCIM, or any tree of pictures.

    Raises CardNotFound where there is no such folder, CardNotReadable where it cannot be listed.
    """

    def __init__(self, root: Path) -> None:
        self.root = root
        self.bytes_read = 0
        self._root = os.fspath(root)
        self._device: int | None = None
        self._counting = threading.Lock()
        _refuse_what_is_no_folder(root)
        try:
            with os.scandir(root) as entries:
                next(entries, None)
            self._device = root.stat().st_dev
        except OSError as error:
            raise CardNotReadable(
                f"{root}: the system does not let us list this folder ({error.strerror}). "
                "Check its permissions, or mount the card for your user."
            ) from error

    def count(self, amount: int) -> None:
        """Adds to the bytes read of this card."""
        with self._counting:
            self.bytes_read += amount

    def listing(self) -> Listing:
        """Every file below the root in the order of their paths; links are listed, not followed.

        Raises CardEmpty where nothing but litter is there, CardNotReadable where every folder
        that could hold something is closed.
        """
        walk = _Walk(self._root)
        files = sorted(walk.files(), key=lambda file: file.path)
        if not files and walk.closed:
            raise CardNotReadable(
                f"{self.root}: the system lets us list none of its folders ({walk.closed[0]}, …). "
                "Check their permissions."
            )
        if not files:
            files_of = "file" if walk.litter == 1 else "files"
            beside = f" but {walk.litter} {files_of} of system litter" if walk.litter else ""
            raise CardEmpty(f"{self.root}: there is no file here{beside}. Is it the right folder?")
        return Listing(
            files=tuple(files), litter=walk.litter, folders_closed=tuple(sorted(walk.closed))
        )

    def open(self, path: str) -> Window:
        """A window on the file at this path below the root, to be used in a with statement.

        Raises OSError where the file cannot be opened or is no plain file, CardGone where the
        card itself went away.
        """
        try:
            handle = os.open(self.at(path), SYSTEM.READING)
        except OSError:
            self.expect()
            raise
        about = os.fstat(handle)
        if not stat.S_ISREG(about.st_mode):
            os.close(handle)
            raise OSError(errno.EINVAL, "not a plain file", path)
        return Window(self, handle, about.st_size)

    def stream(self, path: str, *, past: bool = False) -> Stream:
        """The whole file at this path below the root, to be read from its first byte on.

        past: past the system's cache. Raises OSError where it cannot be opened or is no plain file,
        CardGone where the card itself went away.
        """
        try:
            return Stream(self.at(path), past=past)
        except OSError:
            self.expect()
            raise

    def measured(self, path: str, tick: Callable[[int], None] | None = None) -> Measured:
        """The whole file at this path, read past the system's cache. Raises as stream does."""
        try:
            return measured(self.stream(path, past=True), tick)
        except OSError:
            self.expect()
            raise

    def disk(self) -> Disk:
        """Where the card lies. Raises OSError."""
        return SYSTEM.disk(self._root)

    def at(self, path: str) -> str:
        """The path below the root as the system names it."""
        return f"{self._root}/{path}"

    def device(self, path: str) -> int:
        """The file system that the file lies on; 0 where it is not there."""
        try:
            return os.lstat(self.at(path)).st_dev
        except OSError:
            return 0

    def holds(self, path: str, size: int, mark: int) -> bool:
        """Whether a plain file of this size and this mark is there; a mark of 0 fits every file.

        Reads its first block, for raws of two cards may well have one name and one size.
        """
        try:
            with self.open(path) as window:
                return window.size == size and mark in (0, window.mark())
        except OSError:
            return False

    def expect_root(self) -> None:
        """Raises CardGone where the root is not there, or lies on another device."""
        try:
            there = self._is_mounted()
        except OSError:
            there = False
        if not there:
            raise CardGone(f"{self.root}: the card went away while it was read. Put it back in.")

    def expect(self) -> None:
        """Raises CardGone where the root can no longer be listed, is empty, or lies on another device.

        An unmounted card leaves the folder that it was mounted on, which may hold something.
        """
        try:
            with os.scandir(self._root) as entries:
                there = next(entries, None) is not None and self._is_mounted()
        except OSError:
            there = False
        if not there:
            raise CardGone(f"{self.root}: the card went away while it was read. Put it back in.")

    def _is_mounted(self) -> bool:
        return self.root.stat().st_dev == self._device


def is_litter(path: str) -> bool:
    """Whether a path, with forward slashes, is litter that a system left, or lies in such."""
    *folders, name = path.split("/")
    return _is_litter_file(name) or any(_LITTER_FOLDERS.fullmatch(folder) for folder in folders)


def _is_litter_file(name: str) -> bool:
    return name.startswith("._") or name.lower() in _LITTER_FILES


def _refuse_what_is_no_folder(root: Path) -> None:
    if root.is_dir():
        return
    if root.exists():
        raise CardNotFound(f"{root}: this is a file. Give the folder that it lies in.")
    raise CardNotFound(f"{root}: there is no such folder. Is the card in and mounted?")


class _Walk:
    """One pass over the tree, which also counts what it passes over."""

    def __init__(self, root: str) -> None:
        self._root = root
        self.litter = 0
        self.closed: list[str] = []

    def files(self) -> Iterator[CardFile]:
        folders = [""]
        while folders:
            folder = folders.pop()
            for entry, path in self._entries(folder):
                if entry.is_dir(follow_symlinks=False):
                    if _LITTER_FOLDERS.fullmatch(entry.name):
                        self.litter += _count_files(entry.path)
                    else:
                        folders.append(path)
                elif _is_litter_file(entry.name):
                    self.litter += 1
                else:
                    yield _card_file(entry, path)

    def _entries(self, folder: str) -> Iterator[tuple[os.DirEntry[str], str]]:
        where = f"{self._root}/{folder}" if folder else self._root
        before = f"{folder}/" if folder else ""
        try:
            with os.scandir(where) as entries:
                for entry in entries:
                    yield entry, before + entry.name
        except OSError:
            self.closed.append(folder)


def _card_file(entry: os.DirEntry[str], path: str) -> CardFile:
    try:
        about = entry.stat(follow_symlinks=False)
    except OSError as error:
        return CardFile(path=path, size=0, obstacle=f"cannot be read: {error.strerror}")
    return CardFile(
        path=path,
        size=about.st_size,
        modified_ns=about.st_mtime_ns,
        obstacle=_OBSTACLES.get(stat.S_IFMT(about.st_mode), ""),
        plain=stat.S_ISREG(about.st_mode),
    )


_OBSTACLES: Final = {
    stat.S_IFLNK: "a link: not followed",
    stat.S_IFIFO: "a pipe: not opened",
    stat.S_IFSOCK: "a socket: not opened",
    stat.S_IFBLK: "a device: not opened",
    stat.S_IFCHR: "a device: not opened",
}


def _count_files(folder: str) -> int:
    """How many files lie anywhere below a litter folder."""
    return sum(len(names) for _, _, names in os.walk(folder))
