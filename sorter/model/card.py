"""What lies on a card before anything is read: files, and the system files that systems leave."""

from __future__ import annotations

from collections.abc import Iterable
from collections.abc import Set as AbstractSet
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class CardFile:
    """One file of the card as the folder tells it.

    path: below the card, with forward slashes, as the system gave it (undecodable bytes stay as
        surrogates). size: bytes. modified_ns: the file system's stamp, never used as capture time.
    changed_ns: its stamp of the last change to the file or what is noted of it; 0 where it has none.
    obstacle: why its content is not opened (a link, a device, no permission); empty for a plain
        file. plain: whether it is a file with content of its own, and no link, pipe or device.
    recovered: it lies in a folder that a repair of the card made; its name says nothing then.
    """

    path: str
    size: int
    modified_ns: int = 0
    changed_ns: int = 0
    obstacle: str = ""
    plain: bool = True
    recovered: bool = False

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

    system_files: how many files that systems leave were passed over, by their names. folders_closed: folders
    that the system would not let us list, or not to their end; "." is the root. thrown: all files in a
    trash; aside: all in other folders of systems, and in a `.sorter` that is no shoot's. shoots: folders
    that are shoots; what is in them is not listed.
    """

    files: tuple[CardFile, ...]
    system_files: int = 0
    folders_closed: tuple[str, ...] = ()
    thrown: tuple[CardFile, ...] = ()
    aside: tuple[CardFile, ...] = ()
    shoots: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """How a card differs from what it was: paths in their order; true where it does at all.

    new: files that were not there. changed: files of another size, time or kind. vanished: files of the
    card that are not there any more. closed: folders that can no longer be listed. thrown: those of the
    new that lie in a trash.
    """

    new: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    vanished: tuple[str, ...] = ()
    closed: tuple[str, ...] = ()
    thrown: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return any((self.new, self.changed, self.vanished, self.closed))


def differences(before: Listing, after: Listing, gone: AbstractSet[str]) -> Drift:
    """How the card differs between two listings of it.

    gone: what was taken off it on purpose. Systems write in their own folders all the time, and an
    owner may empty a trash: neither counts.
    """
    old = {file.path: file for file in (*before.files, *before.thrown)}
    now = {file.path: file for file in (*after.files, *after.thrown)}
    new = now.keys() - old.keys()
    return Drift(
        new=_sorted(new),
        changed=_sorted(
            path for path, file in now.items() if path in old and _is_other(file, old[path])
        ),
        vanished=_sorted({file.path for file in before.files} - now.keys() - gone),
        closed=_sorted(set(after.folders_closed) - set(before.folders_closed)),
        thrown=_sorted(file.path for file in after.thrown if file.path in new),
    )


def _sorted(paths: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted(paths))


def _is_other(one: CardFile, other: CardFile) -> bool:
    """Whether it is another file, or was changed; who may read it does not count."""
    return _known(one) != _known(other)


def _known(file: CardFile) -> tuple[int, int, int, str, bool]:
    return file.size, file.modified_ns, file.changed_ns, file.obstacle, file.plain
