"""Numbers of sequences as people write them: `3,7-9`. Pure."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator
from typing import Final

from sorter.errors import BadChoice
from sorter.model.stack import Spans

# The en dash is what the table of a scan shows: people copy it from there. More digits than nine
# are no shoot's.
_SPAN: Final = re.compile(r"\s*([0-9]{1,9})\s*(?:[-\N{EN DASH}]\s*([0-9]{1,9})\s*)?")


def parse_numbers(text: str) -> Spans:
    """The numbers of `3,7-9`; blanks do not matter, nor order, nor what is named twice.

    Raises BadChoice where it is no such text, or a range runs backwards.
    """
    return joined(_span(part, text) for part in text.split(","))


def written(spans: Spans) -> str:
    """The numbers as they are written: `3,7-9`."""
    return ",".join(str(first) if first == last else f"{first}-{last}" for first, last in spans)


def joined(spans: Iterable[tuple[int, int]]) -> Spans:
    """The same numbers in order, with spans that touch made one."""
    made: list[tuple[int, int]] = []
    for first, last in sorted(spans):
        if made and first <= made[-1][1] + 1:
            made[-1] = (made[-1][0], max(made[-1][1], last))
        else:
            made.append((first, last))
    return tuple(made)


def spans_of(numbers: Iterable[int]) -> Spans:
    """These numbers as spans."""
    return joined((number, number) for number in numbers)


def is_in(number: int, spans: Spans) -> bool:
    """Whether the number is one of them."""
    return any(first <= number <= last for first, last in spans)


def lacking(spans: Spans, there: Collection[int]) -> Spans:
    """Which numbers of the spans are not there; as cheap for a wide span as for a narrow one."""
    return joined(_gaps(spans, sorted(there)))


def _gaps(spans: Spans, there: list[int]) -> Iterator[tuple[int, int]]:
    for first, last in spans:
        after = first
        for number in there:
            if first <= number <= last:
                if after < number:
                    yield after, number - 1
                after = number + 1
        if after <= last:
            yield after, last


def _span(part: str, text: str) -> tuple[int, int]:
    match = _SPAN.fullmatch(part)
    if match is None:
        raise BadChoice(
            f"--only {text!r} is not understood. Write the numbers of sequences with commas "
            "between, and ranges with a hyphen: 3,7-9."
        )
    first, last = int(match[1]), int(match[2] or match[1])
    if first > last:
        raise BadChoice(f"--only {text!r}: {first}-{last} runs backwards. Write {last}-{first}.")
    return first, last
