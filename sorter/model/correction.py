"""What a user says about the sequences of a card, against what the sorter made of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

USER_SAID: Final = "the corrections file says"
PICTURES_SHOW: Final = "the pictures show it"
"""Words for the grounds of sequences that were made so; who it was is told by Who."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """The frames from first to last (source paths of one body) are one sequence.

    last: the same as first for one frame. kind: one of SEQUENCE_KINDS. kind, name: empty where the
    sorter's own account stands. line: where it stands in its file. why: what the pictures show, where
    it was not the user who said it.
    """

    first: str
    last: str
    kind: str = ""
    name: str = ""
    line: int = field(default=0, compare=False)
    why: str = field(default="", compare=False)
