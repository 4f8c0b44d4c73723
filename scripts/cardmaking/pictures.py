"""Pictures that were drawn before: kept in build/, where they can be deleted at any time."""

from __future__ import annotations

import hashlib
import os
import struct
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from keeping import DAY_S, prune

if TYPE_CHECKING:
    from collections.abc import Callable

FOLDER: Final = Path(__file__).parents[2] / "build" / "demo-pictures"
UNUSED_S: Final = 7 * DAY_S
_DRAWN_BY: Final = ("draw.py", "defocus.py", "card.py")
_HEAD: Final = struct.Struct("<32sQ")


def encoded(
    *decides: object, make: Callable[[], tuple[bytes, bytes]], folder: Path = FOLDER
) -> tuple[bytes, bytes]:
    """The two JPEGs that make gives, which nothing decides but these values.

    A picture is kept under a digest of its recipe and of the modules that draw. One that is damaged
    is drawn anew; where nothing can be kept, each is drawn every time.
    """
    name = hashlib.sha256(repr((_sources(), decides)).encode()).hexdigest()
    kept = _read(folder / name)
    if kept is not None:
        return kept
    made = make()
    with suppress(OSError):
        _write(folder / name, *made)
    return made


def tidy(folder: Path = FOLDER) -> None:
    """Removes the pictures that nothing has asked for in a week: others are drawn today."""
    prune(folder.glob("*"), UNUSED_S)


@cache
def _sources() -> str:
    here = Path(__file__).parent
    return hashlib.sha256(b"".join((here / name).read_bytes() for name in _DRAWN_BY)).hexdigest()


def _read(path: Path) -> tuple[bytes, bytes] | None:
    try:
        data = path.read_bytes()
        path.touch()
        digest, first = _HEAD.unpack_from(data)
    except (OSError, struct.error):
        return None
    whole = data[_HEAD.size :]
    return (whole[:first], whole[first:]) if hashlib.sha256(whole).digest() == digest else None


def _write(path: Path, first: bytes, second: bytes) -> None:
    """Beside its name first, so that a run that is stopped leaves no half of it under that name."""
    path.parent.mkdir(parents=True, exist_ok=True)
    whole = first + second
    beside = path.with_name(f"{path.name}.{os.getpid()}")
    beside.write_bytes(_HEAD.pack(hashlib.sha256(whole).digest(), len(first)) + whole)
    beside.replace(path)
