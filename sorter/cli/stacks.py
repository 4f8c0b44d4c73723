"""What came of a hand-off as what a person is to see: table, sum and remarks. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from sorter.cli.layout import GAP, Printed, cells
from sorter.cli.phrases import counted, safe
from sorter.model.stack import Handed, Handoff, Stack

_HEADINGS: Final = ("#", "kind", "slices", "order", "name")
_TO_THE_RIGHT: Final = frozenset({"#", "slices"})
_THERE: Final = "there already"


def table(outcome: Handoff) -> Iterator[Printed]:
    """A line for each stack that was handed over, under their headings; nothing where none was."""
    rows = [_HEADINGS, *(_cells(each.stack, outcome) for each in outcome.handed)]
    widths = [max(map(cells, column)) for column in zip(*rows, strict=True)]
    tails = ["", *(_THERE if each.there_already else "" for each in outcome.handed)]
    if outcome.handed:
        for row, tail in zip(rows, tails, strict=True):
            text = GAP.join(map(_padded, row, widths, _HEADINGS))
            style = "heading" if row is _HEADINGS else "plain"
            yield Printed(text=text if tail else text.rstrip(), style=style, tail=tail)
        yield Printed(text="")


def summary(outcome: Handoff) -> str:
    """How much was handed over, where to and how, in one sentence."""
    if not outcome.handed and not outcome.left_out:
        kinds = " or ".join(sorted(outcome.request.kinds))
        return f"No stacks in this shoot: it has no sequence of kind {kinds}."
    clauses = [_sum(outcome)] if outcome.handed else ["No stack was handed over"]
    if outcome.left_out:
        clauses.append(f"{counted(len(outcome.left_out), 'stack', 'stacks')} left out")
    return "; ".join(clauses) + "."


def remarks(outcome: Handoff) -> Iterator[str]:
    """What was done otherwise than asked for, and why: a line for each sequence."""
    for number, kind in outcome.passed_over:
        yield f"sequence {number} is passed over: it is of kind {kind}. Give --kind {kind} for it."
    for each in outcome.handed:
        if each.stack.order is not outcome.request.order:
            yield (
                f"{each.stack.name}: in order of capture, as the camera did not tell the focus of "
                "every slice."
            )
    for left in outcome.left_out:
        yield f"left out: {left.name}: {left.reason}"


def _cells(stack: Stack, outcome: Handoff) -> tuple[str, ...]:
    names = [f"{stack.name}.txt"] if outcome.lists else []
    names += [f"{stack.name}/"] if outcome.folders else []
    return (str(stack.number), stack.kind, str(stack.frames), stack.order, safe(", ".join(names)))


def _padded(text: str, width: int, heading: str) -> str:
    space = " " * (width - cells(text))
    return space + text if heading in _TO_THE_RIGHT else text + space


def _sum(outcome: Handoff) -> str:
    slices = sum(each.stack.frames for each in outcome.handed)
    files = sum(len(each.stack.slices) for each in outcome.handed)
    much = (
        f"{counted(len(outcome.handed), 'stack', 'stacks')}, {counted(slices, 'slice', 'slices')}"
    )
    if files != slices:
        much += f" in {files} files"
    where = [f"lists in {safe(outcome.lists)}"] if outcome.lists else []
    if outcome.folders:
        where.append(f"folders in {safe(outcome.folders)} ({_how(outcome.handed)})")
    return f"{much}: {'; '.join(where)}"


def _how(handed: tuple[Handed, ...]) -> str:
    """By links or by copies, and how many folders stood there before."""
    linked, copied = sum(each.linked for each in handed), sum(each.copied for each in handed)
    there = sum(each.there_already for each in handed)
    clauses = []
    if linked and not copied:
        clauses.append("hard links, no space used")
    elif copied:
        clauses.append(f"{counted(copied, 'file', 'files')} copied")
        clauses += [f"{counted(linked, 'hard link', 'hard links')}"] if linked else []
    if there:
        clauses.append(f"{'all' if there == len(handed) else there} {_THERE}")
    return ", ".join(clauses)
