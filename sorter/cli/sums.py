"""A tally as what a person is to see: a table for each thing that is counted by. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sorter.cli.layout import GAP, Printed, cells, cut
from sorter.cli.phrases import DASH, amount, counted, safe, span
from sorter.model.kinds import STACK_KINDS
from sorter.model.tally import Counts, Group, Spread, Tables, Tally

NAME_CELLS: Final = 28  # with it, no line is wider than 80
NOT_KNOWN: Final = "not told"
TOGETHER: Final = "together"

_COUNTED: Final = ("sequences", "frames", "results", "files", "space")
_OF_STACKS: Final = ("stacks", "with result", "results", "min", "median", "max")
_OF_DAYS: Final = ("frames", "first", "last", "took")
_OF_SPACE: Final = ("stacks", "space", "share")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """Lines under their headings: a name on the left, figures on the right. is_summed: the last is a sum."""

    heading: str
    headings: tuple[str, ...]
    lines: tuple[tuple[str, ...], ...]
    is_summed: bool = True


def lines(tally: Tally) -> Iterator[Printed]:
    """All tables, one below the other with their first columns as wide as each other."""
    tables = [table for table in _tables(tally) if table.lines]
    names = [line[0] for table in tables for line in (*table.lines, (table.heading,))]
    width = min(NAME_CELLS, max(map(cells, names), default=0))
    for table in tables:
        yield from _printed(table, width)
        yield Printed(text="")
    yield Printed(text=_sum(tally), style="heading")


def remarks(tally: Tally) -> Iterator[str]:
    """What the figures leave out, or count twice: a line for each shoot and each two of them."""
    for each in tally.shoots:
        if each.absent:
            files = counted(each.absent, "file", "files")
            is_or_are = "is" if each.absent == 1 else "are"
            yield (
                f"{each.shoot}: {files} of its cards {is_or_are} not in the shoot, and not counted. "
                "Its manifest says why."
            )
    for two in tally.shared:
        yield (
            f"{two.one} and {two.two} hold {counted(two.pictures, 'picture', 'pictures')} of the same "
            "bytes, counted in both. Name only one of them if the other is its second copy."
        )


def _tables(tally: Tally) -> Iterator[_Table]:
    whole = tally.together
    if len(tally.shoots) > 1:
        groups = [Group(key=each.shoot, counts=each.total.counts) for each in tally.shoots]
        yield _counted("shoot", groups, whole.total)
    if not whole.total.counts.files:
        return
    yield _counted("kind", whole.kinds, whole.total)
    yield _stacks(whole)
    yield _counted("lens", whole.lenses, whole.total)
    yield _counted("aperture", whole.f_numbers, whole.total, lambda key: f"f/{key}")
    yield _counted("hour", whole.hours, whole.total, lambda key: f"{key}:00{DASH}{key}:59")
    yield _days(tally.shoots)
    yield _space(whole.total.counts)


def _counted(
    heading: str, groups: Iterable[Group], total: Group, named: Callable[[str], str] = str
) -> _Table:
    """A line for each group, then their sum."""
    found = [(named(each.key) if each.key else NOT_KNOWN, *_counts(each.counts)) for each in groups]
    lines = (*found, (TOGETHER, *_counts(total.counts)))
    return _Table(heading=heading, headings=_COUNTED, lines=lines)


def _counts(counts: Counts) -> tuple[str, ...]:
    numbers = (counts.sequences, counts.frames, counts.results, counts.files)
    return (*map(str, numbers), amount(counts.bytes))


def _stacks(whole: Tables) -> _Table:
    """How many stacks there are, of how many frames, and how many have a result."""
    of_kind = {each.key: each.counts for each in whole.kinds if each.key in STACK_KINDS}
    results = sum(counts.results for counts in of_kind.values())
    lines = [
        (str(spread.kind), *_stack_counts(of_kind[spread.kind], spread))
        for spread in whole.stacks
        if spread.kind in of_kind and spread.kind is not None
    ]
    lines += [
        (TOGETHER, *_stack_counts(whole.total.counts, spread, results))
        for spread in whole.stacks
        if spread.kind is None and lines
    ]
    return _Table(heading="frames per stack", headings=_OF_STACKS, lines=tuple(lines))


def _stack_counts(counts: Counts, spread: Spread, results: int | None = None) -> tuple[str, ...]:
    results = counts.results if results is None else results
    ends = (str(spread.least), f"{spread.median:g}", str(spread.most))
    numbers = (counts.stacks, counts.stacks_with_result, results)
    return (*map(str, numbers), *(ends if spread.stacks else ("", "", "")))


def _days(shoots: tuple[Tables, ...]) -> _Table:
    """When each shoot was at work, day by day."""
    lines = [
        (f"{each.key}  {shoot.shoot}" if len(shoots) > 1 else each.key, *_day(each))
        for shoot in shoots
        for each in shoot.days
        if each.counts.frames and each.first
    ]
    return _Table(heading="day", headings=_OF_DAYS, lines=tuple(lines), is_summed=False)


def _day(group: Group) -> tuple[str, ...]:
    first, last = datetime.fromisoformat(group.first), datetime.fromisoformat(group.last)
    took = span((last - first).total_seconds(), fine=False) if last > first else ""
    return (str(group.counts.frames), group.first[11:], group.last[11:], took)


def _space(counts: Counts) -> _Table:
    """What could be archived, what is not stacked yet, and the rest."""
    rest = counts.bytes - counts.archivable_bytes - counts.waiting_bytes
    waiting = counts.stacks - counts.stacks_with_result
    parts = [
        ("stacked, could be archived", str(counts.stacks_with_result), counts.archivable_bytes),
        ("not stacked yet", str(waiting), counts.waiting_bytes),
        ("everything else", "", rest),
        (TOGETHER, str(counts.stacks), counts.bytes),
    ]
    lines = tuple(
        (name, stacks, amount(size), _share(size, counts.bytes)) for name, stacks, size in parts
    )
    return _Table(heading="space", headings=_OF_SPACE, lines=lines)


def _share(part: int, whole: int) -> str:
    return f"{100 * part / whole:.0f} %" if whole else ""


def _printed(table: _Table, width: int) -> Iterator[Printed]:
    figures = [table.headings, *(line[1:] for line in table.lines)]
    widths = [max(map(cells, column)) for column in zip(*figures, strict=True)]
    for place, (name, *texts) in enumerate([(table.heading, *table.headings), *table.lines]):
        is_sum = table.is_summed and place == len(table.lines)
        text = _line(name, texts, width, widths)
        yield Printed(text=text, style="plain" if place and not is_sum else "heading")


def _line(name: str, texts: list[str], width: int, widths: list[int]) -> str:
    name = cut(safe(name), width)
    padded = [" " * (most - cells(text)) + text for text, most in zip(texts, widths, strict=True)]
    return GAP.join([name + " " * (width - cells(name)), *padded]).rstrip()


def _sum(tally: Tally) -> str:
    """The outcome in one sentence."""
    counts = tally.together.total.counts
    if not counts.files:
        return "No file in " + ("this shoot." if len(tally.shoots) == 1 else "these shoots.")
    clauses = [
        counted(len(tally.shoots), "shoot", "shoots"),
        counted(counts.sequences, "sequence", "sequences"),
        counted(counts.frames, "frame", "frames"),
        counted(counts.results, "result", "results"),
        f"{counted(counts.files, 'file', 'files')} ({amount(counts.bytes)})",
    ]
    return ", ".join(clauses) + "."
