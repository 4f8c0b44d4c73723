"""How the folders of sequences are named, as the user gave it."""

from __future__ import annotations

from sorter.errors import BadPattern
from sorter.planning import pattern
from sorter.planning.free import Naming


def naming_of(folder: str, name: str) -> Naming:
    """How folders are named. folder: a pattern. Raises BadPattern."""
    try:
        parsed = pattern.parse(folder)
    except pattern.PatternFault as fault:
        raise BadPattern(
            f"--folder {folder!r}: {fault}. Write it like the default, {pattern.DEFAULT}"
        ) from fault
    return Naming(pattern=parsed, name=name)
