"""Stacks without a fault: no gap and no jump is named. See sound_stacks.py for the textures' source."""

from __future__ import annotations

import pytest

from outside.sound_stacks import sound
from sorter.checking.series import judge
from sorter.model.kinds import Kind


@pytest.mark.parametrize("seed", [1, 2, 4, 6, 9, 12])
def test_no_gap_and_no_jump(seed: int) -> None:
    found = judge(sound(seed), sequence=1, kind=Kind.FOCUS_BRACKET).check
    assert found.gaps == found.jumps == found.dark == ()
    assert found.looks_like is None
