"""Faults of disks and cards, put in the place of the system's own calls."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterable
from pathlib import Path

import pytest

from sorter.disk import files as door
from sorter.disk import streams
from sorter.disk.card import Card
from sorter.disk.files import NewFile
from sorter.disk.shoot import Shoot
from sorter.disk.systems import linux
from sorter.model.plan import Entry
from sorter.writing import moving
from sorter.writing.ledger import Ledger


def is_file(handle: int, path: Path) -> bool:
    """Whether the open file is the one at the path."""
    about = os.fstat(handle)
    return path.exists() and os.path.samestat(about, path.stat())


def read_faults(
    patch: pytest.MonkeyPatch, path: Path, *, times: int, number: int = errno.EIO
) -> None:
    """So many requests for bytes of this file fail."""
    left, read_at = [times], streams._read_at  # noqa: SLF001  the one place where cards are read

    def fail(handle: int, memory: memoryview, at: int) -> int:
        if left[0] and is_file(handle, path):
            left[0] -= 1
            raise OSError(number, os.strerror(number))
        return read_at(handle, memory, at)

    patch.setattr(streams, "_read_at", fail)


def cannot_look(
    patch: pytest.MonkeyPatch, *paths: Path, number: int = errno.EIO, opens: bool = False
) -> None:
    """The system tells nothing of these paths, nor of what lies below them. opens: only opening fails."""
    closed = [os.path.realpath(path) for path in paths]

    def refuse(path: object) -> None:
        text = os.path.abspath(os.fspath(path)) if isinstance(path, str | Path) else ""  # noqa: PTH100
        if any(text == each or text.startswith(f"{each}{os.sep}") for each in closed):
            raise OSError(number, os.strerror(number), text)

    def watch(verb: str) -> None:
        done = getattr(os, verb)

        def call(*given: object, **named: object) -> object:
            refuse(given[0] if given else named.get("path"))
            return done(*given, **named)

        patch.setattr(os, verb, call)

    for verb in ("open",) if opens else ("open", "stat", "lstat", "scandir", "listdir"):
        watch(verb)


def short_file(patch: pytest.MonkeyPatch, path: Path, count: int) -> None:
    """The file gives so many bytes and no more, without an error."""
    read_at = streams._read_at  # noqa: SLF001  see above

    def cut(handle: int, memory: memoryview, at: int) -> int:
        got = read_at(handle, memory, at)
        return max(min(got, count - at), 0) if is_file(handle, path) else got

    patch.setattr(streams, "_read_at", cut)


def short_writes(patch: pytest.MonkeyPatch, most: int) -> None:
    """The system takes so many bytes at a time."""
    write = os.write
    patch.setattr(os, "write", lambda handle, data: write(handle, data[:most]))


def full_disk(patch: pytest.MonkeyPatch, *, after: int, number: int = errno.ENOSPC) -> None:
    """The disk takes so many blocks, then none."""
    taken, write = [0], os.write

    def fail(handle: int, data: bytes) -> int:
        taken[0] += 1
        if taken[0] > after:
            raise OSError(number, os.strerror(number))
        return write(handle, data)

    patch.setattr(os, "write", fail)


def fails_in(patch: pytest.MonkeyPatch, folder: Path, *, after: int, number: int) -> None:
    """The disk of this folder takes so many blocks, then none; all others take theirs."""
    taken, write = [0], NewFile.write

    def fail(self: NewFile, block: memoryview) -> None:
        where = Path(f"/proc/self/fd/{self._handle}").readlink()
        if where.is_relative_to(folder) and where.name.isdigit():  # the lists are small
            taken[0] += 1
            if taken[0] > after:
                raise OSError(number, os.strerror(number))
        write(self, block)

    patch.setattr(NewFile, "write", fail)


def spoiled_copies(patch: pytest.MonkeyPatch, shoot: Path, data: bytes, *, times: int) -> None:
    """So many copies of these bytes change on the disk after they were written."""
    left, force = [times], Shoot.force

    def spoil(self: Shoot, number: int) -> None:
        force(self, number)
        path = shoot / self.unfinished(number)
        if left[0] and path.read_bytes() == data:
            left[0] -= 1
            path.write_bytes(data[:-1] + bytes([data[-1] ^ 1]))

    patch.setattr(Shoot, "force", spoil)


def no_way_to_rename(patch: pytest.MonkeyPatch, *, second_names: bool = False) -> None:
    """The file system has no renames that replace nothing, and no second names unless told so."""

    def fail(*_: object) -> None:
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    patch.setattr(door, "_rename_exclusive", fail)
    if not second_names:
        patch.setattr(door, "_link_and_unlink", fail)


def fails_at(
    patch: pytest.MonkeyPatch, owner: object, verb: str, *, call: int, error: BaseException
) -> None:
    """The call of this number ends in the error; the ones before and after go well."""
    made, done = [0], getattr(owner, verb)

    def fail(*given: object, **named: object) -> object:
        made[0] += 1
        if made[0] == call:
            raise error
        return done(*given, **named)

    patch.setattr(owner, verb, fail)


def other_disks(patch: pytest.MonkeyPatch) -> None:
    """Card and shoot look like one disk, and every rename between them finds that they are two."""

    def fail(*_: object) -> None:
        raise OSError(errno.EXDEV, os.strerror(errno.EXDEV))

    patch.setattr(Shoot, "take", fail)
    patch.setattr(Shoot, "give_back", fail)


def other_devices(patch: pytest.MonkeyPatch) -> None:
    """Card and shoot lie on two disks, and both know it."""
    patch.setattr(Card, "device", lambda *_: -1)


def recorded(patch: pytest.MonkeyPatch, shoot: Path) -> list[str]:
    """What is done to the disk and the ledger, in its order, as it is done from now on."""
    said: list[str] = []

    def record(owner: object, verb: str, word: Callable[..., str]) -> None:
        done = getattr(owner, verb)

        def call(*given: object, **named: object) -> object:
            text = word(*given, **named)
            if text:
                said.append(text)
            return done(*given, **named)

        patch.setattr(owner, verb, call)

    record(NewFile, "write", lambda *_: "write")
    record(linux, "open_past", lambda path, **_: _read_back(path, shoot))
    record(os, "fsync", lambda handle: _forced(handle, shoot))
    record(Shoot, "place", lambda _self, _number, path: f"place {path}")
    record(Shoot, "take", lambda _self, _source, path: f"take {path}")
    record(moving, "remove_from_card", lambda path: f"remove {Path(path).name}")
    note = Ledger.note

    def noted(self: Ledger, entries: Iterable[Entry]) -> None:
        entries = list(entries)
        words = sorted({f"{each.state}{' gone' if each.gone else ''}" for each in entries})
        if entries:
            said.append(f"note {', '.join(words)}")
        note(self, entries)

    patch.setattr(Ledger, "note", noted)
    return said


def _read_back(path: str, shoot: Path) -> str:
    """Which side is read past the cache."""
    return "read back" if Path(path).is_relative_to(shoot) else "read the card"


def _forced(handle: int, shoot: Path) -> str:
    """Which of the shoot's files and folders is forced to the disk; what holds them all is not told."""
    hidden = shoot / ".sorter" / "unfinished"
    seen = (hidden, *hidden.iterdir()) if hidden.is_dir() else ()
    for path in (*seen, *(each for each in shoot.glob("*") if each != hidden.parent)):
        if is_file(handle, path):
            return f"force {path.relative_to(shoot).as_posix()}"
    return ""
