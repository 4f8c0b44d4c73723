"""What a user said about sequences, held against the card: stretches of its timelines."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from operator import attrgetter
from typing import Final

from sorter.grouping import results
from sorter.grouping.timeline import Timeline
from sorter.model.correction import Correction
from sorter.model.frame import Reading
from sorter.model.quoting import quoted
from sorter.model.stretches import (
    WRITE_THE_PATH,
    Spot,
    Stretch,
    is_merged,
    is_no_frame,
    stretches,
)

# Bytes that are no UTF-8 as the manifest spells them.
_SPELLED: Final = re.compile(r"\\x([89a-f][0-9a-f])")


def stretches_of(
    asked: Iterable[Correction], lines: tuple[Timeline, ...], reading: Reading
) -> tuple[tuple[Stretch, ...], ...]:
    """For each timeline the stretches that the corrections make of it, in order of capture.

    Raises Misfit for the first correction that does not fit: as `stretches`, and for a path that is not
    on the card, is no frame or was merged by the camera.
    """
    found: list[list[Stretch]] = [[] for _ in lines]
    for each in stretches(asked, _Places(lines, reading).spot):
        found[each.body].append(each)
    return tuple(tuple(sorted(each, key=attrgetter("start"))) for each in found)


class _Places:
    """Where each file of a card lies, by its path."""

    def __init__(self, lines: tuple[Timeline, ...], reading: Reading) -> None:
        self._spots = dict(_spots(lines))
        self._loose = {file.path: kind for kind, file in reading.loose}
        self._merged = {
            file.path
            for frame in reading.frames
            if results.is_marked(frame)
            for file in frame.files
        }

    def spot(self, path: str) -> Spot | str:
        """Where the file's frame lies, or why it is none of a timeline."""
        for way in (path, _unspelled(path)):
            if way in self._spots:
                return self._spots[way]
            if way in self._merged:
                return is_merged(path)
            if way in self._loose:
                return is_no_frame(path, self._loose[way], "Name a picture whose time can be read.")
        return f"no file of this card is {quoted(path)}. {WRITE_THE_PATH}"


def _spots(lines: tuple[Timeline, ...]) -> Iterator[tuple[str, Spot]]:
    for body, line in enumerate(lines):
        for place, frame in enumerate(results.shots(line)):
            for file in frame.files:
                yield file.path, Spot(body=body, place=place)


def _unspelled(path: str) -> str:
    return _SPELLED.sub(lambda match: chr(ord("\udc00") + int(match[1], 16)), path)
