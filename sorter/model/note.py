"""What is to be said of a file beside the manifest's columns: facts, and the words for them when shown."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

from sorter.model.relation_kind import RelationKind

BETWEEN = "; "
"""Stands between notes in one cell, and therefore never within one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Related:
    """The file's sequence stands so to the sequence with this number."""

    what: RelationKind
    sequence: int

    def __str__(self) -> str:
        return self.what.text(self.sequence)


class WhyRenamed(StrEnum):
    """Why a file has another name in the shoot than on its card; the value is the wording.

    TAKEN: another file has that name. ILLEGAL: Linux, macOS or Windows does not take it. CAME: a
    file came to be there while this one was carried.
    """

    TAKEN = "another file has its name"
    ILLEGAL = "its own name is not legal everywhere"
    CAME = "another file came in between"


@dataclass(frozen=True, slots=True, kw_only=True)
class Renamed:
    """The file has this name in the shoot."""

    name: str
    why: WhyRenamed

    def __str__(self) -> str:
        return f"named {self.name} here: {self.why}"


@dataclass(frozen=True, slots=True, kw_only=True)
class NotCarried:
    """The file could not be carried. reason: what the system, or a comparison, has against it."""

    reason: str

    def __str__(self) -> str:
        return f"not carried: {self.reason}"


Note: TypeAlias = str | Related | Renamed | NotCarried
"""One thing that is said of a file. Text is shown as it is; a Damage is one too."""


def texts(notes: Iterable[Note]) -> tuple[str, ...]:
    """The notes in words, each once, in their order; none has a `;` in it."""
    known = (str(note).replace(";", ",").strip() for note in notes)
    return tuple(dict.fromkeys(note for note in known if note))


def joined(notes: Iterable[Note]) -> str:
    """The notes as one cell."""
    return BETWEEN.join(texts(notes))


def related(notes: Iterable[Note], *what: RelationKind) -> tuple[int, ...]:
    """The sequences to which the notes say that one stands so."""
    return tuple(n.sequence for n in notes if isinstance(n, Related) and n.what in what)
