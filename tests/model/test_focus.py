from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from manifest.accounts import at, frame, grounds
from sorter.model.focus import Direction, FocusOrder
from sorter.model.kinds import Kind
from sorter.model.sequence import Sequence

NONE = (None, None, None)


def order(*told: Mapping[str, object]) -> FocusOrder:
    shots = [
        frame(f"IMG_{index}", replace(at(index), **facts))  # type: ignore[arg-type]
        for index, facts in enumerate(told)
    ]
    return Sequence(kind=Kind.BURST, frames=tuple(shots), grounds=grounds()).focus


def places(*told: Mapping[str, object]) -> tuple[int | None, ...]:
    return order(*told).places


def near(*distances: float) -> list[dict[str, object]]:
    return [{"focus_near_m": each} for each in distances]


def steps(*values: int | None, nearward: bool | None) -> list[dict[str, object]]:
    return [{"focus_step": each, "step_nearward": nearward} for each in values]


def test_the_nearest_focus_is_the_first_whatever_was_shot_first() -> None:
    assert places(*near(0.40, 0.30, 0.35)) == (3, 1, 2)


def test_a_distance_is_the_middle_of_near_and_far() -> None:
    wide, narrow = {"focus_near_m": 0.2, "focus_far_m": 0.6}, {"focus_far_m": 0.35}
    assert places(wide, narrow) == (2, 1)


def test_equal_distances_keep_the_order_of_capture() -> None:
    assert places(*near(0.4, 0.3, 0.4, 0.3)) == (3, 1, 4, 2)


def test_infinity_is_farthest() -> None:
    assert places(*near(math.inf, 90.0, 0.3)) == (3, 2, 1)


def test_of_two_that_reach_to_infinity_the_near_end_decides() -> None:
    far = [{"focus_near_m": each, "focus_far_m": math.inf} for each in (2.5, 1.2)]
    assert places(*far) == (2, 1)


@pytest.mark.parametrize(("nearward", "expected"), [(True, (3, 2, 1)), (False, (1, 2, 3))])
def test_steps_grow_toward_near_or_far_as_the_camera_says(
    nearward: bool, expected: tuple[int, ...]
) -> None:
    assert places(*steps(-4, 0, 10, nearward=nearward)) == expected


def test_steps_of_an_unknown_direction_give_no_order() -> None:
    assert places(*steps(1, 2, 3, nearward=None)) == NONE


def test_steps_that_contradict_each_other_give_no_order() -> None:
    told = [*steps(1, 2, nearward=True), *steps(3, nearward=False)]
    assert places(*told) == NONE


def test_steps_of_two_lenses_cannot_be_compared() -> None:
    first, *rest = steps(1, 2, 3, nearward=True)
    assert places(first | {"lens": "24mm"}, *rest) == NONE
    assert places(first | {"lens": ""}, *rest) == (3, 2, 1)  # a file that lost its lens


def test_one_frame_that_tells_nothing_leaves_all_without_a_place() -> None:
    assert places(*near(0.3, 0.4), {}) == NONE
    assert places(*steps(1, None, 3, nearward=True)) == NONE


def test_a_distance_of_nothing_is_none() -> None:
    assert places(*near(0.0, 0.3, 0.4)) == NONE


def test_steps_speak_where_a_distance_is_missing() -> None:
    first, *rest = steps(9, 8, 7, nearward=True)
    assert places(first | {"focus_near_m": 0.3}, *rest) == (1, 2, 3)


def test_distances_go_before_steps() -> None:
    told = [
        {**one, **two} for one, two in zip(near(0.3, 0.4), steps(1, 2, nearward=True), strict=True)
    ]
    assert places(*told) == (1, 2)


@given(st.lists(st.floats(0.1, math.inf), min_size=1, max_size=8))
def test_places_are_a_permutation_and_never_fall_with_distance(distances: list[float]) -> None:
    found = [place for place in places(*near(*distances)) if place is not None]
    assert sorted(found) == list(range(1, len(distances) + 1))
    in_order = [distance for _, distance in sorted(zip(found, distances, strict=True))]
    assert in_order == sorted(distances)


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        (near(0.30, 0.31, 0.31, 0.33), Direction.FARTHER),
        (near(0.33, 0.31, 0.30), Direction.NEARER),
        (near(0.33, 0.31, 0.32), Direction.BOTH_WAYS),
        (near(0.33, 0.33), Direction.STAYS),
        (near(1.2, math.inf), Direction.FARTHER),
        (steps(900, 910, 915, nearward=True), Direction.NEARER),
        (steps(900, 910, 915, nearward=False), Direction.FARTHER),
        (steps(900, 910, 915, nearward=None), Direction.ONE_WAY),
        (steps(900, 910, 905, nearward=None), Direction.BOTH_WAYS),
        (steps(900, 910, None, nearward=True), None),
        (near(0.3), None),
        ([{}, {}], None),
    ],
)
def test_the_direction_is_told_as_far_as_all_frames_tell_it(
    told: list[dict[str, object]], expected: Direction | None
) -> None:
    assert order(*told).direction is expected


def test_steps_tell_the_direction_where_all_distances_tie() -> None:
    fine = [
        {"focus_near_m": 0.3, "focus_step": step, "step_nearward": True} for step in (1400, 1402)
    ]
    assert order(*fine).direction is Direction.NEARER


def test_the_ends_are_of_all_distances_told_and_the_span_is_between_frames() -> None:
    wide = {"focus_near_m": 0.25, "focus_far_m": 0.75}
    found = order(wide, {}, {"focus_near_m": 0.625})
    assert (found.near_m, found.far_m, found.span_m) == (0.25, 0.75, 0.125)
    assert found.places == NONE


def test_the_span_up_to_infinity_is_infinite_and_of_infinity_alone_none() -> None:
    assert order(*near(0.5, math.inf)).span_m == math.inf
    assert order(*near(math.inf, math.inf)).span_m == 0


def test_no_distance_has_no_ends() -> None:
    found = order(*steps(1, 2, nearward=None))
    assert (found.near_m, found.far_m, found.span_m) == (None, None, None)


def test_repeats_count_the_frames_that_stay_where_the_one_before_was() -> None:
    assert order(*near(0.3, 0.3, 0.3, 0.31, 0.3)).repeats == 2
    assert order({}, {}).repeats == 0


def test_from_near_lists_indexes_nearest_first_and_capture_order_where_unknown() -> None:
    assert order(*near(0.4, 0.3, 0.35)).from_near == (1, 2, 0)
    assert order({}, {}, {}).from_near == (0, 1, 2)
