"""What is noted of files that could not be carried. Pure."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from sorter.model.note import NotCarried, Note
from sorter.model.plan import Entry, State

DIFFERS: Final = "its copy came out different, twice: the disk of the shoot may be failing"


def failed(entry: Entry, reason: str) -> Entry:
    """The entry of a file that could not be carried, with the reason among what is said of it."""
    notes = (*without_failures(entry.placement.carrying_notes), NotCarried(reason=reason))
    row = replace(entry.row, sha256="")
    placement = replace(entry.placement, row=row, carrying_notes=notes)
    return replace(entry, placement=placement, state=State.FAILED)


def without_failures(notes: tuple[Note, ...]) -> tuple[Note, ...]:
    """What is said of a file without the reasons why it could not be carried before."""
    return tuple(one for one in notes if not isinstance(one, NotCarried))
