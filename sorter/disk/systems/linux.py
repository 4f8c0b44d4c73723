"""Linux: direct reads, syncfs, renameat2, and which disks a file system is kept on."""

from __future__ import annotations

import contextlib
import ctypes
import errno
import os
import signal
import stat
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Final

from sorter.disk.systems.posix import (
    GIVEN,
    HELPERS,
    NEW,
    READING,
    WRITING,
    comes,
    failed,
    free_space,
    hold_alone,
    is_out_of_memory,
    library,
    read_at,
)
from sorter.disk.systems.system import Opened
from sorter.model.disks import Disk, Lies

__all__ = [
    "GIVEN",
    "HELPERS",
    "NEW",
    "READING",
    "WRITING",
    "comes",
    "die_with",
    "disk",
    "force",
    "force_all",
    "free_space",
    "hold_alone",
    "open_past",
    "origin",
    "read_at",
    "rename_exclusive",
    "start_writing",
]

_DIRECT: Final = getattr(os, "O_DIRECT", 0)
_REFUSED: Final = frozenset({errno.EINVAL, errno.ENOTSUP, errno.EOPNOTSUPP})
_DIE_WITH_PARENT: Final = 1  # PR_SET_PDEATHSIG of <linux/prctl.h>
_HERE: Final = -100  # AT_FDCWD of <fcntl.h>
_NO_REPLACE: Final = 1  # RENAME_NOREPLACE of <linux/fs.h>

_IN_MEMORY: Final = frozenset({"tmpfs", "ramfs", "devtmpfs", "rootfs", "hugetlbfs"})
_SHARES: Final = frozenset(
    {"nfs", "nfs4", "cifs", "smb3", "smbfs", "9p", "ceph", "afs", "ncpfs", "coda", "virtiofs"}
    | {"vboxsf", "vmhgfs", "prl_fs", "davfs", "fuse.sshfs", "fuse.davfs2", "fuse.vmhgfs-fuse"}
)
_DEEPEST: Final = 8  # mapped devices on mapped devices, and files that are mounted as disks


# ---- reading past the cache ------------------------------------------------------------------

_BY_HANDLE: Final = 4_096  # AT_EMPTY_PATH of <linux/fcntl.h>
_ALIGNMENT: Final = 8_192  # STATX_DIOALIGN of <linux/stat.h>, since 6.1
_MASK_AT: Final = slice(0, 4)  # stx_mask
_OFFSETS_AT: Final = slice(156, 160)  # stx_dio_offset_align: 0 where the file takes no direct reads
_ANSWER_BYTES: Final = 256
# <linux/magic.h>, and fs/exfat/exfat_raw.h
_STRAIGHT: Final = frozenset({19_780, 538_032_816, 1_702_057_286})  # FAT, exFAT, FUSE
_MEMORY_KINDS: Final = frozenset({16_914_836, 2_240_043_254})  # tmpfs, ramfs


def open_past(path: str, *, direct: bool = True) -> Opened:
    """See System. By O_DIRECT; where that is refused, by dropping the pages and looking for them.

    Dropping alone promises nothing: pages that are dirty, or mapped by anybody, stay without an error.
    Nor does O_DIRECT alone: some file systems take it, and read through the cache all the same.
    """
    if direct and _DIRECT:
        try:
            handle = os.open(path, READING | _DIRECT)
        except OSError as error:
            if error.errno not in _REFUSED:
                raise
        else:
            return Opened(handle=handle, direct=True, sure=_is_straight(handle))
    handle = os.open(path, READING)
    try:
        sure = _is_dropped(handle) or disk(path).lies is Lies.MEMORY
    except OSError:
        sure = False
    return Opened(handle=handle, sure=sure)


def _is_straight(handle: int) -> bool:
    """Whether direct reads of this file come from the disk.

    Of ext4 a file whose data is journalled, or stands in its inode, is read through the cache; of btrfs
    one that is compressed or small: 0 of 4 MB came from the disk, and no error was told.
    """
    known = _takes_direct(handle)
    if known is None:
        kind = _magic(handle)
        known = kind in _STRAIGHT or kind in _MEMORY_KINDS  # there is no other place there
    try:
        return known or _is_dropped(handle)
    except OSError:
        return False


def _takes_direct(handle: int) -> bool | None:
    """Whether the file system says that this file takes direct reads; None where it says nothing."""
    if not hasattr(_asking(), "statx"):
        return None
    answer = ctypes.create_string_buffer(_ANSWER_BYTES)
    if _asking().statx(handle, b"", _BY_HANDLE, ctypes.c_uint(_ALIGNMENT), answer):
        return None
    if not int.from_bytes(answer.raw[_MASK_AT], sys.byteorder) & _ALIGNMENT:
        return None
    return any(answer.raw[_OFFSETS_AT])


def _magic(handle: int) -> int:
    """The number of the kind of file system, as fstatfs(2) tells it first; 0 where it does not."""
    answer = ctypes.create_string_buffer(_ANSWER_BYTES)
    if _asking().fstatfs(handle, answer):
        return 0
    return ctypes.c_ulong.from_buffer(answer).value


@cache
def _asking() -> ctypes.CDLL:
    return ctypes.CDLL(None)


def _is_dropped(handle: int) -> bool:
    os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
    if is_out_of_memory(handle):
        return True
    with contextlib.suppress(OSError):  # a read-only file system may take no such call
        os.fsync(handle)
    os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)
    return is_out_of_memory(handle)


# ---- writing -----------------------------------------------------------------------------------


def force(handle: int) -> None:
    """See System."""
    os.fsync(handle)


def force_all(folder: str) -> bool:
    """See System. False where there is no such call; then each file is to be forced."""
    if not hasattr(library(), "syncfs"):
        return False
    handle = os.open(folder, os.O_RDONLY | os.O_CLOEXEC)
    try:
        if library().syncfs(handle):
            raise failed(folder)
    finally:
        os.close(handle)
    return True


def start_writing(handle: int) -> None:
    """See System."""
    os.posix_fadvise(handle, 0, 0, os.POSIX_FADV_DONTNEED)


def rename_exclusive(source: str, target: str) -> None:
    """See System."""
    if not hasattr(library(), "renameat2"):
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))
    one, two, here = os.fsencode(source), os.fsencode(target), ctypes.c_int(_HERE)
    if library().renameat2(here, one, here, two, ctypes.c_uint(_NO_REPLACE)):
        raise failed(source, target)


def die_with(parent: int) -> None:
    """See System."""
    del parent
    library().prctl(_DIE_WITH_PARENT, signal.SIGKILL)


def origin(path: str) -> tuple[str, str] | None:
    """See System. By the root of the mount that the folder lies in."""
    real = os.path.realpath(path)
    mount = _mount_of(real)
    if mount is None:
        return None
    below = os.path.relpath(real, mount.point)
    return mount.device, os.path.normpath(os.path.join(mount.root, below))


# ---- which disk --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Mount:
    """A line of mountinfo (proc(5)) as far as it tells where a file system is kept."""

    number: str
    root: str  # which folder of the file system is mounted
    point: str
    device: str  # major:minor
    kind: str
    source: str
    options: str


def disk(path: str) -> Disk:
    """See System. By the mount that the path lies in, and what /sys tells of its block device."""
    return _disk(path, _DEEPEST)


def _disk(path: str, left: int) -> Disk:
    device = os.stat(path).st_dev
    mount = _mount_of(os.path.realpath(path))
    if mount is None or not left:
        return Disk(lies=Lies.UNKNOWN, device=device)
    if mount.kind in _IN_MEMORY:
        return Disk(lies=Lies.MEMORY, device=device)
    if mount.kind == "overlay":
        return _upper(mount, device, left)
    if mount.kind in _SHARES:
        return Disk(lies=Lies.NETWORK, device=device, source=mount.source)
    numbers = {mount.device, f"{os.major(device)}:{os.minor(device)}", _numbers(mount.source)}
    parts = _parts_of_any(numbers, mount, left)
    if parts is None:
        return Disk(lies=Lies.UNKNOWN, device=device, source=_pool(mount))
    in_memory = any(name.startswith(("ram", "zram")) for name in parts) or _MEMORY in parts
    return Disk(lies=Lies.MEMORY if in_memory else Lies.DISK, device=device, parts=parts)


_MEMORY: Final = "memory"  # in place of a disk's name: a file in memory that is mounted as a disk


def _upper(mount: _Mount, device: int, left: int) -> Disk:
    """Of an overlay what is written lies in its upper folder, and what is only read in those below it.

    Only where they can be seen from here.
    """
    known = [one.partition("=")[::2] for one in mount.options.split(",")]
    lower = [
        each for name, value in known if name.startswith("lowerdir") for each in value.split(":")
    ]
    try:
        below = _disk(_unescaped(dict(known).get("upperdir", "")), left - 1)
        seen = [_disk(_unescaped(each), left - 1) for each in lower if each]
    except OSError:
        return Disk(lies=Lies.UNKNOWN, device=device)
    parts = below.parts.union(*(each.parts for each in seen))
    return Disk(lies=below.lies, device=device, parts=parts, source=below.source)


def _pool(mount: _Mount) -> str:
    """What two of these file systems have in common where they lie together: a pool's name."""
    if mount.kind == "zfs":
        return mount.source.partition("/")[0]
    return mount.source if mount.source not in ("none", mount.kind) else ""


def _mount_of(path: str) -> _Mount | None:
    """The mount that the path lies in, by the number that the system has for it.

    Where it tells none: the longest point above the path, of equal ones the last. That one may be
    hidden, by another mount on a folder above.
    """
    found: _Mount | None = None
    own = _mount_number(path)
    try:
        lines = Path("/proc/self/mountinfo").read_text("utf-8", "surrogateescape").splitlines()
    except OSError:
        return None
    for line in lines:
        mount = _mount(line)
        if mount and mount.number == own:
            return mount
        is_above = mount and (path == mount.point or path.startswith(mount.point.rstrip("/") + "/"))
        if mount and is_above and (found is None or len(mount.point) >= len(found.point)):
            found = mount
    return found


def _mount_number(path: str) -> str:
    """The path's mount, as fdinfo (proc(5)) tells it; empty where it does not."""
    try:
        handle = os.open(path, os.O_PATH | os.O_CLOEXEC)
        try:
            words = Path(f"/proc/self/fdinfo/{handle}").read_text("utf-8").split()
        finally:
            os.close(handle)
    except OSError:
        return ""
    return dict(zip(words[::2], words[1::2], strict=False)).get("mnt_id:", "")


def _mount(line: str) -> _Mount | None:
    """One line: numbers, major:minor, root, mount point, options, fields up to a dash; then three."""
    before, dash, after = line.partition(" - ")
    one, two = before.split(" "), after.split(" ")
    if not dash or len(one) < 5 or len(two) < 2:  # noqa: PLR2004  as above
        return None
    return _Mount(
        number=one[0],
        root=_unescaped(one[3]),
        point=_unescaped(one[4]),
        device=one[2],
        kind=two[0],
        source=_unescaped(two[1]),
        options=two[2] if len(two) > 2 else "",  # noqa: PLR2004  as above
    )


def _unescaped(text: str) -> str:
    """Blanks, tabs, line ends and backslashes stand in mountinfo as octal numbers."""
    for number in ("040", "011", "012", "134"):
        text = text.replace(f"\\{number}", chr(int(number, 8)))
    return text


def _numbers(source: str) -> str:
    """The major:minor of a block device by its name; empty where it is none."""
    try:
        status = os.stat(source) if source.startswith("/dev/") else None
    except OSError:
        status = None
    device = status.st_rdev if status and stat.S_ISBLK(status.st_mode) else 0
    return f"{os.major(device)}:{os.minor(device)}" if device else ""


def _parts_of_any(numbers: set[str], mount: _Mount, left: int) -> frozenset[str] | None:
    """The disks below the first of the devices that /sys knows; None where it knows none."""
    for each in sorted(numbers - {""}):
        place = f"/sys/dev/block/{each}"
        if os.path.exists(place):
            own = _parts(os.path.realpath(place), left)
            more = _pooled(os.path.basename(os.path.realpath(place)), left)
            if mount.kind == "btrfs" and more is not None and own is not None:
                return own | more
            return own
    return None


def _pooled(name: str, left: int) -> frozenset[str] | None:
    """The disks below all devices of the btrfs that this device belongs to."""
    with contextlib.suppress(OSError):
        for pool in Path("/sys/fs/btrfs").iterdir():
            devices = pool / "devices"
            names = [each.name for each in devices.iterdir()] if devices.is_dir() else []
            if name in names:
                found = [_parts(os.path.realpath(devices / each), left) for each in names]
                return None if None in found else frozenset().union(*filter(None, found))
    return None


def _parts(place: str, left: int) -> frozenset[str] | None:
    """The disks that a block device is kept on, by its folder in /sys; None where that is not told."""
    if not left:
        return None
    if os.path.exists(f"{place}/partition"):
        place = os.path.dirname(place)
    backing = f"{place}/loop/backing_file"
    if os.path.exists(backing):
        return _backed(backing, left)
    try:
        below = os.listdir(f"{place}/slaves")
    except OSError:
        below = []
    found = [_parts(os.path.realpath(f"{place}/slaves/{name}"), left - 1) for name in below]
    if None in found:
        return None
    return frozenset().union(*filter(None, found)) or _lone(os.path.basename(place))


def _lone(name: str) -> frozenset[str] | None:
    """A device that is kept on no other. A mapped one that names none is kept we know not where."""
    return None if name.startswith(("dm-", "md", "nbd", "drbd", "rbd")) else frozenset({name})


def _backed(backing: str, left: int) -> frozenset[str] | None:
    """The disks below a file that is mounted as a disk."""
    try:
        below = _disk(Path(backing).read_text("utf-8", "surrogateescape").rstrip("\n"), left - 1)
    except OSError:
        return None
    return frozenset({_MEMORY}) if below.lies is Lies.MEMORY else below.parts or None
