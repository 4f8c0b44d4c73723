from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sorter.manifest.figures import figure, number, rounded


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, ""),
        (1 / 60, "0.0166667"),
        (1 / 3, "0.333333"),
        (1 / 4000, "0.00025"),
        (1 / 16000, "0.0000625"),
        (2.8, "2.8"),
        (100.0, "100"),
        (102400.0, "102400"),
        (3276800.0, "3276800"),
        (1234567.8, "1234568"),
        (-0.0, "0"),
        (-1 / 3, "-0.333333"),
        (1e-12, "0.000000000001"),
        (1e22, "10000000000000000000000"),
        (math.inf, "inf"),
        (-math.inf, ""),
        (math.nan, ""),
    ],
)
def test_a_number_is_written_as_a_plain_decimal(value: float | None, text: str) -> None:
    assert figure(rounded(value)) == text


@given(st.floats())
def test_no_number_has_an_exponent_and_each_reads_back(value: float) -> None:
    kept = rounded(value)
    text = figure(kept)
    assert re.fullmatch(r"|inf|-?\d+(\.\d*[1-9])?", text)
    assert number(text) == kept


@given(st.floats(min_value=1e-9, max_value=1e9))
def test_six_significant_digits_are_kept(value: float) -> None:
    kept = rounded(value)
    assert kept is not None
    assert math.isclose(kept, value, rel_tol=5.01e-6)
    assert rounded(kept) == kept
