"""The door to a card. It has no verb that changes anything.

Files are opened for reading only, never through a link, and never as a whole: a window reads the
first block at once and the rest by ranges, within a budget.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
import threading
import zlib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Final, Self

from sorter.disk.output import real_path
from sorter.disk.shoots import shoot_around
from sorter.disk.streams import Measured, Stream, measured
from sorter.disk.systems import SYSTEM
from sorter.disk.walk import Walk
from sorter.errors import CardEmpty, CardGone, CardIsShoot, CardNotFound, CardNotReadable
from sorter.model.allowance import Allowance
from sorter.model.card import Listing
from sorter.model.disks import Disk

FIRST_BLOCK: Final = 64 * 1024
"""Bytes read at once on opening. Holds all metadata of most files, in one request to the card."""
NEXT_BLOCK: Final = 4 * 1024
"""The least that a later request asks for: values lie close behind the directory that names them."""
FINGERPRINTED: Final = 4 * 1024
"""The first bytes, in which bodies write time and counters. All 64 kB cost a tenth of a reading."""
BUDGET: Final = 4 * 1024 * 1024
"""Bytes that may be read of one file. Metadata that need more are no metadata of a camera."""
REQUESTS: Final = 256
"""Requests to the card that may be made for one file: each may cost a card reader's delay."""

_MOST_NAMED: Final = 12


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
        with contextlib.suppress(OSError):  # some systems tell here of a read that failed long ago
            os.close(self._handle)
        self._card.count(self.bytes_read)

    def fingerprint(self) -> int:
        """A checksum over the first bytes: equal for equal files, 0 where nothing could be read."""
        return zlib.crc32(self.head[:FINGERPRINTED]) if self.head else 0

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

    of_shoot: it is a folder of a shoot that is read as a card is. Raises CardNotFound where there is no
    such folder, CardNotReadable where it cannot be listed, CardIsShoot where it is a shoot, or lies in
    one, links followed, unless that is meant.

    It pickles as its root and what it is: another process looks for the folder when it first reads
    there, and raises all that then.
    """

    def __init__(self, root: Path, *, of_shoot: bool = False) -> None:
        self._begin(root, of_shoot=of_shoot)
        self._found()

    def _begin(self, root: Path, *, of_shoot: bool) -> None:
        self.root = root
        self.bytes_read = 0
        self._root = os.fspath(root)
        self._of_shoot = of_shoot
        self._counting = threading.Lock()
        self._device: int | None = None
        self._checked: set[str] = set()  # folders that are the card's own, and no links

    def __getstate__(self) -> tuple[Path, bool]:
        return self.root.absolute(), self._of_shoot  # the other one may work in another folder

    def __setstate__(self, state: tuple[Path, bool]) -> None:
        root, of_shoot = state
        self._begin(root, of_shoot=of_shoot)

    def _found(self) -> int:
        """The device of its root, looked for once. Raises what making a card raises."""
        if self._device is None:
            device = _device(self.root)
            if not self._of_shoot:
                _refuse_shoot(self.root)
            self._device = device
        return self._device

    def count(self, amount: int) -> None:
        """Adds to the bytes read of this card."""
        with self._counting:
            self.bytes_read += amount

    def listing(self, *, may_be_empty: bool = False) -> Listing:
        """Every file below the root in the order of their paths; links are listed, not followed.

        Shoots within it are named and not looked into. Raises CardNotReadable where every folder
        that could hold something is closed; CardEmpty where no file of the card is there, unless it
        may be empty: what was thrown away is known then.
        """
        self._found()
        walk = Walk(self._root)
        listing = walk.listing()
        if listing.files:
            return listing
        closed = listing.folders_closed
        if walk.is_barred:
            raise CardNotReadable(
                f"{self.root}: the system lets us list none of its folders ({closed[0]}, …). "
                "Check their permissions."
            )
        if not may_be_empty:
            left = listing.system_files + len(listing.thrown) + len(listing.aside)
            raise nothing_here(self.root, system_files=left, shoots=listing.shoots, closed=closed)
        return listing

    def open(self, path: str) -> Window:
        """A window on the file at this path below the root, to be used in a with statement.

        Raises OSError where the file cannot be opened or is no plain file, CardGone where the
        card itself went away.
        """
        self._found()
        try:
            self._refuse_links_once(path)
            handle = os.open(self.at(path), SYSTEM.READING)
        except OSError:
            self.expect()
            raise
        try:
            status = os.fstat(handle)
            if not stat.S_ISREG(status.st_mode):
                raise OSError(errno.EINVAL, "not a plain file", path)  # noqa: TRY301  closed below
        except OSError:
            os.close(handle)
            raise
        return Window(self, handle, status.st_size)

    def stream(self, path: str, *, past: bool = False) -> Stream:
        """The whole file at this path below the root, to be read from its first byte on.

        past: past the system's cache. Raises OSError where it cannot be opened or is no plain file,
        CardGone where the card itself went away.
        """
        self._found()
        try:
            self._refuse_links_once(path)
            return Stream(self.at(path), past=past)
        except OSError:
            self.expect()
            raise

    def measured(self, path: str, progress: Callable[[int], None] | None = None) -> Measured:
        """The whole file at this path, read past the system's cache. Raises as stream does."""
        try:
            return measured(self.stream(path, past=True), progress)
        except OSError:
            self.expect()
            raise

    def disk(self) -> Disk:
        """Where the card lies. Raises OSError."""
        return SYSTEM.disk(self._root)

    def at(self, path: str) -> str:
        """The path below the root as the system names it."""
        return f"{self._root}/{path}"

    def refuse_links(self, path: str) -> None:
        """Returns where every folder on the way to the file is no link. Raises OSError (ELOOP).

        A card that is gone on with may not be as it was listed: a link may lead anywhere, also into
        the shoot itself.
        """
        there = os.path.join(os.path.realpath(self._root), path.rpartition("/")[0])
        if os.path.realpath(there) != os.path.normpath(there):
            raise OSError(errno.ELOOP, os.strerror(errno.ELOOP), path)

    def _refuse_links_once(self, path: str) -> None:
        """For reading it is enough to look at each folder once."""
        folder = path.rpartition("/")[0]
        if folder not in self._checked:
            self.refuse_links(path)
            self._checked.add(folder)

    def device(self, path: str) -> int:
        """The file system that the file lies on; 0 where it is not there."""
        try:
            return os.lstat(self.at(path)).st_dev
        except OSError:
            return 0

    def holds(self, path: str, size: int, fingerprint: int) -> bool:
        """Whether a plain file of this size and this fingerprint is there; a fingerprint of 0 fits every file.

        Reads its first block, for raws of two cards may well have one name and one size.
        """
        try:
            with self.open(path) as window:
                return window.size == size and fingerprint in (0, window.fingerprint())
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
        return self.root.stat().st_dev == self._found()


def nothing_here(
    root: Path, *, system_files: int = 0, shoots: Sequence[str] = (), closed: Sequence[str] = ()
) -> CardEmpty:
    """The error for a card without a file; it says what is there in place of one."""
    there = (
        [f"{system_files} system {'file' if system_files == 1 else 'files'}"]
        if system_files
        else []
    )
    for one, many, names in (
        ("the shoot", "the shoots", shoots),
        ("a folder that cannot be listed:", "folders that cannot be listed:", closed),
    ):
        if names:
            there.append(f"{one if len(names) == 1 else many} {_first_of(names)}")
    beside = f" but {' and '.join(there)}" if there else ""
    return CardEmpty(f"{root}: there is no file here{beside}. Is it the right folder?")


def _first_of(names: Sequence[str]) -> str:
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    return ", ".join(names[:_MOST_NAMED]) + more


def _device(root: Path) -> int:
    """The device of a folder that can be listed. Raises CardNotFound, CardNotReadable."""
    try:
        status = os.stat(root)
        if stat.S_ISDIR(status.st_mode):
            with os.scandir(root) as entries:
                next(entries, None)
            return status.st_dev
    except (FileNotFoundError, NotADirectoryError) as error:
        raise CardNotFound(
            f"{root}: there is no such folder. Is the card in and mounted?"
        ) from error
    except OSError as error:
        raise CardNotReadable(
            f"{root}: the system does not let us list this folder ({error.strerror or error}). "
            "Check its permissions, or mount the card for your user."
        ) from error
    raise CardNotFound(f"{root}: this is a file. Give the folder that it lies in.")


def _refuse_shoot(root: Path) -> None:
    shoot = shoot_around(root)
    if shoot is None:
        return
    where = "is a shoot" if shoot == real_path(root) else f"lies in the shoot {shoot}"
    raise CardIsShoot(
        f"{root} {where}, and is no card. Name the card; for a shoot there are `sorter check` and "
        "`sorter verify`."
    )
