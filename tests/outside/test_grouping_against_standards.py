"""Grouping's arithmetic against standards: APEX (Exif annex, CIPA DC-008)."""

from __future__ import annotations

import pytest

from grouping.series import BASE, run, start
from sorter.grouping.evidence import SAME_EV, exposure_ev, gather
from sorter.grouping.timeline import timelines
from sorter.model.frame import Facts

# Nominal values and their APEX values as the Exif standard's annex tabulates them.
APERTURES = [(1.0, 0), (1.4, 1), (2.0, 2), (2.8, 3), (4.0, 4), (5.6, 5), (8.0, 6), (11.0, 7),
             (16.0, 8), (22.0, 9), (32.0, 10)]  # fmt: skip
TIMES = [(30.0, -5), (15.0, -4), (8.0, -3), (4.0, -2), (2.0, -1), (1.0, 0), (1 / 2, 1),
         (1 / 4, 2), (1 / 8, 3), (1 / 15, 4), (1 / 30, 5), (1 / 60, 6), (1 / 125, 7),
         (1 / 250, 8), (1 / 500, 9), (1 / 1000, 10), (1 / 2000, 11)]  # fmt: skip


@pytest.mark.parametrize(("f_number", "av"), APERTURES)
@pytest.mark.parametrize(("time", "tv"), TIMES)
def test_relative_exposure_is_sv_less_ev(f_number: float, av: int, time: float, tv: int) -> None:
    """Ev = Av + Tv, Sv = log2(ISO / 3.125): Sv is 5 at ISO 100; nominal values are rounded."""
    facts = Facts(f_number=f_number, exposure_time_s=time, iso=100.0)
    found = exposure_ev(facts)
    assert found is not None
    sv = 5
    constant = 1.6439  # log2(3.125), for ISO counts here as it is
    assert found == pytest.approx(sv - (av + tv) + constant, abs=2 * SAME_EV)


def test_neighbours_of_the_nominal_scale_are_one_ev_apart_and_equal_ones_none() -> None:
    made = start()
    for (time, _), pause in zip(TIMES, [0.5] * len(TIMES), strict=True):
        run(made, [pause], None, exposure_time_s=time)
    (line,) = timelines(made.frames)
    for link in gather(line).links:
        assert link.ev_change == pytest.approx(-1.0, abs=SAME_EV)


def test_a_change_within_rounding_is_no_change() -> None:
    # f/5.6 is 4.971 on the APEX scale and f/11 6.919: the same pair two stops apart, rounded.
    one = exposure_ev(Facts(f_number=5.6, exposure_time_s=1 / 60, iso=100.0))
    two = exposure_ev(Facts(f_number=11.0, exposure_time_s=1 / 15, iso=100.0))
    assert one is not None
    assert two is not None
    assert abs(two - one) < SAME_EV


def test_an_unknown_part_leaves_exposure_unknown() -> None:
    assert exposure_ev(Facts(exposure_time_s=None, iso=100.0, f_number=4.0)) is None
    assert exposure_ev(BASE) is not None
