from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from manifest.accounts import at, frame, grounds
from sorter.model.focus import focus_places
from sorter.model.kinds import Kind
from sorter.model.sequence import Sequence

NONE = (None, None, None)


def places(*told: Mapping[str, object]) -> tuple[int | None, ...]:
    shots = [
        frame(f"IMG_{index}", replace(at(index), **facts))  # type: ignore[arg-type]
        for index, facts in enumerate(told)
    ]
    return focus_places(Sequence(kind=Kind.BURST, frames=tuple(shots), grounds=grounds()))


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
