"""Which stack a picture that was merged by hand is of."""

from __future__ import annotations

import pytest

from handoff.pools import changed, stack
from sorter.handoff.choose import choose
from sorter.handoff.matching import by_name, by_time
from sorter.model.plan import Entry
from sorter.model.stack import Stack, StackRequest


def timed(entries: list[Entry], minute: int, camera: str = "Tidepool R8") -> list[Entry]:
    return [
        changed(each, captured=f"2026-05-17T13:{minute:02d}:{n:02d}.250+02:00", camera=camera)
        for n, each in enumerate(entries, 1)
    ]


def pool() -> tuple[Stack, ...]:
    entries = [*timed(stack(3, 3), 2), *timed(stack(30, 2), 5), *timed(stack(31, 2), 9)]
    return choose(entries, StackRequest()).stacks


@pytest.mark.parametrize(
    ("name", "number"),
    [
        ("0003_focus-bracket_3.tif", 3),
        ("0003_focus-bracket_3_depth map.tif", 3),
        ("0003_FOCUS-BRACKET_3.TIFF", 3),
        ("0030_focus-bracket_2 v2.png", 30),
        ("0003_focus-bracket_31.tif", None),  # another stack's, which is not here
        ("P3170002.tif", 3),
        ("merged P31170002-P31170001.tif", 31),
        ("xP3170002.tif", None),
        ("P3170002 and P31170002.tif", None),
        ("limpet.tif", None),
        ("", None),
    ],
)
def test_by_name(name: str, number: int | None) -> None:
    found = by_name(name, pool())
    assert (found[0] if found else None) == number


@pytest.mark.parametrize(
    ("captured", "camera", "number"),
    [
        ("2026-05-17T13:02:02", "", 3),
        ("2026-05-17T13:02:01.9", "Tidepool R8", 3),
        ("2026-05-17T13:05:02.250+02:00", "Tidepool R8", 30),
        ("2026-05-17T13:02:02", "Tidepool X", None),
        ("2026-05-17T13:03:00", "", None),
        ("", "", None),
    ],
)
def test_by_time(captured: str, camera: str, number: int | None) -> None:
    found = by_time(captured, camera, pool())
    assert (found[0] if found else None) == number


def test_two_bodies_at_one_time_are_told_apart_by_the_camera() -> None:
    entries = [*timed(stack(3, 3), 2), *timed(stack(4, 3), 2, "Tidepool X")]
    stacks = choose(entries, StackRequest()).stacks
    assert by_time("2026-05-17T13:02:02", "", stacks) is None
    assert by_time("2026-05-17T13:02:02", "Tidepool X", stacks) == (4, "its time")
