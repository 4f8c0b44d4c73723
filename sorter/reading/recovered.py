"""Files in folders that systems make on a card: which of them are pictures or clips, by content.

What a repair brought back has lost its name and its place, so that it is no frame: it is told by what
it holds, and travels as it is. What was thrown away stays where it is, and is named.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final

from sorter.model.frame import ReadFile
from sorter.model.kinds import PICTURE_ROLES, Kind, Role

RECOVERED: Final = "recovered by a repair of the card"


def kept(files: Iterable[ReadFile]) -> Iterator[tuple[Kind, ReadFile]]:
    """What of the files in a repair's folders is the card's, each with its kind and a note.

    That is what is a picture, a clip or a sound by its content; what a name that was kept says to be
    one, or to belong to one; and what cannot be read: it may be a picture.
    """
    for file in files:
        if file.file.obstacle or _is_shown(file) or file.role is not Role.OTHER:
            yield _kind(file), replace(file, notes=(RECOVERED, *file.notes))


def left(files: Iterable[ReadFile]) -> tuple[str, ...]:
    """The paths of what is a picture, a clip or a sound by its content, or cannot be read; sorted.

    Links are none, nor what only has such a name: a trash keeps notes of its own under the names of
    what was thrown away.
    """
    return tuple(sorted(file.path for file in files if _is_shown(file) or _is_hidden(file)))


def _is_shown(file: ReadFile) -> bool:
    """Whether the content says that it is a picture, a clip or a sound."""
    return file.is_picture or bool(file.container)


def _is_hidden(file: ReadFile) -> bool:
    """Whether the system would not let us see what it holds."""
    return bool(file.file.obstacle) and file.file.plain


def _kind(file: ReadFile) -> Kind:
    is_unread = file.role in PICTURE_ROLES and not file.is_picture
    return Kind.UNREADABLE if is_unread or _is_hidden(file) else Kind.OTHER
