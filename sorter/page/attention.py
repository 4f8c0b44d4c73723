"""Why a sequence deserves a look, each reason in a few words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from sorter.model.correction import Correction
from sorter.model.finding import Check, Verdict
from sorter.model.row import Row


def reasons(check: Check | None, notes: Iterable[str], suggested: Iterable[str]) -> tuple[str, ...]:
    """Findings first, then what the manifest notes; relations are no trouble, and not among these."""
    found = _of_check(check) if check is not None else iter(())
    return tuple(dict.fromkeys((*found, *suggested, *notes)))


def _of_check(check: Check) -> Iterator[str]:
    if check.verdict in (Verdict.INCOMPLETE, Verdict.BROKEN):
        yield str(check.verdict)
    if check.is_stack and check.verdict in (None, Verdict.UNJUDGED):
        yield "cannot be judged"
    if check.looks_like is not None:
        yield f"looks like a {check.looks_like}".replace("-", " ")
    for positions, words in (
        (check.dark, "dark"),
        (check.odd, "shows something else"),
        (check.unseen, "cannot be looked at"),
        (check.jumps, "jumped behind"),
        (check.moved, "movement behind"),
        (check.bright_steps, "other light behind"),
    ):
        if positions:
            yield f"{words}: {', '.join(map(str, positions))}"


def suggestion(correction: Correction, rows: Sequence[Row]) -> str:
    """What the pictures would group otherwise, in words; empty where it is grouped so already.

    rows: the first one of each frame that the correction is of, as they are grouped now.
    """
    first, last = rows[0], rows[-1]
    kind = correction.kind.replace("-", " ")
    if first.sequence != last.sequence:
        return f"may be one {kind}, {first.source} to {last.source}, {correction.why}"
    if first.kind != correction.kind:
        return f"may be {'an' if kind[0] in 'aeiou' else 'a'} {kind}, {correction.why}"
    if first.position in (None, 1):
        return ""  # where it is to end, the next one says
    return f"may be parted before {first.source}, {correction.why}"
