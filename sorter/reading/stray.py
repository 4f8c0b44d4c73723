"""Texts that stand where a camera has no name and no number to write."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

_NOTHING: Final = frozenset(
    {"none", "n/a", "na", "no lens", "unknown", "unknown lens", "undefined", "null"}
)
_EMPTY_LENS: Final = "mf/0123456789.,*-_? "
"""What is left of a lens's name of zeros or dashes: units, signs, and no figure above zero."""
_ABOVE_ZERO: Final = frozenset("123456789")
_EMPTY_SERIAL: Final = "0 "


def lens(name: str) -> str:
    """The lens's name; empty where the text only says that there is none.

    Bodies write "----", "None", "N/A" or "0.0 mm f/0.0" for lenses that tell them nothing (seen in
    real files, or from general-purpose metadata libraries' tag tables).
    """
    lowered = name.lower().strip()
    if lowered in _NOTHING:
        return ""
    if not lowered.strip(_EMPTY_LENS) and _ABOVE_ZERO.isdisjoint(lowered):
        return ""
    return name


@lru_cache(maxsize=64)
def serial(number: str) -> str:
    """The body's number; empty where it is nothing but zeros or signs, or a word for nothing."""
    known = any(letter.isalnum() for letter in number.strip(_EMPTY_SERIAL))
    return number if known and number.lower() not in _NOTHING else ""
