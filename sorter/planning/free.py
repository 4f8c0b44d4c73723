"""Names that nothing in a shoot has, for folders and for the files of one frame. Pure."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final, TypeVar

from sorter.model.folders import SHARED
from sorter.model.note import Renamed, WhyRenamed
from sorter.planning import names
from sorter.planning.pattern import Pattern

RESERVED: Final = SHARED | {"report", "checks.csv", ".sorter", "manifest.csv", "sha256sums"}
"""Names at the top of a shoot that no sequence's folder gets; folded."""

_Key = TypeVar("_Key", bound=Hashable)


@dataclass(frozen=True, slots=True, kw_only=True)
class Naming:
    """What the user asked for: the pattern of folder names, and the name that it may use."""

    pattern: Pattern
    name: str = ""


class Free:
    """The names that are free in a shoot; each that is given is free no more.

    taken: every path in the folder and in the ledger.
    """

    def __init__(self, taken: Iterable[str]) -> None:
        self._taken = {names.same(path) for path in taken}
        self._tops = {path.partition("/")[0] for path in self._taken} | RESERVED

    def folder(self, wanted: str) -> str:
        """The folder of this name, or the first with a number that nothing has."""
        free = next(each for each in numbered(wanted) if names.same(each) not in self._tops)
        self._tops.add(names.same(free))
        return free

    def named(
        self,
        own: Mapping[_Key, str],
        folder: str,
        number: int = 1,
        there: Mapping[_Key, str] | None = None,
    ) -> dict[_Key, str]:
        """A path in the folder for each name; one suffix for all, unless they clash among themselves.

        number: the first that is tried. there: where a file lies now, which it may keep.
        """
        lengths = names.stem_lengths(own.values())
        while True:
            given = {
                key: f"{folder}/{names.numbered(name, lengths[name], number)}"
                for key, name in own.items()
            }
            if len({names.same(path) for path in given.values()}) < len(given):
                return {
                    key: self.named({key: name}, folder, there=there)[key]
                    for key, name in own.items()
                }
            if all(self._is_free(path, (there or {}).get(key)) for key, path in given.items()):
                self._taken |= {names.same(path) for path in given.values()}
                return given
            number += 1

    def _is_free(self, path: str, there: str | None) -> bool:
        return path == there or names.same(path) not in self._taken


def own_name(source: str) -> str:
    """The name that a file has on the card, made legal."""
    return names.legal(source.rpartition("/")[2])


def naming_note(source: str, destination: str) -> Iterator[Renamed]:
    """What is to be said where a file has another name in the shoot than on the card."""
    own, given = source.rpartition("/")[2], destination.rpartition("/")[2]
    if given != own:
        yield Renamed(
            name=given, why=WhyRenamed.TAKEN if names.is_legal(own) else WhyRenamed.ILLEGAL
        )


def is_numbered(name: str, wanted: str) -> bool:
    """Whether the name is the wanted one, or that with a number behind it."""
    number = name.rpartition("_")[2]
    given = names.numbered(wanted, len(wanted), int(number)) if _is_number(number) else wanted
    return names.same(name) in (names.same(wanted), names.same(given))


def _is_number(text: str) -> bool:
    return text.isascii() and text.isdecimal()


def numbered(name: str) -> Iterator[str]:
    """The name, then with `_2` and so on behind it."""
    number = 1
    while True:
        yield names.numbered(name, len(name), number)
        number += 1
