from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from manifest.accounts import rock_pool
from sorter.cli.layout import INDENT, cells, cut, lay_out, wrapped
from sorter.cli.view import Line, table

LINES = table(rock_pool())


def texts(lines: tuple[Line, ...], width: int) -> list[str]:
    return [f"{line.text}  {line.tail}".rstrip() for line in lay_out(lines, width)]


@pytest.mark.parametrize("width", [60, 72, 80, 100, 120, 160, 300])
def test_every_line_fits(width: int) -> None:
    assert max(cells(text) for text in texts(LINES, width)) <= width


def test_columns_go_where_the_terminal_is_narrow_and_focus_stays() -> None:
    assert "exposure" in texts(LINES, 120)[0]
    assert "exposure" not in texts(LINES, 80)[0]
    assert "camera" not in texts(LINES, 60)[0]
    assert all("focus" in texts(LINES, width)[0] for width in (60, 80, 120))


def test_notes_stand_beneath_where_it_is_narrow_and_beside_where_it_is_wide() -> None:
    assert (
        f"{INDENT} look: 3 of 5 planned frames; may be a retake; of sequence 1; 1 result"
        in texts(LINES, 80)
    )
    assert texts(LINES, 200)[0].endswith("  look at")
    assert any("0.26 m  3 of 5 planned" in text for text in texts(LINES, 200))


def test_a_day_is_told_once() -> None:
    assert texts(LINES, 80).count("2026-05-17") == 1
    later = replace(LINES[0], day="2026-05-18")
    assert [text for text in texts((*LINES, later), 80) if text.startswith("2026")] == [
        "2026-05-17",
        "2026-05-18",
    ]


def test_a_column_that_says_nothing_is_not_there() -> None:
    assert "camera" not in texts(tuple(replace(line, camera="") for line in LINES), 300)[0]


def test_no_line_ends_in_blanks() -> None:
    for width in (80, 200):
        printed = list(lay_out(LINES, width))
        assert all(each.tail or each.text == each.text.rstrip() for each in printed)


@given(st.text(max_size=30), st.integers(1, 20))
def test_a_cut_text_fits(text: str, width: int) -> None:
    assert cells(cut(text, width)) <= width


def test_wide_letters_take_two_cells_and_marks_none() -> None:
    assert cells("潮だまり") == 8
    assert cells("e\u0301") == 1
    assert cut("潮だまり", 5) == "潮だ…"


def test_nothing_is_wrapped_to_nothing() -> None:
    assert wrapped("", 10) == []
    assert wrapped("a-b c", 3) == ["a-b", "c"]
