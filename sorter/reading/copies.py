"""Copies among a card's own files: equal bytes are one picture, wherever they lie.

Two files are looked at only where their sizes, first bytes and names make it possible: a camera gives
every press a number of its own, so two numbers of one row of names are two presses. What the names
leave open the whole files decide; they are read side by side up to where they differ.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

from sorter.disk.card import Card
from sorter.model.frame import Frame, ReadFile
from sorter.model.kinds import PICTURE_ROLES
from sorter.reading import names

_ROW: Final = re.compile(r"(.*?)(\d+)\Z", re.DOTALL)


def once(card: Card, frames: Sequence[Frame]) -> tuple[Frame, ...]:
    """The frames, each picture once: a frame that is a copy gives its files to the one copied.

    The one that the camera named is the one copied, else that with the shorter name. Raises CardGone where the card went away; what
    cannot be read stays a frame of its own.
    """
    home = {file.path: frame for frame in frames for file in frame.files}
    moved: dict[str, Frame] = {}
    for one, other in _equal(card, _alike(frames)):
        original, copy = home[one.path], home[other.path]
        if original is not copy and original.path not in moved and _is_whole(copy, original):
            moved.setdefault(copy.path, original)
    return tuple(_with_copies(frames, moved)) if moved else tuple(frames)


def _with_copies(frames: Sequence[Frame], moved: dict[str, Frame]) -> Iterator[Frame]:
    copies: defaultdict[str, list[Frame]] = defaultdict(list)
    for frame in frames:
        if frame.path in moved:
            copies[moved[frame.path].path].append(frame)
    for frame in frames:
        if frame.path in copies:
            parts = (frame, *copies[frame.path])
            files = tuple(file for part in parts for file in part.files)
            notes = dict.fromkeys(note for part in parts for note in part.notes)
            yield replace(frame, files=files, notes=tuple(notes))
        elif frame.path not in moved:
            yield frame


def _is_whole(copy: Frame, original: Frame) -> bool:
    """All pictures of the copy may be the original's: no raw goes with the copy of a JPEG."""
    sizes = {(file.file.size, file.fingerprint) for file in original.files}
    pictures = [file for file in copy.files if file.role in PICTURE_ROLES]
    return all((file.file.size, file.fingerprint) in sizes for file in pictures)


def _alike(frames: Iterable[Frame]) -> Iterator[tuple[ReadFile, ReadFile]]:
    """Pairs of pictures of equal size and first bytes, the camera's own name first."""
    found: dict[tuple[int, int], list[ReadFile]] = {}
    for frame in frames:
        for file in frame.files:
            if file.fingerprint and file.role in PICTURE_ROLES:
                found.setdefault((file.file.size, file.fingerprint), []).append(file)
    for files in found.values():
        if len(files) > 1:
            yield from _named_otherwise(sorted(files, key=_by_name))


def _by_name(file: ReadFile) -> tuple[bool, int, str]:
    stem = file.file.stem
    return names.number(stem) is None, len(stem), file.path


def _named_otherwise(files: list[ReadFile]) -> Iterator[tuple[ReadFile, ReadFile]]:
    """Each file beside the first one before it of which its name may be a copy's."""
    for place, file in enumerate(files):
        for other in files[:place]:
            if _may_be_copy(other.file.stem.casefold(), file.file.stem.casefold()):
                yield other, file


def _may_be_copy(one: str, other: str) -> bool:
    """Equal names are told apart by other rooms; two numbers of one row of names are two presses."""
    row, another = _ROW.fullmatch(one), _ROW.fullmatch(other)
    return one != other and not (row and another and row[1] == another[1])


def _equal(
    card: Card, pairs: Iterable[tuple[ReadFile, ReadFile]]
) -> Iterator[tuple[ReadFile, ReadFile]]:
    done: set[str] = set()
    for one, other in pairs:
        if other.path not in done and _same_bytes(card, one.path, other.path):
            done.add(other.path)
            yield one, other


def _same_bytes(card: Card, one: str, other: str) -> bool:
    """Both files hold the same, read side by side; False too where one of them cannot be read."""
    try:
        with card.stream(one) as first, card.stream(other) as second:
            blocks = zip(first.blocks(), second.blocks(), strict=True)
            return all(bytes(a) == bytes(b) for a, b in blocks)
    except (OSError, ValueError):  # a file that ends early has fewer blocks
        return False
