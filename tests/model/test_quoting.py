from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sorter.model.quoting import MOST, quoted


@given(st.text(max_size=MOST) | st.integers() | st.floats() | st.lists(st.integers(), max_size=9))
def test_what_is_short_is_quoted_as_python_writes_it(value: object) -> None:
    assert quoted(value) == repr(value)


@pytest.mark.parametrize("value", ["limpet" * 30_000, "\0" * 100_000, [1] * 100_000])
def test_what_is_long_is_cut_in_its_middle(value: object) -> None:
    said = quoted(value)
    assert len(said) < 5 * MOST
    assert " … " in said
    assert (said[:5], said[-5:]) == (repr(value)[:5], repr(value)[-5:])


def test_a_number_that_python_does_not_write_is_named_by_its_type() -> None:
    assert quoted(10**5000) == "this int"  # sys.int_info.default_max_str_digits is 4300


def test_what_is_nested_too_deep_is_named_by_its_type() -> None:
    nested: list[object] = []
    for _ in range(200_000):
        nested = [nested]
    assert quoted(nested) == "this list"
    while nested:  # undone by hand: letting go of it nests as deep
        nested = nested[0]  # type: ignore[assignment]
