"""What the reading of one file may cost at most, whatever its bytes say."""

from __future__ import annotations

from typing import Final

MOST_STEPS: Final = 8192
"""Entries, boxes, segments, chunks and items of one file. Of some 900 sample pictures the richest
sound one takes 182, the worst of the damaged ones 835; pictures of many tiles list thousands."""
MOST_HANDED: Final = 1 << 20
"""Bytes of long values handed out of one file, the same ones counted again each time."""


class Allowance:
    """The steps and the bytes that one file's reader has left; every source has one of its own.

    A bound for each list and each value is not enough: small ones within small ones add up. steps:
    what a walk takes one of for each thing that it meets. handed: bytes of long values. Both are
    taken from by whoever walks, and below zero the walk ends where it is: what it found is kept.
    """

    __slots__ = ("handed", "steps")

    def __init__(self, steps: int = MOST_STEPS, handed: int = MOST_HANDED) -> None:
        self.steps = steps
        self.handed = handed

    @property
    def spent(self) -> bool:
        """Whether something was asked for that was no longer given."""
        return self.steps < 0 or self.handed < 0

    def take(self, wanted: int) -> int:
        """So many steps, or as many as are left."""
        left = self.steps
        self.steps = left - wanted
        return wanted if wanted <= left else max(left, 0)

    def hand(self, length: int) -> bool:
        """Whether so many bytes of a long value may still be handed out."""
        self.handed -= length
        return self.handed >= 0
