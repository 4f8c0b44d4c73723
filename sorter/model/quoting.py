"""What a file or a user said, quoted in a sentence: as Python writes it, and never long."""

from __future__ import annotations

from typing import Final

MOST: Final = 300
"""Characters of what is quoted; the paths of cards have fewer."""


def quoted(value: object) -> str:
    """The value as Python writes it, its middle left out where it is long.

    What Python does not write, as whole numbers of thousands of digits, is named by its type.
    """
    if isinstance(value, str):
        return repr(shortened(value))
    try:
        return shortened(repr(value))
    except (ValueError, RecursionError):
        return f"this {type(value).__name__}"


def shortened(text: str) -> str:
    """The text, with its middle left out where it is long."""
    half = MOST // 2
    return text if len(text) <= MOST else f"{text[:half]} … {text[-half:]}"
