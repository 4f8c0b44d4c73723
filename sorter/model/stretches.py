"""What corrections say, held against frames that there are: stretches of the bodies' timelines.

The one reading of a correction, for a card that is grouped and for a shoot that is regrouped. What differs
between the two is where a file's frame lies, and what a correction that leaves the kind open makes of it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Final, TypeAlias

from sorter.model.correction import Correction
from sorter.model.kinds import Kind
from sorter.model.quoting import quoted

WRITE_THE_PATH: Final = (
    "Write the path below the card, with forward slashes, as the manifest's column source has it."
)


class Misfit(ValueError):
    """A correction that does not fit the frames. line: where it stands in its file."""

    def __init__(self, correction: Correction, what: str) -> None:
        super().__init__(what)
        self.line = correction.line


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Where a frame lies: on the timeline of which body, and as which frame of it."""

    body: int
    place: int


Find: TypeAlias = Callable[[str], Spot | str]
"""Where the frame of a file with this path lies; or why it lies on no timeline, as a sentence."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """What one correction says of a body's frames, start to stop (behind the last).

    kind: None where it leaves the kind open. why: what the pictures show, empty where it is the
    user's own word.
    """

    body: int
    start: int
    stop: int
    kind: Kind | None
    name: str
    why: str = ""

    def meets(self, start: int, stop: int) -> bool:
        """Whether it has a frame in common with those from start to stop."""
        return self.start < stop and start < self.stop


def stretches(asked: Iterable[Correction], find: Find) -> tuple[Stretch, ...]:
    """The stretch of each correction, in their order.

    Raises Misfit for the first correction that does not fit: a path that is not found; two bodies; the
    wrong order; a single of several frames; frames that an earlier correction has already.
    """
    taken = _Taken()
    found = []
    for correction in asked:
        stretch = _stretch(correction, find)
        taken.take(stretch, correction)
        found.append(stretch)
    return tuple(found)


def is_merged(path: str) -> str:
    """Why a picture that the camera merged is on no timeline."""
    return (
        f"{quoted(path)} is a picture that the camera merged itself. Name the frames it came from."
    )


def is_no_frame(path: str, kind: Kind, instead: str) -> str:
    """Why a file that is no frame is on no timeline. instead: what to name."""
    return f"{quoted(path)} is no frame ({kind}). {instead}"


def _stretch(one: Correction, find: Find) -> Stretch:
    first, last = _spot(one, one.first, find), _spot(one, one.last or one.first, find)
    count = last.place - first.place + 1
    kind = Kind(one.kind) if one.kind else None
    if first.body != last.body:
        raise Misfit(one, _two_bodies(one))
    if count < 1:
        raise Misfit(one, _backwards(one))
    if kind is Kind.SINGLE and count > 1:
        raise Misfit(one, _no_single(count))
    return Stretch(
        body=first.body,
        start=first.place,
        stop=last.place + 1,
        kind=kind,
        name=one.name,
        why=one.why,
    )


def _spot(one: Correction, path: str, find: Find) -> Spot:
    found = find(path)
    if isinstance(found, str):
        raise Misfit(one, found)
    return found


class _Taken:
    """Which frames corrections have already. As each has a frame but once, that is never much work."""

    def __init__(self) -> None:
        self._by: dict[tuple[int, int], int] = {}
        self._asked: list[Correction] = []

    def take(self, stretch: Stretch, correction: Correction) -> None:
        """Its frames are the correction's. Raises Misfit that names the first that has one of them."""
        spots = [(stretch.body, place) for place in range(stretch.start, stretch.stop)]
        earlier = min((self._by[spot] for spot in spots if spot in self._by), default=None)
        if earlier is not None:
            raise Misfit(correction, _overlap(self._asked[earlier]))
        self._by.update(dict.fromkeys(spots, len(self._asked)))
        self._asked.append(correction)


def _two_bodies(one: Correction) -> str:
    return (
        f"{quoted(one.first)} and {quoted(one.last)} are of two bodies, and a sequence is of one. "
        "Write a line for each body."
    )


def _backwards(one: Correction) -> str:
    return f"{quoted(one.first)} was taken after {quoted(one.last)}. Change the two about."


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
