"""One pass over a card's folders, which tells every file by whose folder it lies in.

Systems make folders of their own on a card. What a repair of its file system brought back is the
card's; a trash holds what its owner threw away; the rest is the system's.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum, auto
from typing import Final, TypeAlias

from sorter.disk.shoot import HIDDEN
from sorter.disk.shoots import is_shoot
from sorter.model.card import CardFile, Listing

ROOT: Final = "."
"""How the root is named among folders that cannot be listed."""

_SYSTEM_FILES: Final = frozenset({".ds_store", "thumbs.db", "desktop.ini"})
_REPAIRS: Final = re.compile(r"lost\+found|found\.\d{3}", re.IGNORECASE)
# .Trash and .Trash-nnn: FreeDesktop's trash specification, 1.0. The others: common practice, no source.
_TRASHES: Final = re.compile(r"\.trashes|\.trash(-.*)?|\$recycle\.bin", re.IGNORECASE)
_OWN: Final = re.compile(
    r"\.spotlight-v100|\.fseventsd|\.temporaryitems|system volume information", re.IGNORECASE
)
# Names that people give to folders too; a trash has one of these in it (common practice, no source).
_OLD_TRASHES: Final = re.compile(r"recycle[rd]", re.IGNORECASE)
_IN_OLD_TRASHES: Final = re.compile(r"info2?|desktop\.ini|s-1-[\d-]+", re.IGNORECASE)

_OBSTACLES: Final = {
    stat.S_IFLNK: "a link: not followed",
    stat.S_IFIFO: "a pipe: not opened",
    stat.S_IFSOCK: "a socket: not opened",
    stat.S_IFBLK: "a device: not opened",
    stat.S_IFCHR: "a device: not opened",
}
_LOOP: Final = "a folder that it lies in itself: not followed"

_Identity: TypeAlias = tuple[int, int]


class FolderOwner(Enum):
    """Whose a folder is. CARD: the card's. REPAIR: made by a repair of it. SYSTEM: a system's own."""

    CARD = auto()
    REPAIR = auto()
    TRASH = auto()
    SYSTEM = auto()

    @property
    def is_cards(self) -> bool:
        """Whether what lies there is a file of the card."""
        return self in (FolderOwner.CARD, FolderOwner.REPAIR)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Folder:
    """A folder to look into. above: the folders that it lies in."""

    path: str = ""
    place: FolderOwner = FolderOwner.CARD
    above: tuple[_Identity, ...] = ()


class Walk:
    """The pass, made when it is begun; nothing that a disk does ends it.

    is_barred: a folder is closed in which files of the card may lie.
    """

    def __init__(self, root: str) -> None:
        self._root = root
        self._files: list[CardFile] = []
        self._thrown: list[CardFile] = []
        self._aside: list[CardFile] = []
        self._system_files = 0
        self._closed: list[str] = []
        self._shoots: list[str] = []
        self.is_barred = False
        folders = [_Folder()]
        while folders:
            folders.extend(self._below(folders.pop()))

    def listing(self) -> Listing:
        """What was found, in the order of the paths."""
        return Listing(
            files=_in_order(self._files),
            system_files=self._system_files,
            folders_closed=tuple(sorted(self._closed)),
            thrown=_in_order(self._thrown),
            aside=_in_order(self._aside),
            shoots=tuple(sorted(self._shoots)),
        )

    def _below(self, folder: _Folder) -> Iterator[_Folder]:
        """The folders in this one; its files are taken in."""
        where = f"{self._root}/{folder.path}" if folder.path else self._root
        own = _identity(where)
        if own in folder.above:
            loop = CardFile(path=folder.path, size=0, obstacle=_LOOP, plain=False)
            self._take(loop, folder.place)
            return
        entries, closed = _entries(where)
        if folder.path and folder.place.is_cards and _is_shoot(where, entries, closed=closed):
            self._shoots.append(folder.path)
            return
        if closed:
            self._closed.append(folder.path or ROOT)
            self.is_barred |= folder.place.is_cards
        above = (*folder.above, own) if own else folder.above
        for entry in entries:
            path = f"{folder.path}/{entry.name}" if folder.path else entry.name
            if self._is_folder(entry, path, folder.place):
                yield _Folder(path=path, place=_place(entry, folder.place), above=above)

    def _is_folder(self, entry: os.DirEntry[str], path: str, place: FolderOwner) -> bool:
        """Whether it is a folder; whatever else it is, is taken in.

        A file system that tells no types in its listings is asked for each, and may fail.
        """
        try:
            if entry.is_dir(follow_symlinks=False):
                return True
        except OSError as error:
            self._take(_unseen(path, error, place), place)
            return False
        if is_system_file_name(entry.name):
            self._system_files += 1
        else:
            self._take(_card_file(entry, path, place), place)
        return False

    def _take(self, file: CardFile, place: FolderOwner) -> None:
        taken = {FolderOwner.TRASH: self._thrown, FolderOwner.SYSTEM: self._aside}
        taken.get(place, self._files).append(file)


def is_system_file(path: str) -> bool:
    """Whether a path, with forward slashes, is system files that a system left, or lies in such."""
    *folders, name = path.split("/")
    kinds = (_REPAIRS, _TRASHES, _OWN)
    return is_system_file_name(name) or any(
        kind.fullmatch(folder) for folder in folders for kind in kinds
    )


def is_system_file_name(name: str) -> bool:
    """Whether systems leave files of this name anywhere."""
    return name.startswith("._") or name.lower() in _SYSTEM_FILES


def _in_order(files: list[CardFile]) -> tuple[CardFile, ...]:
    return tuple(sorted(files, key=lambda file: file.path))


def _identity(where: str) -> _Identity | None:
    """What tells a folder from all others; None where the system does not say."""
    try:
        status = os.stat(where)
    except OSError:
        return None
    return (status.st_dev, status.st_ino) if status.st_ino else None


def _entries(where: str) -> tuple[list[os.DirEntry[str]], bool]:
    """What the system lists of a folder, and whether it refused to, or stopped in the middle."""
    found: list[os.DirEntry[str]] = []
    try:
        with os.scandir(where) as entries:
            found.extend(entries)
    except OSError:
        return found, True
    return found, False


def _is_shoot(where: str, entries: list[os.DirEntry[str]], *, closed: bool) -> bool:
    """Whether it is one; looked for only where it can be: that is a call to the card or two."""
    return (closed or any(entry.name == HIDDEN for entry in entries)) and is_shoot(where)


def _place(entry: os.DirEntry[str], around: FolderOwner) -> FolderOwner:
    """Whose a folder is by its name, and by the one that it lies in."""
    if not around.is_cards:
        return around
    if _TRASHES.fullmatch(entry.name) or _is_old_trash(entry):
        return FolderOwner.TRASH
    if _OWN.fullmatch(entry.name) or entry.name == HIDDEN:  # which is no shoot's, or cannot be read
        return FolderOwner.SYSTEM
    return FolderOwner.REPAIR if _REPAIRS.fullmatch(entry.name) else around


def _is_old_trash(entry: os.DirEntry[str]) -> bool:
    if not _OLD_TRASHES.fullmatch(entry.name):
        return False
    return any(_IN_OLD_TRASHES.fullmatch(each.name) for each in _entries(entry.path)[0])


def _card_file(entry: os.DirEntry[str], path: str, place: FolderOwner) -> CardFile:
    try:
        status = entry.stat(follow_symlinks=False)
    except OSError as error:
        return _unseen(path, error, place)
    return CardFile(
        path=path,
        size=status.st_size,
        modified_ns=status.st_mtime_ns,
        changed_ns=status.st_ctime_ns,
        obstacle=_OBSTACLES.get(stat.S_IFMT(status.st_mode), ""),
        plain=stat.S_ISREG(status.st_mode),
        recovered=place is FolderOwner.REPAIR,
    )


def _unseen(path: str, error: OSError, place: FolderOwner) -> CardFile:
    """A file of which the system says nothing: it may be a picture."""
    return CardFile(
        path=path,
        size=0,
        obstacle=f"cannot be read: {error.strerror or error}",
        recovered=place is FolderOwner.REPAIR,
    )
