"""Findings in words: the sentences that a check says of a sequence."""

from __future__ import annotations

import pytest

from sorter.model.finding import Check, End, Verdict
from sorter.model.kinds import Kind


@pytest.mark.parametrize(
    ("nearward", "end", "says"),
    [
        (True, End.FIRST, ("at the far end", "begin farther out")),
        (True, End.LAST, ("at the near end", "go on nearer")),
        (False, End.FIRST, ("at the near end", "begin nearer")),
        (False, End.LAST, ("at the far end", "go on farther out")),
        (None, End.FIRST, ("", "begin further away from the other end")),
        (None, End.LAST, ("", "go on further away from the other end")),
    ],
)
def test_what_to_do_about_an_end_goes_by_the_direction_of_the_series(
    nearward: bool | None, end: End, says: tuple[str, str]
) -> None:
    """The end that is missing lies beyond the outermost slice: which way that is, the direction tells."""
    sentence = _of(nearward, end).says
    assert all(each in sentence for each in says)
    for other in {"farther out", "nearer"} - {says[1].partition(" ")[2].removeprefix("on ")}:
        assert other not in sentence


def test_of_both_ends_each_has_its_own_advice() -> None:
    sentence = _of(False, End.BOTH).says
    assert "there; begin nearer, or" in sentence
    assert "there; go on farther out, or" in sentence


def _of(nearward: bool | None, end: End) -> Check:
    return Check(
        sequence=1,
        kind=Kind.FOCUS_BRACKET,
        frames=9,
        verdict=Verdict.INCOMPLETE,
        missing_end=end,
        first_sharp_share=0.08,
        last_sharp_share=0.09,
        nearward=nearward,
    )
