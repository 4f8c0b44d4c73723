"""Which stacks are attempts at one subject, and which of them is best."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final

from sorter.model.finding import Verdict
from sorter.model.judgement import Judgement

_RANK: Final = {
    Verdict.COMPLETE: 0,
    Verdict.USABLE: 1,
    Verdict.INCOMPLETE: 2,
    Verdict.UNJUDGED: 3,
    None: 3,
    Verdict.BROKEN: 4,
}


def attempts(
    judged: Mapping[int, Judgement], same: Iterable[tuple[int, int]]
) -> dict[int, tuple[int, ...]]:
    """For each stack that is an attempt among others: all of them, the best first.

    same: pairs of sequences that show one subject. Better is the better verdict, then less that is
    lost at its ends and in gaps, more tiles that are sharp somewhere, fewer faults, more slices.
    """
    groups: dict[int, set[int]] = {}
    for one, two in same:
        if all(each in judged and judged[each].is_stack for each in (one, two)):
            joined = groups.get(one, {one}) | groups.get(two, {two})
            groups |= dict.fromkeys(joined, joined)
    return {
        number: tuple(sorted(group, key=lambda each: (*_worth(judged[each]), each)))
        for number, group in groups.items()
    }


def _worth(judged: Judgement) -> tuple[float, ...]:
    check = judged.check
    if check is None:
        return ()
    lost = (check.first_sharp_share or 0.0) + (check.last_sharp_share or 0.0)
    faults = len(check.gaps) + len(check.jumps) + len(check.moved) + len(check.dark)
    return (
        _RANK[check.verdict],
        round(lost + 0.05 * len(check.gaps), 2),
        -round(judged.covered / 20),
        faults,
        -check.frames,
    )
