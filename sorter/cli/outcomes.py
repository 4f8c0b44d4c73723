"""What came of running a command over stacks, and of taking results in: lines for the screen. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from sorter.cli import phrases
from sorter.cli.layout import GAP, Printed, cells
from sorter.model.result import Collection, Results
from sorter.model.stack import Stack

_MOST_ASKED: Final = 12


def merged(results: Results) -> Iterator[Printed]:
    """A line for each stack, and the sum."""
    rows = [
        (str(each.stack.number), each.stack.kind, str(each.stack.frames), took, each.path)
        for each in results.merged
        for took in [
            "there already" if each.there_already else phrases.span(each.seconds, fine=True)
        ]
    ]
    if rows:
        yield from tabled(("#", "kind", "slices", "took", "result"), rows, right={0, 2, 3})
    yield Printed(text=_sum(results), style="heading")


def merging_remarks(results: Results) -> Iterator[str]:
    """Which stacks gave no result and why, and what was done otherwise than asked for."""
    for number, kind in results.passed_over:
        yield f"sequence {number} is passed over: it is of kind {kind}. Give --kind {kind} for it."
    for each in results.merged:
        yield from (f"{each.path}: {note}" for note in each.notes)
        if each.stack.order is not results.request.order:
            yield f"{each.stack.name}: in order of capture: the camera did not tell every focus."
    for failed in results.failed:
        log = f" What it said: {failed.log}" if failed.log else ""
        yield f"no result: {failed.stack.name}: {failed.reason.removesuffix('.')}.{log}"
    for left in results.left_out:
        yield f"left out: {left.name}: {left.reason}"


def _sum(results: Results) -> str:
    there = sum(each.there_already for each in results.merged)
    new, bad = len(results.merged) - there, len(results.failed)
    if not (results.merged or bad or results.left_out):
        kinds = " or ".join(sorted(results.request.kinds))
        return f"No stacks in this shoot: it has no sequence of kind {kinds}."
    clauses = [f"{phrases.counted(new, 'stack', 'stacks')} merged"]
    if there:
        clauses.append(f"{there} had a result already (--again merges them once more)")
    if bad:
        clauses.append(f"{bad} gave no result")
    if results.left_out:
        clauses.append(f"{len(results.left_out)} left out")
    where = f": results in {phrases.safe(results.folder)}" if results.merged else ""
    return f"{'; '.join(clauses)}{where}."


def collected(collection: Collection) -> Iterator[Printed]:
    """A line for each file that was taken in, and the sum."""
    rows = [
        (str(each.sequence), "there already" if each.there_already else each.by, each.path)
        for each in collection.collected
    ]
    if rows:
        yield from tabled(("#", "matched by", "result"), rows, right={0})
    new = sum(not each.there_already for each in collection.collected)
    there = len(collection.collected) - new
    clauses = [f"{phrases.counted(new, 'result', 'results')} taken in"]
    clauses += [f"{there} there already"] if there else []
    clauses += [f"{len(collection.refused)} not taken in"] if collection.refused else []
    yield Printed(text=f"{'; '.join(clauses)}.", style="heading")


def collecting_remarks(collection: Collection) -> Iterator[str]:
    """Which files were not taken in and why, and what is to be said of others."""
    for each in collection.collected:
        yield from (f"{each.path}: {note}" for note in each.notes)
    for refused in collection.refused:
        yield f"not taken in: {refused.file}: {refused.reason}"


def question(file: str, stacks: Sequence[Stack]) -> str:
    """Asks for the sequence that a file belongs to."""
    known = ", ".join(
        f"{each.number} ({each.kind}, {each.frames})" for each in stacks[:_MOST_ASKED]
    )
    more = ", …" if len(stacks) > _MOST_ASKED else ""
    return (
        f"Which sequence was {file} merged from: {known}{more}? Its number, or nothing to leave it:"
    )


def tabled(
    headings: Sequence[str], rows: Sequence[Sequence[str]], *, right: set[int]
) -> Iterator[Printed]:
    """The rows under their headings; right: the columns that stand to the right."""
    every = [headings, *([phrases.safe(text) for text in row] for row in rows)]
    widths = [max(map(cells, column)) for column in zip(*every, strict=True)]
    for row in every:
        padded = (
            f"{' ' * (width - cells(text))}{text}"
            if place in right
            else text + " " * (width - cells(text))
            for place, (text, width) in enumerate(zip(row, widths, strict=True))
        )
        style = "heading" if row is headings else "plain"
        yield Printed(text=GAP.join(padded).rstrip(), style=style)
    yield Printed(text="")
