"""Makes room for a card, never over other people's work."""

from __future__ import annotations

import csv
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path


class RefusedError(Exception):
    """The folder holds something that is not this script's own work."""


def clear(card: Path, truth: Path, own: set[str], columns: Sequence[str]) -> None:
    """Empties a card that this script made before; refuses any other folder that is not empty.

    Its own work is known by the truth table beside it, with these columns, and by holding no other
    file than its own (paths below the card).
    """
    check(card, truth, own, columns)
    _remove(_files(card), folders(card) if card.exists() else [])


def check(card: Path, truth: Path, own: set[str], columns: Sequence[str]) -> None:
    """Raises RefusedError where clear would; changes nothing."""
    if truth.resolve().is_relative_to(card.resolve()):
        message = f"the truth table must not lie inside the card: {truth}"
        raise RefusedError(message)
    if card.is_symlink() or (card.exists() and not card.is_dir()):
        message = f"{card} is not a folder"
        raise RefusedError(message)
    found = _files(card)
    foreign = [path for path in found if path.relative_to(card).as_posix() not in own]
    if found and (foreign or not is_truth(truth, columns)):
        message = f"{card} is not empty and was not made by this script ({_reason(foreign, truth)})"
        raise RefusedError(message)


def _reason(foreign: Sequence[Path], truth: Path) -> str:
    if foreign:
        return f"it holds {foreign[0].name}"
    if truth.is_file():
        return (
            f"{truth.name} beside it has other columns: where another version of this script wrote "
            "both, delete them"
        )
    return f"there is no {truth.name} beside it"


def is_truth(path: Path, columns: Sequence[str]) -> bool:
    """Whether the file is a truth table with these columns."""
    if not path.is_file():
        return False
    with path.open(encoding="utf-8", errors="replace", newline="") as file:
        return next(csv.reader(file), []) == list(columns)


def folders(card: Path) -> list[Path]:
    """The card's folders, those farthest down first, and the card itself."""
    found = [path for path in card.rglob("*") if path.is_dir()]
    return [*sorted(found, key=lambda path: len(path.parts), reverse=True), card]


def _files(card: Path) -> list[Path]:
    return [path for path in card.rglob("*") if path.is_symlink() or not path.is_dir()]


def _remove(files: Iterable[Path], empty: Iterable[Path]) -> None:
    for path in files:
        path.unlink()
    for folder in empty:
        folder.rmdir()
