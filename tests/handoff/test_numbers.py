from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sorter.errors import BadChoice
from sorter.handoff.numbers import is_in, joined, lacking, parse_numbers, spans_of, written

NUMBERS = st.sets(st.integers(0, 60), min_size=1)
SPANS = st.lists(st.tuples(st.integers(0, 40), st.integers(0, 9)), min_size=1).map(
    lambda pairs: [(first, first + more) for first, more in pairs]
)


@pytest.mark.parametrize(
    ("text", "spans"),
    [
        ("3", ((3, 3),)),
        ("3,7-9", ((3, 3), (7, 9))),
        (" 3 , 7 - 9 ", ((3, 3), (7, 9))),
        ("7-9,3", ((3, 3), (7, 9))),
        ("7-9,8-12,13", ((7, 13),)),
        ("17\N{EN DASH}19", ((17, 19),)),
        ("0003", ((3, 3),)),
        ("5-5", ((5, 5),)),
        ("1-999999999", ((1, 999_999_999),)),
    ],
)
def test_numbers_are_read_as_people_write_them(text: str, spans: object) -> None:
    assert parse_numbers(text) == spans


@pytest.mark.parametrize(
    "text",
    [
        "",
        " ",
        ",",
        "3,",
        ",3",
        "3 4",
        "3-",
        "-3",
        "3--4",
        "3-4-5",
        "three",
        "3.5",
        "+3",
        "²",
        "3;4",
    ],
)
def test_nonsense_is_refused_with_how_to_write_it(text: str) -> None:
    with pytest.raises(BadChoice, match="3,7-9"):
        parse_numbers(text)


@pytest.mark.parametrize("text", ["1" * 10, "1" * 5000, "3\x004", "\N{ARABIC-INDIC DIGIT THREE}"])
def test_what_python_would_stumble_over_is_nonsense_too(text: str) -> None:
    with pytest.raises(BadChoice):
        parse_numbers(text)


def test_a_range_that_runs_backwards_is_refused_and_turned_round() -> None:
    with pytest.raises(BadChoice, match=r"9-7 runs backwards\. Write 7-9"):
        parse_numbers("3,9-7")


@given(NUMBERS)
def test_what_is_written_is_read_as_the_same_numbers(numbers: set[int]) -> None:
    spans = parse_numbers(written(spans_of(numbers)))
    assert spans == spans_of(numbers)
    assert {number for number in range(80) if is_in(number, spans)} == numbers


@given(SPANS)
def test_spans_in_any_order_are_the_same_numbers_written_once(spans: list[tuple[int, int]]) -> None:
    made = joined(spans)
    every = {number for first, last in spans for number in range(first, last + 1)}
    assert made == spans_of(every)
    assert all(one[1] + 1 < two[0] for one, two in pairwise(made))


@given(SPANS, NUMBERS)
def test_what_is_lacking_is_what_was_asked_for_and_is_not_there(
    spans: list[tuple[int, int]], there: set[int]
) -> None:
    every = {number for first, last in spans for number in range(first, last + 1)}
    assert lacking(joined(spans), there) == spans_of(every - there)


def test_a_wide_span_costs_nothing() -> None:
    assert lacking(((1, 999_999_999),), {2}) == ((1, 1), (3, 999_999_999))
