"""A stack as a text of paths, one a line. Pure."""

from __future__ import annotations

from typing import Final

from sorter.errors import BadChoice
from sorter.model.stack import Stack

_LINE_ENDS: Final = ("\n", "\r")


def list_text(shoot: str, stack: Stack) -> str:
    """The absolute paths of the slices in their order. shoot: its own absolute path."""
    return "".join(f"{shoot}/{each.row.destination}\n" for each in stack.slices)


def cannot_be_listed(path: str) -> str:
    """What of the path no line of a UTF-8 text can say, as the end of a sentence; empty: nothing."""
    if any(end in path for end in _LINE_ENDS):
        return "has a line break in its name"
    try:
        path.encode()
    except UnicodeEncodeError:
        return "has bytes in its name that are no UTF-8"
    return ""


def refuse_shoot(shoot: str) -> None:
    """Returns where paths below the shoot can be put in a list. Raises BadChoice where not."""
    if reason := cannot_be_listed(shoot):
        raise BadChoice(
            f"{shoot} {reason}, and cannot be put in a list. Rename it, or use --folders."
        )
