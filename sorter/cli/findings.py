"""What a check found, as lines for the screen. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from sorter.cli import phrases
from sorter.cli.layout import INDENT, Printed
from sorter.cli.outcomes import tabled
from sorter.model.finding import Check, Positions

if TYPE_CHECKING:
    from sorter.api import Checked, Regrouped

_HEADINGS: Final = ("#", "kind", "frames", "verdict", "sharp ends", "keep", "drift px", "best")


def lines(found: Checked) -> Iterator[Printed]:
    """A line for each sequence, under it what is said of it; then what is suggested, and the sum."""
    rows = [_row(check) for check in found.checks]
    if rows:
        table = list(tabled(_HEADINGS, rows, right={0, 2, 6}))
        yield table[0]
        for check, line in zip(found.checks, table[1:], strict=False):
            yield line
            if check.says:
                yield Printed(text=f"{INDENT}{check.says}", style=_attention(check))
        yield from table[1 + len(found.checks) :]
    if found.suggested:
        yield Printed(text="what the pictures would group otherwise", style="heading")
        for each in found.suggested:
            span = each.first if each.first == each.last else f"{each.first} to {each.last}"
            yield Printed(text=f"  {phrases.safe(span)}: {each.kind}; {each.why}")
    yield Printed(text=_sum(found), style="heading")


def regrouped(outcome: Regrouped) -> Iterator[str]:
    """What was made of the shoot, and which files could not follow."""
    if outcome.ended:
        yield "a regrouping that was stopped here is ended."
    for path, why in outcome.left.items():
        yield f"{path}: {why}"
    for path in outcome.behind:
        yield f"{path} stays where it is: it is no file that an ingest brought."
    if not outcome.is_anything:
        yield "nothing is to be applied: the shoot is grouped so already."
        return
    count = phrases.counted(len(outcome.sequences), "sequence is", "sequences are")
    files = phrases.counted(outcome.moved, "file", "files")
    numbers = f" ({_few(outcome.sequences)})" if outcome.sequences else ""
    yield f"applied: {count} new or changed{numbers}; {files} moved. `sorter undo` takes it back."


def _row(check: Check) -> tuple[str, ...]:
    kind = str(check.kind) + (f" (looks like {check.looks_like})" if check.looks_like else "")
    kept = "" if check.keep_first is None else f"{check.keep_first} to {check.keep_last}"
    return (
        str(check.sequence),
        kind,
        str(check.frames),
        str(check.verdict or ""),
        _ends(check),
        kept,
        "" if check.drift_px is None else f"{check.drift_px:.0f}",
        _few(check.best_frames),
    )


def _ends(check: Check) -> str:
    if check.first_sharp_share is None or check.last_sharp_share is None:
        return ""
    return f"{check.first_sharp_share:.1%} {check.last_sharp_share:.1%}"


def _few(positions: Positions) -> str:
    return ", ".join(map(str, positions))


def _attention(check: Check) -> str:
    is_fine = check.verdict == "complete" and check.looks_like is None
    return "dim" if is_fine or not check.verdict else "note"


def _sum(found: Checked) -> str:
    stacks = [each for each in found.checks if each.is_stack]
    counts = Counter(str(each.verdict or "not judged") for each in stacks)
    order = ("complete", "usable", "incomplete", "broken", "unjudged", "not judged")
    clauses = ", ".join(f"{counts[name]} {name}" for name in order if counts[name])
    if not found.checks:
        return "No sequence of two or more frames."
    others = len(found.checks) - len(stacks)
    more = f"; {phrases.counted(others, 'other sequence', 'other sequences')}" if others else ""
    return f"{phrases.counted(len(stacks), 'stack', 'stacks')}{f': {clauses}' if clauses else ''}{more}."
