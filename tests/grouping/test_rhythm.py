"""A run's own rhythm: costs in nats, lower is better."""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Iterator
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from grouping.series import candidate, start
from sorter.grouping import costs
from sorter.grouping.evidence import Transition, gather
from sorter.grouping.rhythm import Beat, Beats, Period, Rhythm, log_cost
from sorter.grouping.timeline import timelines
from sorter.model.values import Moment


def transitions(
    pauses: list[float], *, digits: int | None = 2, flash: bool = False
) -> Iterator[Transition]:
    made = start(flash_fired=flash, exposure_time_s=0.001)
    candidate(made, [0.0, *pauses], None)
    if digits is None:
        for index, frame in enumerate(made.frames):
            coarse = Moment(local_s=frame.moment.local_s)
            made.frames[index] = replace(frame, facts=replace(frame.facts, moment=coarse))
    (line,) = timelines(made.frames)
    return iter(gather(line).transitions)


def taken(beat: Beat | Period, pauses: list[float], *, flash: bool = False) -> list[float]:
    return [beat.take(transition) for transition in transitions(pauses, flash=flash)]


def test_a_steady_beat_costs_less_and_less() -> None:
    found = taken(Beat(costs.BURST.pauses, None), [0.2] * 12)
    assert found[11] < found[5] < found[1]


def test_a_pause_off_a_steady_beat_costs_more_than_off_an_uneven_one() -> None:
    steady = taken(Beat(costs.BURST.pauses, None), [0.2] * 12 + [1.8])[-1]
    uneven = taken(Beat(costs.BURST.pauses, None), [0.1, 0.3, 0.2, 0.5] * 3 + [1.8])[-1]
    assert steady > uneven


def test_a_flash_may_recycle_where_a_shutter_without_one_would_not_wait() -> None:
    plain = taken(Beat(costs.FOCUS_BRACKET.pauses, None), [1.5] * 8 + [12.0])[-1]
    flash = taken(Beat(costs.FOCUS_BRACKET.pauses, None), [1.5] * 8 + [12.0], flash=True)[-1]
    assert flash == pytest.approx(costs.FOCUS_BRACKET.pauses.flash_hitch)
    assert plain > flash + 5


def test_a_pause_over_the_limit_of_the_kind_is_never_within() -> None:
    limit = costs.BURST.pauses.limit_s
    assert taken(Beat(costs.BURST.pauses, None), [0.2, limit + 1])[-1] == costs.NEVER


def test_one_hitch_even_as_the_first_pause_spoils_nothing() -> None:
    hitched = taken(Beat(costs.FOCUS_BRACKET.pauses, None), [9.0] + [1.5] * 9, flash=True)
    assert hitched[-1] < 0


def test_the_middle_and_the_spread_are_the_medians_of_the_last_pauses() -> None:
    # Against the standard library's statistics; 1.4826 turns a median deviation into a normal
    # spread (handbook value).
    beat = Beat(costs.BURST.pauses, None)
    taken(beat, [0.2, 0.25, 0.22, 0.4, 0.21, 0.23, 0.26, 0.24, 0.2])
    middle = statistics.median_low(beat.so_far.recent)
    deviation = statistics.median_low([abs(pause - middle) for pause in beat.so_far.recent])
    assert beat.so_far.middle == middle
    assert beat.so_far.own_spread == pytest.approx(1.4826 * deviation)


def test_a_rhythm_is_handed_on_to_a_series_that_keeps_it() -> None:
    first = Beat(costs.BURST.pauses, None)
    taken(first, [0.2] * 9)
    kept = taken(Beat(costs.BURST.pauses, first.rhythm), [0.2] * 3)
    fresh = taken(Beat(costs.BURST.pauses, None), [0.2] * 3)
    assert sum(kept) < sum(fresh)


def test_a_kept_rhythm_costs_more_where_the_pauses_are_others() -> None:
    first = Beat(costs.BURST.pauses, None)
    taken(first, [0.2] * 9)
    kept = taken(Beat(costs.BURST.pauses, first.rhythm), [1.0] * 3)
    assert sum(kept) > sum(taken(Beat(costs.BURST.pauses, None), [1.0] * 3)) + 3


def test_what_comes_after_a_link_is_worked_out_once_for_all_runs() -> None:
    (transition,) = transitions([0.2])
    fresh = Rhythm()
    one, two = Beat(costs.BURST.pauses, None, fresh), Beat(costs.MANUAL_STACK.pauses, None, fresh)
    one.take(transition)
    two.take(transition)
    assert one.so_far is two.so_far


def test_a_series_that_slows_down_gets_back_what_its_first_slow_pause_cost() -> None:
    slower = taken(Beat(costs.BURST.pauses, None), [0.1] * 9 + [0.45] * 6)
    another = taken(Beat(costs.BURST.pauses, None), [0.1] * 9 + [2.0] + [0.45] * 5)
    assert sum(slower) + 4 < sum(another)  # the pause before another series is longer than its own
    assert slower[-1] < 1


def test_a_beat_that_slows_down_to_a_crawl_is_another_series() -> None:
    crawl = taken(Beat(costs.BURST.pauses, None), [0.1] * 9 + [1.4] * 2)
    buffer = taken(Beat(costs.BURST.pauses, None), [0.1] * 9 + [0.45] * 2)
    assert sum(crawl[-2:]) > sum(buffer[-2:]) + 4


def test_a_beat_forks_and_the_two_go_on_apart() -> None:
    beat = Beat(costs.BURST.pauses, None)
    taken(beat, [0.2] * 4)
    other = beat.fork()
    taken(other, [0.9] * 3)
    assert beat.so_far.count == 4
    assert other.so_far.count > 0
    assert beat.so_far.middle != other.so_far.middle


def test_whole_seconds_leave_a_pause_open_by_their_grain() -> None:
    (transition,) = transitions([0.3], digits=None)
    assert math.exp(transition.pause_hi) == pytest.approx(1.0, abs=0.01)
    assert transition.grain_s == 1.0


def test_a_timer_is_exact() -> None:
    found = taken(Period(costs.INTERVAL.pauses, 1.8), [10.0] * 8)
    assert found[-1] < -1


def test_a_timer_never_fires_early_but_may_leave_out_a_frame() -> None:
    early = taken(Period(costs.INTERVAL.pauses, 1.8), [10.0] * 8 + [6.0])[-1]
    left_out = taken(Period(costs.INTERVAL.pauses, 1.8), [10.0] * 8 + [20.0])[-1]
    off_beat = taken(Period(costs.INTERVAL.pauses, 1.8), [10.0] * 8 + [26.0])[-1]
    assert left_out < off_beat < early


def test_no_timer_is_faster_than_its_shortest_period() -> None:
    assert taken(Period(costs.INTERVAL.pauses, 1.8), [0.5])[0] == costs.NEVER


def test_a_log_cost_is_the_density_of_the_normal_distribution() -> None:
    # Against the standard library's NormalDist, for an exactly known pause.
    for off in (0.0, 0.3, 1.2):
        density = statistics.NormalDist(0.0, 0.5).pdf(off)
        assert log_cost(0.0, 0.5, off, off) == pytest.approx(-math.log(density))


def _stamps(seconds: list[int]) -> Beats:
    beats = Beats()
    for one, two in itertools.pairwise(seconds):
        beats = beats.after(two - one, 1.0)
    return beats


@given(
    period=st.floats(min_value=2, max_value=60),
    begins=st.floats(min_value=0, max_value=1),
    count=st.integers(min_value=2, max_value=40),
)
def test_whole_seconds_of_a_timer_lie_on_one_line(period: float, begins: float, count: int) -> None:
    # Against the definition: the stamp of beat n is the whole second of begins + n period.
    stamps = [math.floor(begins + index * period) for index in range(count)]
    beats = _stamps(stamps)
    assert beats.even
    assert beats.low_s <= period + 1e-6
    assert beats.high_s >= period - 1e-6


def test_whole_seconds_of_a_hand_do_not_lie_on_one_line() -> None:
    assert not _stamps([0, 4, 7, 12, 15, 21, 25, 28, 34]).even


def test_a_timer_that_leaves_out_a_beat_stays_on_its_line() -> None:
    beats = _stamps([0, 10, 20, 30])
    assert not beats.after(20, 1.0).even
    assert beats.after(20, 1.0, skipped=1).even


def test_stamps_with_fractions_say_nothing_of_lines() -> None:
    beats = Beats()
    assert beats.after(3.7, 0.01) is beats


@pytest.mark.parametrize(("pauses", "fine"), [([5.0] * 9, True), ([5.4] * 9, False)])
def test_a_timer_is_set_in_whole_seconds(pauses: list[float], fine: bool) -> None:
    period = Period(costs.INTERVAL.pauses, 1.8)
    taken(period, pauses)
    assert period.close() == (0.0 if fine else costs.TIMER_OFF_THE_SECOND)


def test_a_period_forks_and_the_two_go_on_apart() -> None:
    period = Period(costs.INTERVAL.pauses, 1.8)
    taken(period, [10.0] * 4)
    other = period.fork()
    taken(other, [10.0])
    assert (period.count, other.count) == (4, 5)


def test_a_spray_pays_for_each_frame_without_flash() -> None:
    lit = taken(Beat(costs.SPRAY.pauses, None), [0.4] * 5, flash=True)
    dark = taken(Beat(costs.SPRAY.pauses, None), [0.4] * 5)
    assert sum(dark) == pytest.approx(sum(lit) + 5 * costs.SPRAY.pauses.unlit)
