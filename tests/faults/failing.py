"""A test that fails in what it makes of chance. test_sampling.py runs it, and nobody else does."""

from __future__ import annotations

import pytest

from faults.sampling import Cuts


def test_a_cut(cuts: Cuts) -> None:
    pytest.fail(f"it was given {cuts.points(100, 'copy')}")
