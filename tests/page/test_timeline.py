"""The time line: where marks stand, which pauses are folded, and what is written below."""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from sorter.model.kinds import Kind
from sorter.page.timeline import LEAST_PAUSE, MOST_FOLDS, WIDTH, Item, time_line

START = datetime(2026, 5, 17, 13, 2, 11)  # noqa: DTZ001  by the camera's clock


def item(number: int, at_s: float, took_s: float = 0.0, body: int = 0) -> Item:
    first = START + timedelta(seconds=at_s)
    return Item(
        number=number,
        kind=Kind.SINGLE,
        body=body,
        first=first,
        last=first + timedelta(seconds=took_s),
        shown=first,
        stated="",
        needs_attention=False,
    )


def places(items: list[Item]) -> list[tuple[float, float]]:
    line = time_line(items, ["R8", "OM"])
    assert line is not None
    marks = sorted((m for lane in line.lanes for m in lane.marks), key=lambda m: m.number)
    return [(float(mark.x), float(mark.width)) for mark in marks]


def test_nothing_has_no_line() -> None:
    assert time_line([], []) is None


def test_marks_stand_in_proportion_to_time() -> None:
    first, middle, last = places([item(1, 0, 30), item(2, 150, 30), item(3, 300)])
    assert first == (0.0, 100.0)
    assert middle == (500.0, 100.0)
    assert last[0] + last[1] == WIDTH


def test_a_lane_for_each_body_that_took_anything() -> None:
    line = time_line([item(1, 0), item(2, 9, body=1)], ["R8", "OM", "left at home"])
    assert line is not None
    assert [(lane.label, len(lane.marks)) for lane in line.lanes] == [("R8", 1), ("OM", 1)]
    assert line.lanes[0].y < line.lanes[1].y < line.height


def test_a_long_pause_is_folded_and_said() -> None:
    """Two minutes, four hours without a frame, two minutes: each half takes half of the line."""
    line = time_line([item(1, 0, 120), item(2, 14520, 120)], ["R8"])
    assert line is not None
    assert [stop.text for stop in line.folds] == ["4 h without a frame"]
    one, two = (float(mark.width) for mark in line.lanes[0].marks)
    assert one == two > 0.45 * WIDTH


def test_the_words_of_a_pause() -> None:
    for seconds, words in ((1200, "20 min"), (3 * 86400, "3 days")):
        line = time_line([item(1, 0), item(2, seconds)], ["R8"])
        assert line is not None
        assert line.folds[0].text == f"{words} without a frame"


def test_the_other_body_s_frames_are_no_pause() -> None:
    items = [item(1, 0), *(item(n, 300 * n, body=1) for n in range(1, 12)), item(12, 3600)]
    line = time_line(items, ["R8", "OM"])
    assert line is not None
    assert not line.folds


def test_times_are_written_where_there_is_room() -> None:
    line = time_line([item(n, 6 * n) for n in range(1, 200)], ["R8"])
    assert line is not None
    assert line.stops[0].text == "2026-05-17 13:02"
    apart = [two.at - one.at for one, two in pairwise(line.stops)]
    assert min(apart) >= 60
    assert len(line.stops) > 8


def test_another_day_is_written() -> None:
    line = time_line([item(1, 0), item(2, 300), item(3, 86400), item(4, 86700)], ["R8"])
    assert line is not None
    assert "2026-05-18 13:02" in [stop.text for stop in line.stops]


@given(st.lists(st.tuples(st.integers(0, 900_000), st.integers(0, 4000)), min_size=1, max_size=60))
def test_marks_stay_on_the_line_and_in_order(spans: list[tuple[int, int]]) -> None:
    items = [item(n, at, took) for n, (at, took) in enumerate(sorted(spans), 1)]
    found = places(items)
    assert all(x >= 0 and x + width <= WIDTH + 0.1 for x, width in found)
    wide = [x for x, width in found if x + width < WIDTH - 1]
    assert wide == sorted(wide)
    line = time_line(items, ["R8"])
    assert line is not None
    assert len(line.folds) <= MOST_FOLDS
    gaps = [b.first - a.last for a, b in pairwise(items)]
    if all(gap.total_seconds() < LEAST_PAUSE for gap in gaps):
        assert not line.folds
