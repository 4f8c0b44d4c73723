"""Texts with fields to be filled in: Python's format syntax over the manifest's columns. Pure.

A field goes by its name alone: no attributes, no items, no fields within a format.
"""

from __future__ import annotations

import re
import string
from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum
from typing import Final

WIDEST: Final = 255
"""Signs that a field may be told to take; no name has more."""

_WHOLE: Final = frozenset({"frame", "sequence", "position", "frames", "planned", "bytes"})
_FIGURES: Final = frozenset(
    {"focal_length_mm", "f_number", "exposure_time_s", "iso", "exposure_bias_ev"}
    | {"focus_near_m", "focus_far_m"}
)
_LARGEST: Final = 2**63 - 1  # bytes of a file


class FieldFault(ValueError):
    """The text cannot be filled in; its own text says why, and what would do."""


@dataclass(frozen=True, slots=True)
class FieldPart:
    """Literal text, and behind it a field with its format; no field at the end."""

    literal: str
    field: str | None
    form: str
    conversion: str | None

    def filled(self, value: object) -> str:
        """The field's value in its format; empty where there is none. Of a long text its beginning."""
        if value is None or value == "":
            return ""
        if isinstance(value, Enum):
            value = str(value)
        if self.conversion == "s" or not self.form:
            value = _plain(value)
        return format(value[: 4 * WIDEST] if isinstance(value, str) else value, self.form)


def parts_of(text: str, known: Iterable[str], example: str) -> tuple[FieldPart, ...]:
    """The text's parts, each tried on every kind of value. known: the fields that there are.

    example: what is shown to someone who names none. Raises FieldFault.
    """
    try:
        parsed = list(string.Formatter().parse(text))
    except ValueError as error:
        raise FieldFault(
            f"its braces do not match up ({error}); a brace itself is written twice"
        ) from error
    parts = tuple(
        FieldPart(literal, field, form or "", conversion)
        for literal, field, form, conversion in parsed
    )
    for part in parts:
        if part.field is not None:
            _check(part, part.field, tuple(known), example)
    return parts


def _check(part: FieldPart, field: str, known: tuple[str, ...], example: str) -> None:
    _check_field(field, known, example)
    if "{" in part.form or part.conversion not in (None, "s"):
        raise FieldFault(f"the field {field} takes a plain format, such as :04d or :.1f")
    if any(_is_too_wide(width) for width in re.findall(r"\d+", part.form)):
        raise FieldFault(f"no field can be wider than {WIDEST} signs")
    try:
        part.filled(_sample(field))
    except (ValueError, TypeError, OverflowError) as error:
        raise FieldFault(f"the field {field} cannot be written so: {error}") from error


def _check_field(field: str, known: tuple[str, ...], example: str) -> None:
    if field in known:
        return
    if re.search(r"[.\[\]]", field):
        raise FieldFault(f"a field is named alone, without a dot or a bracket: not {field!r}")
    if not field or field.isdecimal():
        raise FieldFault(f"fields go by name, such as {example}")
    raise FieldFault(f"there is no field {field!r}. There are: {', '.join(known)}")


def _is_too_wide(width: str) -> bool:
    # Python refuses to make a number of some thousand digits, with an error of its own.
    return len(width) > WIDEST or int(width) > WIDEST


def _sample(field: str) -> object:
    """A value of the field's type, to try a format on; as large as any, for not all take those."""
    if field in _WHOLE:
        return _LARGEST
    return 1.5 if field in _FIGURES else "a"


def _plain(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)
