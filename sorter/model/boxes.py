"""Boxes in a picture, in shares of its sides."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final, TypeAlias

Box: TypeAlias = tuple[float, float, float, float]
"""Left, top, width and height, in shares of the picture."""
MARGIN: Final = 0.01
"""Of the picture, about a box: what moved is a little larger than what was seen to."""


def joined(boxes: Iterable[Box]) -> tuple[Box, ...]:
    """Boxes that do not touch, which hold all of these and MARGIN about each."""
    left = [
        (
            max(0.0, x - MARGIN),
            max(0.0, y - MARGIN),
            min(1.0, x + w + MARGIN),
            min(1.0, y + h + MARGIN),
        )
        for x, y, w, h in boxes
    ]
    found: list[tuple[float, float, float, float]] = []
    while left:
        box = left.pop()
        near = [each for each in (*left, *found) if _touch(box, each)]
        if not near:
            found.append(box)
            continue
        left = [each for each in left if each not in near]
        found = [each for each in found if each not in near]
        all_of_them = list(zip(*(box, *near), strict=True))
        left.append(
            (min(all_of_them[0]), min(all_of_them[1]), max(all_of_them[2]), max(all_of_them[3]))
        )
    return tuple(sorted((x, y, right - x, bottom - y) for x, y, right, bottom in found))


def _touch(one: Box, other: Box) -> bool:
    return one[0] <= other[2] and other[0] <= one[2] and one[1] <= other[3] and other[1] <= one[3]
