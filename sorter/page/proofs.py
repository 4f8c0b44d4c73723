"""What one would look at to refute what a check says of a stack: which frames, and what to look for in them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from sorter.model.finding import Check, End, Unjudged, Verdict
from sorter.page.parts import Proof

QUESTIONS: Final = {
    "e": "Is any of the subject soft before the first or behind the last?",
    "u": "Does another part come into focus from frame to frame?",
    "m": "Is all of the subject that lies there sharp in it?",
    "g": "Is what lies between these two sharp in one of them?",
    "s": "Is anything sharpest in one of these?",
    "v": "Does what lies in the merge's boxes stay where it is?",
    "j": "Do these two show the subject in the same place?",
    "d": "Is the subject bright enough here?",
    "o": "Is it the subject after all?",
}
"""By the letter that stands for each of them, in a page of thousands of sequences."""
MOST: Final = 4
"""Places of one kind that are led to."""


def proofs(check: Check) -> Iterator[Proof]:
    """The questions, those of the verdict first; none of what is no stack."""
    if not check.is_stack or check.frames < 1:
        return
    if check.verdict is Verdict.UNJUDGED and check.unjudged is not Unjudged.SMALL:
        middle = (check.frames + 1) // 2
        yield Proof(
            asks="u",
            frames=tuple(dict.fromkeys((1, middle, check.frames))),
        )
    yield from _ends(check)
    for gap in check.gaps[:MOST]:
        yield Proof(asks="g", frames=(gap, gap + 1))
    yield from _places(check)


def _ends(check: Check) -> Iterator[Proof]:
    if check.verdict is Verdict.UNJUDGED or check.verdict is None:
        return
    first, last = check.keep_first or 1, check.keep_last or check.frames
    if check.missing_end in (End.FIRST, End.BOTH):
        yield Proof(asks="m", frames=(1,))
    if check.missing_end in (End.LAST, End.BOTH):
        yield Proof(
            asks="m",
            frames=(check.frames,),
        )
    if check.missing_end is None:
        yield Proof(
            asks="e",
            frames=(first, last) if first != last else (first,),
        )
    if check.surplus:
        yield Proof(asks="s", frames=check.surplus[:MOST])


def _places(check: Check) -> Iterator[Proof]:
    for positions, asks in (
        (check.moved, "v"),
        (check.jumps, "j"),
    ):
        for position in positions[:MOST]:
            yield Proof(asks=asks, frames=(position, position + 1))
    for positions, asks in (
        (check.dark, "d"),
        (check.odd, "o"),
    ):
        if positions:
            yield Proof(asks=asks, frames=positions[:MOST])
