"""Folder names out of a pattern in Python's format syntax over the manifest's fields. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from sorter.model.fields import FieldFault, FieldPart, parts_of
from sorter.model.row import COLUMNS, Row
from sorter.planning.names import STAND_IN, legal

DEFAULT: Final = "{sequence:04d}_{kind}_{frames}_{name}"
NAME: Final = "name"
MOST_BYTES: Final = 240
"""Of a folder's name: fewer than a name may have, for a number and .txt may come behind it."""
FIELDS: Final = (*COLUMNS, NAME)

_NOTHING: Final = "\0"
_PROBE: Final = "a-name-that-no-one-gives"
# An empty value takes the mark beside it along: the one before it, or at the start the one behind.
_BESIDE_NOTHING: Final = re.compile(r"^\0[\0_\- .]*|[_\- .]*\0+")


class PatternFault(ValueError):
    """The pattern cannot be filled in; the text says why, and what would do."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """A pattern that was tried on every kind of value. Made by `parse`."""

    parts: tuple[FieldPart, ...]

    def filled(self, row: Row, name: str) -> str:
        """The folder name for a sequence, out of its first row; legal everywhere."""
        values = {each: getattr(row, each) for each in COLUMNS} | {NAME: name}
        return legal(_without_nothing(self._text(values)).strip(), MOST_BYTES)

    def name_in(self, folder: str, row: Row) -> str:
        """The name that gives the sequence this folder; empty where none does.

        A number alone stands there because another folder had the name.
        """
        before, _, behind = self.filled(row, _PROBE).partition(_PROBE)
        name = folder.removeprefix(before).removesuffix(behind) if before or behind else folder
        is_name = not name.isdecimal() and self.filled(row, name) == folder
        return name if is_name and self.filled(row, "") != folder else ""

    def _text(self, values: Mapping[str, object]) -> str:
        return "".join(
            part.literal + ("" if part.field is None else _filled(part, values[part.field]))
            for part in self.parts
        )


def parse(text: str) -> Pattern:
    """The pattern; raises PatternFault where it could not be filled in for some sequence."""
    if not text.strip():
        raise PatternFault("it is empty")
    try:
        parts = parts_of(text, FIELDS, "{sequence} or {kind}")
    except FieldFault as fault:
        raise PatternFault(str(fault)) from fault
    if any("/" in part.literal or "\\" in part.literal for part in parts):
        raise PatternFault("it names one folder, so it holds no slash")
    return Pattern(parts)


def _filled(part: FieldPart, value: object) -> str:
    """The value in its format; a mark of its own where there is none."""
    if value is None or value == "":
        return _NOTHING
    return part.filled(value).replace(_NOTHING, STAND_IN)


def _without_nothing(text: str) -> str:
    return _BESIDE_NOTHING.sub("", text)
