"""Stacks without a fault, and the same cut short. See sound_stacks.py for the textures' source."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context

import numpy as np
import pytest

from examples import share_of
from outside import corpus
from outside.sound_stacks import taken
from sorter.checking.series import judge
from sorter.model.finding import Check, End, Verdict
from sorter.model.kinds import Kind

SOUND = range(share_of(100))
SHORT = range(200, 220)
GAPS = range(230, 250)
MIDDLE = 0.4
LOST = 0.1


def _check(seed: int, lost: float = 0.0, gap: float = 0.0) -> Check:
    stack = taken(seed, lost, gap)
    return judge(stack.measured, sequence=1, kind=Kind.FOCUS_BRACKET).check


Checked = Callable[[Callable[[int], Check], range], list[Check]]


@pytest.fixture(scope="module")
def checked() -> Iterator[Checked]:
    """Checks the stacks of all these seeds, in processes that are started once."""
    corpus.need()
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("OPENBLAS_NUM_THREADS", "1")  # there is a helper for each processor already
        with ProcessPoolExecutor(os.cpu_count(), get_context("spawn")) as helpers:
            yield lambda of, seeds: list(helpers.map(of, seeds))


@pytest.fixture(scope="module")
def checks(checked: Checked) -> list[Check]:
    return checked(_check, SOUND)


def test_two_false_alarms_in_a_hundred_stacks_at_most(checks: list[Check]) -> None:
    """No end is missing, no slice between, and nothing moved."""
    alarms = {
        seed: found
        for seed, found in zip(SOUND, checks, strict=True)
        if found.missing_end or found.gaps or found.jumps or found.moved
    }
    most = 0.02 * len(SOUND)
    assert len(alarms) <= most, alarms
    assert sum(found.verdict is Verdict.COMPLETE for found in checks) >= len(SOUND) - most


def test_nothing_of_them_is_dark_and_none_is_a_burst(checks: list[Check]) -> None:
    assert {(found.dark, found.odd, found.looks_like) for found in checks} == {((), (), None)}


def test_most_that_end_a_tenth_of_the_frame_too_early_are_missing_that_end(
    checked: Checked,
) -> None:
    """A tenth of the frame, that is; where it has no texture (a sky), nobody misses it."""
    found = [check.missing_end for check in checked(partial(_check, lost=LOST), SHORT)]
    assert {End.FIRST, End.BOTH}.isdisjoint(found)
    assert np.mean([end is End.LAST for end in found]) >= 0.8


def test_most_in_which_two_slices_lack_have_a_gap_there(checked: Checked) -> None:
    found = checked(partial(_check, gap=MIDDLE), GAPS)
    right = [check.gaps == (int(MIDDLE * (check.frames + 2)),) for check in found]
    assert np.mean(right) >= 0.9
    assert all(len(check.gaps) <= 2 for check in found)
