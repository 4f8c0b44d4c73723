"""A sequence frame by frame, as a page shows it: on a made scene."""

from __future__ import annotations

import numpy as np
import pytest

from cardmaking.defocus import moved
from checking.scene import SIZE, black, measured, slices, whole
from sorter.checking.frame_findings import frame_findings
from sorter.checking.series import judge
from sorter.model.finding import FrameFindings
from sorter.model.kinds import Kind


def looked(pictures: list[np.ndarray], kind: Kind = Kind.FOCUS_BRACKET) -> FrameFindings:
    found = measured(pictures)
    return frame_findings(judge(found, sequence=1, kind=kind), found)


def test_the_shares_of_a_stack_come_to_one() -> None:
    found = looked(slices(whole()))
    assert len(found.shares) == 14
    shares = [share for share in found.shares if share is not None]
    assert sum(shares) == pytest.approx(1)
    assert max(shares) < 0.3, "a slope is sharp in all slices in turn"


def test_a_slice_that_covers_more_has_more() -> None:
    """Where every other slice of the upper half lacks, those that are left are the sharpest for more."""
    places = [*whole()[:7], *whole()[7::2]]
    shares = [share or 0 for share in looked(slices(places)).shares]
    assert np.mean(shares[8:-1]) > 1.4 * np.mean(shares[1:6])


def test_a_frame_that_is_left_out_has_no_share() -> None:
    pictures = slices(whole())
    pictures[6] = black()
    found = looked(pictures)
    assert found.use[6] is False
    assert found.shares[6] is None
    assert sum(found.use) == 13


def test_a_burst_has_no_shares() -> None:
    found = looked(slices([0.5] * 6), Kind.BURST)
    assert found.shares == (None,) * 6


def test_places_are_shares_of_the_longer_side() -> None:
    pictures = [
        moved(each[..., None].repeat(3, 2), 2.0 * index, 0)[..., 0].copy()
        for index, each in enumerate(slices(whole()))
    ]
    places = looked(pictures).places
    assert places[0] == (0.0, 0.0, 1.0)
    last = places[-1]
    assert last is not None
    error = 0.015 * SIZE[0]  # what each step is off by adds up
    assert last[0] * SIZE[0] == pytest.approx(26, abs=error)
    assert last[1] * SIZE[0] == pytest.approx(0, abs=error)


def test_the_size_is_that_of_each_picture() -> None:
    found = looked([*slices(whole(3)), np.ascontiguousarray(slices([0.5])[0].T)])
    assert found.sizes == (SIZE, SIZE, SIZE, SIZE[::-1])
