"""The door to where stacks are handed over: makes folders, links and copies files, takes them back.

What is handed over is never overwritten, and nothing in the shoot is touched: its files are linked
to, or read.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
import secrets
import stat
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

from sorter.disk.files import FULL, NewFile, force_file, force_folder, rename_new
from sorter.disk.output import Output, check_replaces, is_within, real_path, replace_file
from sorter.disk.streams import Stream, digest
from sorter.errors import NoRoom, OutputNotWritable, SorterError

ASK_VERIFY: Final = "See what `sorter verify` says of this shoot."
NOT_THERE: Final = "is not there"
ASK_ADOPT: Final = (
    "Where you moved it within the shoot, `sorter verify --adopt` notes its new place; else see what "
    "`sorter verify` says."
)

_UNFINISHED: Final = re.compile(r"\.sorter-[0-9a-f]+\.unfinished")


class Spoiled(Exception):
    """A file cannot be handed over whole. The text is the end of a sentence, and what to do.

    No end of a run: its stack is left out, and the others go on.
    """


def lies_in(target: Path, folders: Iterable[Path]) -> Path | None:
    """The first of the folders that the target is, or lies in, links followed; None where none."""
    real = real_path(target)
    return next((folder for folder in folders if is_within(real, folder)), None)


def obstacle(path: Path, size: int) -> str:
    """Why the file is not what was ingested, as the end of a sentence; empty where it may be."""
    try:
        status = path.lstat()
    except OSError as error:
        missing = isinstance(error, FileNotFoundError | NotADirectoryError)
        return NOT_THERE if missing else f"cannot be looked at ({error.strerror})"
    if not stat.S_ISREG(status.st_mode):
        return "is no plain file"
    if status.st_size != size:
        return f"has {status.st_size} bytes and not the {size} that were ingested"
    return ""


def stamps(paths: Iterable[Path]) -> dict[Path, tuple[int, int, int]]:
    """What would not stay if a file were written to: its size, its time, which file it is."""
    found = {}
    for path in paths:
        with contextlib.suppress(OSError):
            status = path.lstat()
            found[path] = (status.st_size, status.st_mtime_ns, status.st_ino)
    return found


def make_folder(path: Path) -> None:
    """The folder is there, with its parents, and takes files.

    Raises OutputNotWritable, or NoRoom where the disk is full.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _failure(path, error) from error
    if not os.access(path, os.W_OK | os.X_OK):
        raise OutputNotWritable(
            f"{path}: the system lets us write nothing in this folder. Check its permissions, or "
            "name another."
        )


def names_in(folder: Path) -> frozenset[str] | None:
    """The names of what lies in the folder, without unfinished files of ours.

    Empty where there is no such folder yet; None where its name belongs to a file or a link.
    Raises OutputNotWritable where it cannot be listed.
    """
    try:
        if not stat.S_ISDIR(folder.lstat().st_mode):
            return None
        names = (path.name for path in folder.iterdir())
        return frozenset(name for name in names if not _UNFINISHED.fullmatch(name))
    except FileNotFoundError:
        return frozenset()
    except OSError as error:
        raise _failure(folder, error) from error


def holds(path: Path, source: Path, *, size: int, sha256: str) -> bool:
    """Whether the path is the source by another name, or a whole copy of it (read to find out)."""
    if obstacle(path, size):
        return False
    try:
        return path.samefile(source) or _measured(path) == (size, sha256)
    except OSError:
        return False


def place(source: Path, target: Path, *, size: int, sha256: str) -> bool:
    """The target holds the source's bytes: a hard link where the disk can, else a copy read back.

    Returns True where it is a copy. Nothing short of a whole copy ever has the target's name.
    Raises Spoiled where the bytes are not those of size and digest; NoRoom; OutputNotWritable.
    """
    try:
        if _is_linked(source, target):
            return False
        _copy(source, target, size, sha256)
    except OSError as error:
        raise _failure(target, error) from error
    return True


def settle(folder: Path) -> None:
    """The names in the folder, and its own, are on the disk."""
    force_folder(folder)
    force_folder(folder.parent)


def remove_unfinished(folder: Path) -> None:
    """No unfinished file of a run that was killed lies in the folder any more."""
    with contextlib.suppress(OSError):  # it is in nobody's way
        for path in list(folder.iterdir()):
            if _UNFINISHED.fullmatch(path.name):
                path.unlink()


def take_back(folder: Path, names: Iterable[str]) -> None:
    """The files that this run put there are gone, and the folder too where it is empty then."""
    for name in names:
        with contextlib.suppress(OSError):  # what stays is completed by a later run
            (folder / name).unlink()
    with contextlib.suppress(OSError):  # a part of an earlier run is in it
        folder.rmdir()


def check_list(path: Path) -> None:
    """Returns where a list may be written there, as far as what is there now. Raises OutputNotWritable."""
    check_replaces(path, Output.LIST)


def write_list(path: Path, data: bytes) -> None:
    """The file holds exactly these bytes, or what it held before.

    Raises OutputNotWritable, or NoRoom where the disk is full.
    """
    try:
        replace_file(path, data, Output.LIST)
    except OutputNotWritable as error:
        if isinstance(error.__cause__, OSError) and error.__cause__.errno in FULL:
            raise _failure(path, error.__cause__) from error
        raise


def _is_linked(source: Path, target: Path) -> bool:
    """False where the two lie on different disks, or the disk or the system allows no hard links."""
    try:
        os.link(source, target)
    except FileExistsError:
        raise
    except OSError:
        return False
    return True


def _copy(source: Path, target: Path, size: int, sha256: str) -> None:
    unfinished = target.with_name(f".sorter-{secrets.token_hex(6)}.unfinished")
    try:
        if _write_through(source, unfinished) != sha256:
            raise Spoiled(f"no longer holds the bytes that were ingested. {ASK_VERIFY}")
        if _measured(unfinished) != (size, sha256):
            raise Spoiled(f"came out different as {target}. Check that disk, and run it again.")
        rename_new(str(unfinished), str(target))
    finally:
        with contextlib.suppress(OSError):
            unfinished.unlink(missing_ok=True)


def _write_through(source: Path, target: Path) -> str:
    """The target is a copy with the source's time, forced to the disk; returns what was read's digest."""
    hashed = hashlib.sha256()
    with NewFile(str(target)) as file:
        for block in _blocks(source):
            hashed.update(block)
            file.write(block)
        with contextlib.suppress(OSError):  # programs may sort by it; some disks keep none
            file.stamp(source.stat().st_mtime_ns)
    force_file(str(target))
    return hashed.hexdigest()


def _blocks(source: Path) -> Iterator[memoryview]:
    """The file's bytes. What fails here is the shoot's disk, and not the one that is written to."""
    try:
        with Stream(str(source)) as stream:
            yield from stream.blocks()
    except OSError as error:
        raise Spoiled(f"cannot be read ({error.strerror}). {ASK_VERIFY}") from error


def _measured(path: Path) -> tuple[int, str]:
    """Bytes and SHA-256, read from the disk rather than from memory where the system lets us."""
    with Stream(str(path), past=True) as stream:
        return digest(stream)


def _failure(path: Path, error: OSError) -> SorterError:
    if error.errno in FULL:
        return NoRoom(
            f"{path} cannot be written: {error.strerror}. Make room there and run it again: it "
            "goes on where it stopped."
        )
    return OutputNotWritable(
        f"{path} cannot be written: {error.strerror}. Name a folder in another place."
    )
