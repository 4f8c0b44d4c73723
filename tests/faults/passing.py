"""The process of a disk with faults: every call is passed on to a folder below, but for the faults told.

    python passing.py MOUNTPOINT BELOW

Answers requests out of its standard input, one JSON line each (see Faulty); at its end it unmounts.
"""

from __future__ import annotations

import ctypes
import errno
import json
import os
import shutil
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, Protocol, TypeVar

import mfusepy

from faults.faulty import (
    UNMOUNT,
    ClosedFolder,
    FailingRead,
    FailingRename,
    FailingUnlink,
    Fault,
    FlipEveryRead,
    FlipFirstRead,
    FoldsNames,
    Full,
    NoDirect,
    NoExclusiveRename,
    NoSecondNames,
    NoStat,
    NoTypes,
    ReadOnly,
    fault_of,
    is_named,
)

Kind = TypeVar("Kind", bound=Fault)
SECTOR: Final = 512
"""What is read past the cache begins and ends at one, as on most disks (from memory)."""
HERE: Final = -100
"""AT_FDCWD: paths are as they are given."""
NOW, AS_IT_WAS = (1 << 30) - 1, (1 << 30) - 2
"""UTIME_NOW and UTIME_OMIT: in place of a time, what is to become of it."""
OF_A_FILE: Final = [each for each in dir(os.stat_result) if each.startswith("st_")]
OF_A_DISK: Final = [each for each in dir(os.statvfs_result) if each.startswith("f_")]
"""What stat(2) and statvfs(3) tell. Every request asks for some of it."""
AUTO_INVALIDATE: Final = 1 << 12
READ_DIR_PLUS: Final = 1 << 13
"""FUSE_CAP_AUTO_INVAL_DATA, FUSE_CAP_READDIRPLUS: pages stay until pushed out, and types are types alone."""


class Info(Protocol):
    """What is known of an open file: libfuse's fuse_file_info."""

    flags: int
    fh: int
    keep_cache: int


@dataclass(slots=True, kw_only=True)
class Handle:
    """An open file or folder: by which name it was opened; of a folder what was listed."""

    name: str
    listing: list[os.DirEntry[str]] = field(default_factory=list)


class Told:
    """The faults that the disk was told, and how often each was met."""

    def __init__(self) -> None:
        self._faults: tuple[Fault, ...] = ()
        self._met: Counter[Fault] = Counter()
        self._written = 0
        self._lock = threading.Lock()

    def now(self, faults: tuple[Fault, ...]) -> None:
        with self._lock:
            self._faults, self._met, self._written = faults, Counter(), 0

    def met(self, fault: Fault) -> int:
        return self._met[fault]

    def of(self, kind: type[Kind]) -> Iterator[Kind]:
        return (fault for fault in self._faults if isinstance(fault, kind))

    def fails(
        self,
        kind: type[Kind],
        number: int,
        name: str | None = None,
        when: Callable[[Kind], bool] = lambda _: True,
    ) -> None:
        """Raises the error of this number where there is such a fault (of this name)."""
        for fault in filter(when, self.of(kind)):
            is_meant = name is None or is_named(name, getattr(fault, "name", ""))
            if is_meant and self.comes(fault, getattr(fault, "times", None)):
                raise OSError(number, os.strerror(number))

    def comes(self, fault: Fault, times: int | None) -> bool:
        """Whether the fault comes once more; noted where it does."""
        with self._lock:
            if times is not None and self._met[fault] >= times:
                return False
            self._met[fault] += 1
            return True

    def room(self) -> int:
        """Bytes that can still be written, as far as a fault limits them."""
        return min([full.bytes - self._written for full in self.of(Full)], default=sys.maxsize)

    def take(self, size: int) -> int:
        """How many of so many bytes can be written now. Raises OSError where none can."""
        with self._lock:
            taken = min(size, self.room())
            self._written += taken
        if taken <= 0 < size:
            self.fails(Full, errno.ENOSPC)
        return taken


class Passing:
    """The calls of the file system, named and typed as libfuse's high-level interface has them.

    path: below the mount point, beginning with a slash; None where the open file says it.
    """

    use_ns = True
    flag_nopath = True
    flag_nullpath_ok = True

    def __init__(self, below: Path, ready: Callable[[], None]) -> None:
        self.told = Told()
        self._below = below
        self._ready = ready
        self._open: dict[int, Handle] = {}
        self._given: Counter[tuple[int, int]] = Counter()
        self._lock = threading.Lock()
        self._library = ctypes.CDLL(None, use_errno=True)

    def reads(self, path: str) -> int:
        """Bytes given of the file at this path."""
        return self._given[_key((self._below / path).lstat())]

    def init_with_config(self, connection: Any, config: Any) -> None:  # noqa: ANN401  C structures
        """Nothing is remembered but pages: names and what is known of them are asked for again."""
        connection.want &= ~(AUTO_INVALIDATE | READ_DIR_PLUS)
        config.use_ino = config.hard_remove = config.nullpath_ok = 1
        config.entry_timeout = config.attr_timeout = config.negative_timeout = 0
        self._ready()

    def _at(self, path: str) -> Path:
        here = self._below
        for part in path.split("/"):
            here = here / self._written(here, part) if part else here
        return here

    def _written(self, folder: Path, name: str) -> str:
        """The name as the folder lists it, where this disk takes several spellings for one."""
        for fault in self.told.of(FoldsNames):
            if os.path.lexists(folder / name) or not folder.is_dir():
                continue
            names = (each.name for each in folder.iterdir())
            listed = [each for each in names if each.casefold() == name.casefold()]
            if listed and self.told.comes(fault, None):
                return listed[0]
        return name

    def _changed(self, path: str) -> Path:
        """The path below, of something that is to change."""
        self.told.fails(ReadOnly, errno.EROFS)
        return self._at(path)

    # ---- names -------------------------------------------------------------------------------

    def getattr(self, path: str | None, info: Info | None = None) -> dict[str, int]:
        self.told.fails(NoStat, errno.EIO, self._open[info.fh].name if info else path)
        about = os.fstat(info.fh) if info else self._at(path or "/").lstat()
        known = {each: getattr(about, each) for each in OF_A_FILE}
        return known | {f"st_{each}time": known[f"st_{each}time_ns"] for each in "amc"}

    def readlink(self, path: str) -> str:
        return str(self._at(path).readlink())

    def mknod(self, path: str, mode: int, device: int) -> None:
        os.mknod(self._changed(path), mode, device)

    def mkdir(self, path: str, mode: int) -> None:
        self._changed(path).mkdir(mode)

    def symlink(self, path: str, target: str) -> None:
        self._changed(path).symlink_to(target)

    def link(self, path: str, target: str) -> None:
        self.told.fails(NoSecondNames, errno.EPERM)
        self._changed(path).hardlink_to(self._at(target))

    def unlink(self, path: str) -> None:
        self.told.fails(FailingUnlink, errno.EIO, path)
        self._changed(path).unlink()

    def rmdir(self, path: str) -> None:
        self.told.fails(FailingUnlink, errno.EIO, path)
        self._changed(path).rmdir()

    def rename(self, old: str, new: str, flags: int = 0) -> None:
        for name in (old, new):
            self.told.fails(FailingRename, errno.EIO, name)
        if flags:
            self.told.fails(NoExclusiveRename, errno.EINVAL)
        one, two = (os.fsencode(self._changed(path)) for path in (old, new))
        if self._library.renameat2(HERE, one, HERE, two, ctypes.c_uint(flags)):
            number = ctypes.get_errno()
            raise OSError(number, os.strerror(number))

    def chmod(self, path: str, mode: int) -> None:
        self._changed(path).chmod(mode)

    def chown(self, path: str, user: int, group: int) -> None:
        os.chown(self._changed(path), user, group, follow_symlinks=False)

    def utimens(self, path: str, times: tuple[int, int] | None = None) -> None:
        where = self._changed(path)
        about = where.lstat()
        given = times or (NOW, NOW)
        accessed, modified = map(_stamp, given, (about.st_atime_ns, about.st_mtime_ns))
        os.utime(where, ns=(accessed, modified), follow_symlinks=False)

    def statfs(self, path: str) -> dict[str, int]:
        about = os.statvfs(self._at(path))
        known = {each: getattr(about, each) for each in OF_A_DISK}
        if all(full.told for full in self.told.of(Full)):
            left = max(0, self.told.room()) // about.f_frsize
            known |= {each: min(known[each], left) for each in ("f_bavail", "f_bfree")}
        return known

    # ---- files -------------------------------------------------------------------------------

    def open(self, path: str, info: Info) -> None:
        writes = info.flags & (os.O_WRONLY | os.O_RDWR | os.O_TRUNC)
        self._opened(self._changed(path) if writes else self._at(path), path, info)

    def create(self, path: str, mode: int, info: Info) -> None:
        self._opened(self._changed(path), path, info, mode)
        with self._lock:
            self._given[_key(os.fstat(info.fh))] = (
                0  # the number of a file that is gone comes again
            )

    def _opened(self, where: Path, path: str, info: Info, mode: int = 0) -> None:
        """Below, all goes through the cache, and places are always given: alignment is our matter."""
        if info.flags & os.O_DIRECT:
            self.told.fails(NoDirect, errno.EINVAL)
        info.fh = os.open(where, info.flags & ~(os.O_DIRECT | os.O_APPEND), mode)
        info.keep_cache = 1
        self._open[info.fh] = Handle(name=path)

    def read(self, _: str | None, size: int, offset: int, info: Info) -> bytes:
        name = self._open[info.fh].name
        if info.flags & os.O_DIRECT:
            self.told.fails(NoDirect, errno.EINVAL)
            if size % SECTOR or offset % SECTOR:
                raise OSError(errno.EINVAL, os.strerror(errno.EINVAL))
        data = bytearray(os.pread(info.fh, size, offset))
        end = offset + len(data)
        self.told.fails(FailingRead, errno.EIO, name, when=lambda each: end > each.offset)
        self._flip(data, offset, name)
        with self._lock:
            self._given[_key(os.fstat(info.fh))] += len(data)
        return bytes(data)

    def _flip(self, data: bytearray, offset: int, name: str) -> None:
        first, every = self.told.of(FlipFirstRead), self.told.of(FlipEveryRead)
        flips: tuple[FlipFirstRead | FlipEveryRead, ...] = (*first, *every)
        for flip in flips:
            is_there = offset <= flip.offset < offset + len(data)
            times = 1 if isinstance(flip, FlipFirstRead) else None
            if is_there and is_named(name, flip.name) and self.told.comes(flip, times):
                data[flip.offset - offset] ^= 1 << flip.bit

    def write(self, _: str | None, data: bytes, offset: int, info: Info) -> int:
        self.told.fails(ReadOnly, errno.EROFS)
        return os.pwrite(info.fh, data[: self.told.take(len(data))], offset)

    def truncate(self, path: str | None, length: int, info: Info | None = None) -> None:
        self.told.fails(ReadOnly, errno.EROFS)
        os.truncate(info.fh if info else self._at(path or "/"), length)

    def fsync(self, _: str | None, only_data: int, info: Info) -> None:
        (os.fdatasync if only_data else os.fsync)(info.fh)

    def release(self, _: str | None, info: Info) -> None:
        self._closed(info.fh)

    def _closed(self, number: int) -> None:
        """Forgotten first: once closed, the number may come again with another file."""
        del self._open[number]
        os.close(number)

    # ---- folders -----------------------------------------------------------------------------

    def opendir(self, path: str) -> int:
        self.told.fails(ClosedFolder, errno.EIO, path, when=lambda each: each.after is None)
        number = os.open(self._at(path), os.O_RDONLY | os.O_DIRECTORY)
        self._open[number] = Handle(name=path)
        return number

    def readdir_with_offset(
        self, _: str | None, offset: int, number: int
    ) -> Iterator[tuple[str, dict[str, int], int]]:
        """Each name with its type, and the place behind it; the listing is that of its first request."""
        handle = self._open[number]
        if offset == 0:
            with os.scandir(number) as entries:
                handle.listing = list(entries)
        for place in range(offset, len(handle.listing)):
            if self._breaks(handle.name, place, offset):
                return
            yield self._entry(handle.listing[place], place + 1)

    def _breaks(self, name: str, place: int, offset: int) -> bool:
        """Whether the listing ends here; asked to go on from here, it fails."""
        ending = [each for each in self.told.of(ClosedFolder) if each.after == place]
        if place == offset:
            self.told.fails(ClosedFolder, errno.EIO, name, when=lambda each: each in ending)
        return any(is_named(name, each.name) for each in ending)

    def _entry(self, entry: os.DirEntry[str], behind: int) -> tuple[str, dict[str, int], int]:
        mode = entry.stat(follow_symlinks=False).st_mode
        for fault in self.told.of(NoTypes):
            mode = 0 if self.told.comes(fault, None) else mode
        return entry.name, {"st_mode": mode, "st_ino": entry.inode()}, behind

    def fsyncdir(self, _: str | None, only_data: int, number: int) -> None:
        (os.fdatasync if only_data else os.fsync)(number)

    def releasedir(self, _: str | None, number: int) -> None:
        self._closed(number)


class Mounted(mfusepy.FUSE):  # type: ignore[misc]  # it has no types
    """libfuse's loop, with what the binding leaves out: the flags of a rename."""

    def rename_fuse_3(self, old: bytes, new: bytes, flags: int) -> None:
        self.operations.rename(os.fsdecode(old), os.fsdecode(new), flags)


def _key(about: os.stat_result) -> tuple[int, int]:
    return about.st_dev, about.st_ino


def _stamp(wished: int, as_it_was: int) -> int:
    if wished == AS_IT_WAS:
        return as_it_was
    return time.time_ns() if wished == NOW else wished


def answer(passing: Passing, request: dict[str, Any]) -> int:
    """What is asked of the disk, or done to it."""
    if request["do"] == "reads":
        return passing.reads(request["path"])
    if request["do"] == "met":
        return passing.told.met(fault_of(request["fault"]))
    passing.told.now(tuple(map(fault_of, request["faults"])))
    return 0


def serve(passing: Passing, mountpoint: Path) -> None:
    """Requests are answered until there are no more, for the tests have ended or died."""
    for line in sys.stdin:
        say(answer(passing, json.loads(line)))
    program = shutil.which(UNMOUNT)
    assert program is not None
    subprocess.run([program, "-u", "-z", str(mountpoint)], check=False)  # noqa: S603
    sys.stderr.flush()
    os._exit(0)


def say(number: int) -> None:
    """One line for who asked."""
    sys.stdout.write(f"{number}\n")
    sys.stdout.flush()


def main(mountpoint: Path, below: Path) -> None:
    """The disk, until it is unmounted."""
    os.umask(0)  # what is asked for has been masked before
    passing = Passing(below, ready=lambda: say(0))
    threading.Thread(target=serve, args=(passing, mountpoint), daemon=True).start()
    Mounted(passing, str(mountpoint), raw_fi=True, foreground=True, fsname="faulty")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
