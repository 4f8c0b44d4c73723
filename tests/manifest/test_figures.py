from __future__ import annotations

import math
import re
from decimal import Decimal
from fractions import Fraction
from typing import SupportsFloat

import numpy as np
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


# What is expected is Python's own float, whose repr is the shortest text that reads back as the same
# number (library reference, "Floating-Point Arithmetic").
OTHER_NUMBERS = st.one_of(
    st.floats(width=64).map(np.float64),
    st.floats(width=32).map(np.float32),
    st.floats(width=16).map(np.float16),
    st.floats(allow_nan=False).map(Decimal),
    st.floats(allow_nan=False, allow_infinity=False).map(Fraction),
    st.fractions(min_value=-1, max_value=1),
)
WHOLE_NUMBERS = st.integers(min_value=-(2**63), max_value=2**63 - 1)


@given(OTHER_NUMBERS)
def test_every_real_number_is_written_as_the_float_that_it_is(value: SupportsFloat) -> None:
    plain = float(value)
    assert figure(rounded(value)) == figure(rounded(plain))
    if math.isfinite(plain):
        assert figure(value) == figure(plain)
        assert float(figure(value)) == plain
        assert float(figure(rounded(value))) == rounded(plain)


@given(WHOLE_NUMBERS)
def test_whole_numbers_keep_every_digit(value: int) -> None:
    assert figure(value) == figure(np.int64(value)) == str(value)
    assert figure(rounded(value)) == figure(rounded(np.int64(value))) == str(value)


def test_what_is_rounded_is_a_number_of_python() -> None:
    for value in (np.float64(1 / 3), np.float32(0.1), np.int64(3), Decimal("0.25"), Fraction(1, 3)):
        assert type(rounded(value)) in (int, float)
    assert figure(rounded(10**400)) == str(10**400)
