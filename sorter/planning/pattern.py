"""Folder names out of a pattern in Python's format syntax over the manifest's fields. Pure."""

from __future__ import annotations

import re
import string
from collections.abc import Mapping
from dataclasses import dataclass, fields
from enum import Enum
from typing import Final

from sorter.model.row import Row
from sorter.planning.names import STAND_IN, legal

DEFAULT: Final = "{sequence:04d}_{kind}_{frames}_{name}"
NAME: Final = "name"
MOST_BYTES: Final = 240
"""Of a folder's name: fewer than a name may have, for a number and .txt may come behind it."""
WIDEST: Final = 255
"""Signs that a field may be told to take; no name has more."""

_WHOLE: Final = frozenset({"frame", "sequence", "position", "frames", "planned", "bytes"})
_FIGURES: Final = frozenset(
    {"focal_length_mm", "f_number", "exposure_time_s", "iso", "exposure_bias_ev"}
    | {"focus_near_m", "focus_far_m"}
)
FIELDS: Final = (*(field.name for field in fields(Row)), NAME)

_LARGEST: Final = 2**63 - 1  # bytes of a file
_NOTHING: Final = "\0"
# An empty value takes the mark beside it along: the one before it, or at the start the one behind.
_BESIDE_NOTHING: Final = re.compile(r"^\0[\0_\- .]*|[_\- .]*\0+")


class PatternFault(ValueError):
    """The pattern cannot be filled in; the text says why, and what would do."""


@dataclass(frozen=True, slots=True)
class _Part:
    """Literal text, and behind it a field with its format; no field at the end."""

    literal: str
    field: str | None
    form: str
    conversion: str | None


@dataclass(frozen=True, slots=True)
class Pattern:
    """A pattern that was tried on every kind of value. Made by `parse`."""

    parts: tuple[_Part, ...]

    def filled(self, row: Row, name: str) -> str:
        """The folder name for a sequence, out of its first row; legal everywhere."""
        values = {field.name: getattr(row, field.name) for field in fields(Row)} | {NAME: name}
        return legal(_without_nothing(self._text(values)).strip(), MOST_BYTES)

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
        parsed = list(string.Formatter().parse(text))
    except ValueError as error:
        raise PatternFault(
            f"its braces do not match up ({error}); a brace itself is written twice"
        ) from error
    parts = tuple(
        _Part(literal, field, form or "", conversion) for literal, field, form, conversion in parsed
    )
    for part in parts:
        _check(part)
    return Pattern(parts)


def _check(part: _Part) -> None:
    if "/" in part.literal or "\\" in part.literal:
        raise PatternFault("it names one folder, so it holds no slash")
    if part.field is None:
        return
    _check_field(part.field)
    if "{" in part.form or part.conversion not in (None, "s"):
        raise PatternFault(f"the field {part.field} takes a plain format, such as :04d or :.1f")
    if any(_is_too_wide(width) for width in re.findall(r"\d+", part.form)):
        raise PatternFault(f"no field can be wider than {WIDEST} signs")
    try:
        _filled(part, _sample(part.field))
    except (ValueError, TypeError, OverflowError) as error:
        raise PatternFault(f"the field {part.field} cannot be written so: {error}") from error


def _check_field(field: str) -> None:
    if field in FIELDS:
        return
    if re.search(r"[.\[\]]", field):
        raise PatternFault(f"a field is named alone, without a dot or a bracket: not {field!r}")
    if not field or field.isdecimal():
        raise PatternFault("fields go by name, such as {sequence} or {kind}")
    raise PatternFault(f"there is no field {field!r}. There are: {', '.join(FIELDS)}")


def _is_too_wide(width: str) -> bool:
    # Python refuses to make a number of some thousand digits, with an error of its own.
    return len(width) > WIDEST or int(width) > WIDEST


def _sample(field: str) -> object:
    """A value of the field's type, to try a format on; as large as any, for not all take those."""
    if field in _WHOLE:
        return _LARGEST
    return 1.5 if field in _FIGURES else "a"


def _filled(part: _Part, value: object) -> str:
    if value is None or value == "":
        return _NOTHING
    if isinstance(value, Enum):
        value = str(value)
    if part.conversion == "s" or not part.form:
        value = _plain(value)
    # The form was checked on parsing; a text of the card is cut before it is filled in.
    return format(value[: 4 * WIDEST] if isinstance(value, str) else value, part.form).replace(
        _NOTHING, STAND_IN
    )


def _plain(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _without_nothing(text: str) -> str:
    return _BESIDE_NOTHING.sub("", text)
