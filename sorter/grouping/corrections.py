"""What a user said about sequences, held against the card: stretches of its timelines."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from sorter.grouping import results
from sorter.grouping.timeline import Timeline
from sorter.model.correction import Correction
from sorter.model.frame import Reading
from sorter.model.kinds import Kind

# Bytes that are no UTF-8 as the manifest spells them.
_SPELLED: Final = re.compile(r"\\x([89a-f][0-9a-f])")


class Misfit(ValueError):
    """A correction that does not fit the card. line: where it stands in its file."""

    def __init__(self, correction: Correction, what: str) -> None:
        super().__init__(what)
        self.line = correction.line


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """What one correction says of a timeline's shots, start to stop (behind the last).

    kind: None where it leaves the kind open. why: what the pictures show, empty where it is the
    user's own word.
    """

    start: int
    stop: int
    kind: Kind | None
    name: str
    why: str = ""

    def meets(self, start: int, stop: int) -> bool:
        """Whether it has a frame in common with the shots from start to stop."""
        return self.start < stop and start < self.stop


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spot:
    """Where a file's frame lies: on which timeline, and as which of its shots."""

    line: int
    shot: int


def stretches(
    asked: Iterable[Correction], lines: tuple[Timeline, ...], reading: Reading
) -> tuple[tuple[Stretch, ...], ...]:
    """For each timeline the stretches that the corrections make of it, in order of capture.

    Raises Misfit for the first correction that does not fit: a path that is not on the card, is no
    frame or was merged by the camera; two bodies; the wrong order; a single of several frames;
    frames that an earlier correction has already.
    """
    places = _Places(lines, reading)
    found: list[list[tuple[Stretch, Correction]]] = [[] for _ in lines]
    for correction in asked:
        line, stretch = _stretch(correction, places)
        for other, earlier in found[line]:
            if other.meets(stretch.start, stretch.stop):
                raise Misfit(correction, _overlap(earlier))
        found[line].append((stretch, correction))
    return tuple(
        tuple(sorted((stretch for stretch, _ in each), key=lambda stretch: stretch.start))
        for each in found
    )


def _stretch(correction: Correction, places: _Places) -> tuple[int, Stretch]:
    first = places.spot(correction, correction.first)
    last = places.spot(correction, correction.last or correction.first)
    count = last.shot - first.shot + 1
    kind = Kind(correction.kind) if correction.kind else None
    if first.line != last.line:
        raise Misfit(correction, _two_bodies(correction))
    if count < 1:
        raise Misfit(correction, _backwards(correction))
    if kind is Kind.SINGLE and count > 1:
        raise Misfit(correction, _no_single(count))
    stretch = Stretch(
        start=first.shot,
        stop=last.shot + 1,
        kind=kind,
        name=correction.name,
        why=correction.why,
    )
    return first.line, stretch


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

    def spot(self, correction: Correction, path: str) -> _Spot:
        """Where the file's frame lies. Raises Misfit where it is no frame of a timeline."""
        for way in (path, _unspelled(path)):
            if way in self._spots:
                return self._spots[way]
            if way in self._merged:
                raise Misfit(correction, _is_merged(path))
            if way in self._loose:
                raise Misfit(correction, _is_loose(path, self._loose[way]))
        raise Misfit(correction, _is_strange(path))


def _spots(lines: tuple[Timeline, ...]) -> Iterator[tuple[str, _Spot]]:
    for number, line in enumerate(lines):
        for index, frame in enumerate(results.shots(line)):
            for file in frame.files:
                yield file.path, _Spot(line=number, shot=index)


def _unspelled(path: str) -> str:
    return _SPELLED.sub(lambda match: chr(ord("\udc00") + int(match[1], 16)), path)


def _is_strange(path: str) -> str:
    return (
        f"no file of this card is {path!r}. Write the path below the card, with forward slashes, "
        "as the manifest's column source has it."
    )


def _is_loose(path: str, kind: Kind) -> str:
    return f"{path!r} is no frame ({kind}). Name a picture whose time can be read."


def _is_merged(path: str) -> str:
    return f"{path!r} is a picture that the camera merged itself. Name the frames it came from."


def _two_bodies(one: Correction) -> str:
    return (
        f"{one.first!r} and {one.last!r} are of two bodies, and a sequence is of one. Write a line "
        "for each body."
    )


def _backwards(one: Correction) -> str:
    return f"{one.first!r} was taken after {one.last!r}. Change the two about."


def _no_single(count: int) -> str:
    return (
        f"these are {count} frames, and a single is one. Write a line for each frame, or another "
        "kind."
    )


def _overlap(earlier: Correction) -> str:
    return (
        f"line {earlier.line} has some of these frames already. Let one of the two end before the "
        "other begins."
    )
