"""Single files that the user asked for, such as a manifest: whole, or not at all."""

from __future__ import annotations

import contextlib
import os
import secrets
import stat
from collections.abc import Callable
from pathlib import Path

from sorter.disk.files import force_folder, rename_new
from sorter.errors import BadShoot, OutputNotWritable


def check_target(path: Path, *, card: Path) -> None:
    """Returns where a file may be written to this path; nothing is written to find out.

    Raises OutputNotWritable where the path lies in the card (links followed, folders compared by
    what they are, not by their spelling), is a folder or anything else but a plain file, or where
    its folder is missing or closed to us. A disk that is full shows only on writing.
    """
    target = real_path(path)
    if is_within(target, _whole_card(card)):
        raise OutputNotWritable(
            f"{path} lies in the card, and nothing is ever written there. Name a file elsewhere."
        )
    _refuse_odd_name(path, target)
    _refuse_no_plain_file(path, target)
    if not target.parent.is_dir():
        raise OutputNotWritable(
            f"{path}: the folder {target.parent} is not there. Make it first, or name another."
        )
    if not os.access(target.parent, os.W_OK | os.X_OK):
        raise OutputNotWritable(
            f"{path}: the system lets us write nothing in {target.parent}. "
            "Check its permissions, or name another folder."
        )


def check_beside(shoot: Path, *, card: Path) -> None:
    """Returns where neither of the two folders lies in the other, links followed.

    A shoot beside the DCIM folder that was named as the card lies in the card too, where that is
    mounted. Raises BadShoot.
    """
    one, two = real_path(shoot), real_path(card)
    if is_within(one, _whole_card(card)):
        raise BadShoot(
            f"{shoot} lies in the card, and nothing is ever written there. Name a folder elsewhere."
        )
    if is_within(two, one):
        raise BadShoot(
            f"the card {card} lies in {shoot}, and a shoot holds nothing but its own files. "
            "Name another folder for the shoot."
        )


def replace_file(path: Path, data: bytes) -> None:
    """The file holds exactly these bytes, or what it held before; never a part of them.

    Written beside it, forced to the disk, renamed over it, and the folder forced too. A link is
    followed. What a drive's own cache does when the power fails, we cannot know; a system that
    kills us in the middle may leave the unfinished file, whose name begins with `.sorter-`.
    Raises OutputNotWritable with the system's reason.
    """
    _write_beside(path, data, lambda unfinished, target: unfinished.replace(target))


def add_file(path: Path, data: bytes) -> bool:
    """The file holds exactly these bytes; one that holds others is never replaced.

    Returns whether it was written now: False where it held them already. Written as replace_file
    does it. Raises OutputNotWritable.
    """
    target = real_path(path)
    _refuse_no_plain_file(path, target)
    if not target.exists():
        _write_beside(path, data, lambda one, two: rename_new(str(one), str(two)))
        return True
    if _holds(target, data):
        return False
    raise OutputNotWritable(
        f"{path} is there already and holds something else, which may be your own work: it is "
        "never replaced. Nothing was written; name another file."
    )


def _holds(target: Path, data: bytes) -> bool:
    try:
        return target.stat().st_size == len(data) and target.read_bytes() == data
    except OSError:  # what cannot be read is not ours to replace either
        return False


def _write_beside(path: Path, data: bytes, place: Callable[[Path, Path], object]) -> None:
    """The bytes stand under another name, on the disk; then they are placed under their own."""
    target = real_path(path)
    _refuse_no_plain_file(path, target)
    unfinished = target.with_name(f".sorter-{secrets.token_hex(6)}.unfinished")
    try:
        _write_through(unfinished, data, _mode(target))
        place(unfinished, target)
        force_folder(target.parent)
    except OSError as error:
        raise OutputNotWritable(
            f"{path} cannot be written: {error.strerror}. What was there before is unchanged; "
            "name a file in another place, or make room."
        ) from error
    finally:
        with contextlib.suppress(OSError):
            unfinished.unlink(missing_ok=True)


def real_path(path: Path) -> Path:
    """The path with every link followed, also where the file itself is not there yet."""
    return Path(os.path.realpath(path))


def _whole_card(folder: Path) -> Path:
    """The mounted card around a DCIM folder that was named, or around a folder in it; else itself."""
    real = real_path(folder)
    for each in (real, *real.parents):
        if each.name.lower() == "dcim" and each.parent.is_mount():
            return each.parent
    return folder


def is_within(target: Path, folder: Path) -> bool:
    """Whether the target is the folder or lies in it. Folders are compared by what they are.

    target: with its links followed.
    """
    return any(is_same(parent, folder) for parent in (target, *target.parents))


def is_same(one: Path, two: Path) -> bool:
    """Whether both are one file or folder; by their paths where one of them is not there."""
    try:
        return one.samefile(two)
    except OSError:  # one of them is not there
        return one == real_path(two)


def _refuse_odd_name(path: Path, target: Path) -> None:
    """The system says of a name that it cannot have only when it is asked for it."""
    try:
        target.lstat()
    except (FileNotFoundError, NotADirectoryError):
        pass
    except OSError as error:
        raise OutputNotWritable(
            f"{path} cannot be written: {error.strerror}. Name another file."
        ) from error


def _refuse_no_plain_file(path: Path, target: Path) -> None:
    """Renaming over a device or a pipe would take it out of the system."""
    if target.is_dir():
        raise OutputNotWritable(f"{path} is a folder. Name a file.")
    if target.exists() and not target.is_file():
        raise OutputNotWritable(f"{path} is no plain file (a device or a pipe). Name a file.")


def _mode(target: Path) -> int | None:
    """The permissions to keep; None where there is no file yet."""
    try:
        return stat.S_IMODE(target.stat().st_mode)
    except OSError:
        return None


def _write_through(path: Path, data: bytes, mode: int | None) -> None:
    with path.open("xb") as file:
        if mode is not None:
            with contextlib.suppress(OSError):  # a FAT disk or a share knows no permissions
                path.chmod(mode)
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
