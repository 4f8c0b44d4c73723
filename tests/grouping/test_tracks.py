"""What a run knows of its focus and exposure."""

from __future__ import annotations

import math
from collections.abc import Iterable

import pytest

from grouping.series import BRACKET, candidate, start
from sorter.grouping import costs
from sorter.grouping.evidence import Transition, gather
from sorter.grouping.timeline import timelines
from sorter.grouping.tracks import ExposureLadder, ExposureSet, FocusTrack


def focus_links(distances: list[float]) -> tuple[Transition, ...]:
    made = start()
    candidate(made, [0.2] * len(distances), distances, **BRACKET)
    (line,) = timelines(made.frames)
    return gather(line).transitions


def ev_links(exposures: Iterable[float]) -> tuple[Transition, ...]:
    made = start()
    for ev in exposures:
        made.press(0.3, exposure_time_s=2**ev / 60, exposure_bias_ev=0.0)
    (line,) = timelines(made.frames)
    return gather(line).transitions


def focus_cost(track: FocusTrack, distances: list[float]) -> list[float]:
    return [track.take(transition) for transition in focus_links(distances)]


def test_focus_that_goes_one_way_costs_a_bracket_less_than_a_burst() -> None:
    one_way = [0.30 + 0.02 * index for index in range(10)]
    bracket = sum(focus_cost(FocusTrack(costs.FOCUS_BRACKET, numbered=False), one_way))
    burst = sum(focus_cost(FocusTrack(costs.BURST, numbered=False), one_way))
    assert bracket < burst


def test_focus_that_stays_costs_a_burst_less_than_a_bracket() -> None:
    bracket = sum(focus_cost(FocusTrack(costs.FOCUS_BRACKET, numbered=False), [0.4] * 10))
    burst = sum(focus_cost(FocusTrack(costs.BURST, numbered=False), [0.4] * 10))
    assert burst < bracket


def test_focus_that_falls_back_is_the_dearest_step_of_a_bracket() -> None:
    found = focus_cost(FocusTrack(costs.FOCUS_BRACKET, numbered=False), [0.3, 0.32, 0.34, 0.3])
    assert found[-1] > costs.FOCUS_BRACKET.thrown


def test_a_waver_of_one_centimetre_is_no_falling_back() -> None:
    found = focus_cost(FocusTrack(costs.FOCUS_BRACKET, numbered=False), [0.3, 0.32, 0.34, 0.33])
    assert found[-1] < costs.FOCUS_BRACKET.thrown


def test_a_leap_costs_more_the_farther_it_goes() -> None:
    even = [0.300, 0.304, 0.308, 0.312]
    costs_of = [
        focus_cost(FocusTrack(costs.MANUAL_STACK, numbered=False), [*even, far])[-1]
        for far in (0.316, 0.36, 0.5)
    ]
    assert costs_of == sorted(costs_of)
    assert costs_of[-1] > costs_of[0] + costs.LEAP_BY_HAND


@pytest.mark.parametrize("repeated", [(0, -1, 0), (0, -1, 1, -1)])
def test_an_exposure_that_was_there_already_never_goes_into_a_set(
    repeated: tuple[float, ...],
) -> None:
    track = ExposureSet(costs.EXPOSURE_SET)
    assert [track.take(transition) for transition in ev_links(repeated)][-1] == costs.NEVER


@pytest.mark.parametrize(
    ("exposures", "flaw"),
    [
        ((0, -1, 1), costs.SET_SIZES[3]),
        ((0, -1, 1, -2, 2), costs.SET_SIZES[5]),
        ((0, -1, 3), costs.SET_SIZES[3] + costs.SET_UNEVEN),
        ((0, -1, 1, -2), costs.SET_INCOMPLETE),
        ((0, 1), costs.SET_OF_TWO),
    ],
)
def test_a_set_is_judged_by_its_size_and_its_steps(
    exposures: tuple[float, ...], flaw: float
) -> None:
    track = ExposureSet(costs.EXPOSURE_SET)
    for transition in ev_links(exposures):
        track.take(transition)
    assert track.close(len(exposures)) == flaw


def test_a_ladder_steps_evenly_one_way() -> None:
    def total(exposures: tuple[float, ...]) -> float:
        track = ExposureLadder(costs.EXPOSURE_LADDER)
        return sum(track.take(transition) for transition in ev_links(exposures))

    even, uneven = total((0, 1, 2, 3, 4)), total((0, 1, 1.7, 3, 3.4))
    turning = total((0, 1, 0, 1, 0))
    assert even < uneven < turning


def test_a_ladder_whose_exposure_mostly_stays_is_none() -> None:
    track = ExposureLadder(costs.EXPOSURE_LADDER)
    for transition in ev_links((0, 0, 0, 0, 1)):
        track.take(transition)
    assert track.close(5) == costs.NEVER


def test_one_click_back_is_a_slip_of_a_ladder() -> None:
    def total(exposures: tuple[float, ...]) -> float:
        track = ExposureLadder(costs.EXPOSURE_LADDER)
        return sum(track.take(transition) for transition in ev_links(exposures))

    slip, wandering = total((0, 1, 2, 1, 2, 3)), total((0, 1, 2, 1, 0, 1))
    assert slip == pytest.approx(total((0, 1, 2, 3, 4, 5)) + costs.LADDER_TURNS, abs=0.5)
    assert wandering > slip + costs.LADDER_TURNS / 2


def test_rungs_of_nominal_speeds_are_even() -> None:
    # CIPA DC-008's nominal speeds: a third of a stop is 0.26 to 0.42 EV between their figures.
    track = ExposureLadder(costs.EXPOSURE_LADDER)
    speeds = (50, 60, 80, 100, 125, 160, 200)
    steps = [
        track.take(transition)
        for transition in ev_links([-math.log2(speed / 50) for speed in speeds])
    ]
    assert steps[2:] == [costs.LADDER_SAME_RUNG] * 4


def test_a_hand_that_slips_back_by_less_than_half_a_step_goes_on() -> None:
    slips = [0.40, 0.42, 0.44, 0.46, 0.455, 0.48]
    falls = [0.40, 0.42, 0.44, 0.46, 0.42, 0.48]
    habits = costs.MANUAL_STACK
    slip, fall = (focus_cost(FocusTrack(habits, numbered=False), way) for way in (slips, falls))
    assert max(slip) < habits.thrown < max(fall)


def test_tracks_fork_and_go_on_apart() -> None:
    transitions = focus_links([0.40, 0.42, 0.44, 0.46])
    track = FocusTrack(costs.MANUAL_STACK, numbered=False)
    track.take(transitions[0])
    other = track.fork()
    other.take(transitions[1])
    assert (track.moves, other.moves) == (1, 2)
    bracket = ExposureSet(costs.EXPOSURE_SET)
    again = bracket.fork()
    again.take(ev_links((0, 1))[0])
    assert (len(bracket.values), len(again.values)) == (1, 2)


def test_nominal_thirds_from_the_middle_outward_are_in_order() -> None:
    # CIPA DC-008's nominal speeds 1/60, 1/80, 1/50: a third less, a third more.
    track = ExposureSet(costs.EXPOSURE_SET)
    for transition in ev_links([-math.log2(speed / 60) for speed in (60, 80, 50)]):
        track.take(transition)
    assert track.close(3) == costs.SET_SIZES[3] + costs.SET_OF_THIRDS
