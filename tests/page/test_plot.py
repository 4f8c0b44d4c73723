"""Focus over slices, as SVG: where bars and points stand."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise

import pytest

from page.shoots import Tide, complete
from sorter.model.kinds import Kind
from sorter.model.row import Row
from sorter.page.parts import Plot
from sorter.page.plot import FOOT, HEIGHT, TOP, plot


def rows(count: int) -> list[Row]:
    tide = Tide()
    tide.add(Kind.FOCUS_BRACKET, count)
    return list(tide.material.rows)


def drawn(shares: list[float | None], out: frozenset[int] = frozenset(), **more: object) -> Plot:
    found = plot(complete(**more), shares, rows(len(shares)), out)
    assert found is not None
    return found


def heights(path: str) -> list[float]:
    return [float(each) for each in re.findall(r"v-([\d.]+)", path)]


def test_bars_are_as_high_as_their_shares() -> None:
    found = drawn([0.1, 0.2, 0.4, None])
    full = HEIGHT - TOP - FOOT
    assert heights(found.bars) == pytest.approx([full / 4, full / 2, full, 1.0], abs=0.1)
    assert [stop.text for stop in found.left] == ["0%", "20%", "40%"]


def test_small_shares_have_a_decimal() -> None:
    assert [stop.text for stop in drawn([0.02] * 50).left] == ["0.0%", "1.0%", "2.0%"]


def test_slices_that_are_left_out_are_drawn_apart() -> None:
    found = drawn([0.2, 0.3, 0.5], out=frozenset({1}))
    assert len(heights(found.bars)) == 2
    assert len(heights(found.outs)) == 1


def test_the_distance_is_a_line_where_it_is_known() -> None:
    found = drawn([0.5, 0.25, 0.25])
    assert len(found.line.split()) == 3
    assert [stop.text for stop in found.right] == ["0.32 m", "0.33 m", "0.34 m"]


@pytest.mark.parametrize(
    "lost", [{"focus_near_m": None}, {"focus_far_m": float("inf")}], ids=["untold", "endless"]
)
def test_without_distances_there_is_no_line(lost: dict[str, float | None]) -> None:
    told = [replace(row, **lost) for row in rows(3)]  # type: ignore[arg-type]
    found = plot(complete(), [0.2, 0.3, 0.5], told, frozenset())
    assert found is not None
    assert (found.line, found.right) == ("", ())


def test_slices_are_numbered_below() -> None:
    assert [stop.text for stop in drawn([0.25] * 4).below] == ["1", "2", "3", "4"]
    many = [int(stop.text) for stop in drawn([0.02] * 48).below]
    assert (many[0], many[-1]) == (1, 48)
    assert len(many) <= 12
    assert min(b - a for a, b in pairwise(many)) >= 3


def test_a_gap_stands_between_its_slices() -> None:
    found = drawn([0.25] * 4, gaps=(2,))
    left, right = found.below[1].at, found.below[2].at
    assert left < found.gaps[0] < right
    assert "Gaps behind 2." in found.stated


def test_it_is_said_in_words_too() -> None:
    said = drawn([0.2, 0.5, 0.3]).stated
    assert (
        said == "Sharpest in each of 3 slices: most, 50%, in slice 2. Focus from 0.32 m to 0.34 m."
    )


def test_pictures_that_tell_nothing_have_no_plot() -> None:
    assert plot(complete(), [None, None], rows(2), frozenset()) is None
    assert plot(complete(), [], [], frozenset()) is None
