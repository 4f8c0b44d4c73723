"""Leave to go on, for work in other threads and processes: it holds for as long as a file is there.

A file, because it can be seen from any process that sees the shoot, and because taking it away needs no
room on a full disk.
"""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from sorter.disk.files import make_folders
from sorter.disk.shoot import WORK, Shoot
from sorter.errors import BadShoot

_withdrawn: Final[set[str]] = set()
"""In this process what was withdrawn is so even where the disk takes no more changes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Permission:
    """What a task asks between two steps. path: of the file, as the system names it."""

    path: str

    @property
    def holds(self) -> bool:
        """Whether the task is to go on."""
        return self.path not in _withdrawn and os.path.lexists(self.path)

    def withdraw(self) -> None:
        """No task goes on."""
        _withdrawn.add(self.path)
        with contextlib.suppress(OSError):
            os.unlink(self.path)


@contextlib.contextmanager
def permission_to_work(shoot: Shoot) -> Iterator[Permission]:
    """Leave for the work within, withdrawn at its end. Raises OSError, and BadShoot for a link."""
    folder = shoot.root / WORK
    if folder.is_symlink():
        raise BadShoot(
            f"{folder} is a link to another place, and nothing is written through links. Take it "
            "away, and run it again."
        )
    make_folders(str(folder))
    permission = Permission(path=str(folder / f"leave-{secrets.token_hex(8)}"))
    os.close(os.open(permission.path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    try:
        yield permission
    finally:
        permission.withdraw()
        with contextlib.suppress(OSError):
            folder.rmdir()
