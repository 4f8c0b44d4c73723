"""What lies on a card before anything is read: files, and the litter that systems leave."""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class CardFile:
    """One file of the card as the folder tells it.

    path: below the card, with forward slashes, as the system gave it (undecodable bytes stay as
        surrogates). size: bytes. modified_ns: the file system's stamp, never used as capture time.
    obstacle: why its content is not opened (a link, a device, no permission); empty for a plain
        file. plain: whether it is a file with content of its own, and no link, pipe or device.
    """

    path: str
    size: int
    modified_ns: int = 0
    obstacle: str = ""
    plain: bool = True

    @property
    def name(self) -> str:
        """The last part of the path."""
        return self.path.rpartition("/")[2]

    @property
    def folder(self) -> str:
        """The path without its last part; empty at the card's root."""
        return self.path.rpartition("/")[0]

    @property
    def stem(self) -> str:
        """The name up to its last dot; a leading dot belongs to the stem."""
        name = self.name
        dot = name.rfind(".")
        return name if dot <= 0 else name[:dot]

    @property
    def extension(self) -> str:
        """What follows the last dot, in lower case; empty where there is none."""
        name = self.name
        dot = name.rfind(".")
        return "" if dot <= 0 else name[dot + 1 :].lower()


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """All files of a card in the order of their paths, and what was passed over.

    litter: how many entries of system litter were passed over; files within a litter folder count
        one by one. folders_closed: folders that the system would not let us list.
    """

    files: tuple[CardFile, ...]
    litter: int = 0
    folders_closed: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """TEMPORARY until the listing branch lands."""

    new: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    vanished: tuple[str, ...] = ()
    closed: tuple[str, ...] = ()
    thrown: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return any((self.new, self.changed, self.vanished, self.closed, self.thrown))


def differences(before: Listing, after: Listing, gone: AbstractSet[str]) -> Drift:
    one = {file.path: file for file in before.files}
    two = {file.path: file for file in after.files}
    return Drift(
        new=tuple(sorted(two.keys() - one.keys())),
        changed=tuple(sorted(p for p in one.keys() & two.keys() if one[p] != two[p])),
        vanished=tuple(sorted(one.keys() - two.keys() - gone)),
        closed=tuple(sorted(set(after.folders_closed) - set(before.folders_closed))),
    )
