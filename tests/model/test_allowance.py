"""What one file's reader may still do: never more than it was given, and it knows when it asked for more."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from sorter.model.allowance import Allowance


@given(steps=st.integers(0, 500), wanted=st.lists(st.integers(0, 200)))
def test_no_more_steps_are_given_than_there_are(steps: int, wanted: list[int]) -> None:
    allowance = Allowance(steps=steps)
    given_out = [allowance.take(number) for number in wanted]
    assert sum(given_out) == min(sum(wanted), steps)
    assert allowance.spent == (sum(wanted) > steps)


@given(handed=st.integers(0, 500), lengths=st.lists(st.integers(1, 200)))
def test_no_more_bytes_are_handed_out_than_there_are(handed: int, lengths: list[int]) -> None:
    allowance = Allowance(handed=handed)
    given_out = [length for length in lengths if allowance.hand(length)]
    assert sum(given_out) <= handed
    assert allowance.spent == (given_out != lengths)
