"""Which folders are shoots: told by what the sorter keeps in them; nothing is changed to find out."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable
from pathlib import Path
from typing import Final

from sorter.disk.shoot import HIDDEN, UNFINISHED

LEDGER: Final = f"{HIDDEN}/ledger.db"


def is_shoot(folder: str) -> bool:
    """Whether the folder holds a ledger, or the place of unfinished files, which is made before it.

    So it is where what would tell is closed to us, for the name is our own. Links are followed.
    """
    try:
        return _is(folder, LEDGER, stat.S_ISREG) or _is(folder, UNFINISHED, stat.S_ISDIR)
    except PermissionError:
        return os.path.lexists(os.path.join(folder, HIDDEN))
    except OSError:
        return False


def _is(folder: str, name: str, is_kind: Callable[[int], bool]) -> bool:
    """Whether something of this kind is there. Raises OSError where the system does not say."""
    try:
        return is_kind(os.stat(os.path.join(folder, name)).st_mode)
    except (FileNotFoundError, NotADirectoryError):
        return False


def shoot_around(path: Path) -> Path | None:
    """The shoot that the path is, or lies in, with every link followed; None where it is in none."""
    real = Path(os.path.realpath(path))
    return next((each for each in (real, *real.parents) if is_shoot(str(each))), None)
