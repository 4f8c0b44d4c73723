"""Fractions of four digits that are milliseconds: told by a body, and never by a frame.

Values: those of a real SM-G925I ("0063" .. "0984" in all of 50 pictures) and of bodies with six and
three digits.
"""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from sorter.model.card import CardFile
from sorter.model.frame import Facts, ReadFile
from sorter.model.kinds import Role
from sorter.model.values import Moment
from sorter.reading.subseconds import settled


def files(make: str, digits: Sequence[str | None], serial: str = "") -> list[ReadFile]:
    return [
        ReadFile(
            file=CardFile(path=f"D/{make}{serial}{index}.jpg", size=1, modified_ns=0),
            role=Role.IMAGE,
            facts=Facts(
                make=make, model="M", serial=serial, moment=Moment(local_s=index, digits=one)
            ),
        )
        for index, one in enumerate(digits)
    ]


def told(read: Sequence[ReadFile]) -> list[str | None]:
    return [
        None if file.facts.moment is None else file.facts.moment.digits for file in settled(read)
    ]


def test_a_known_make_pads_milliseconds() -> None:
    assert told(files("samsung", ["0063", "0984"])) == ["063", "984"]
    assert told(files("samsung", ["0063"])) == ["063"]


@pytest.mark.parametrize(
    "digits",
    [["0063", "0984", "1120"], ["0063", "0984", "098"], ["031", "823"], ["074000", "012345"]],
)
def test_a_fraction_of_the_body_that_is_no_such_number_speaks_for_all(digits: list[str]) -> None:
    assert told(files("samsung", digits)) == digits
    assert told(files("Tidepool", digits)) == digits


def test_an_unknown_make_needs_three_different_ones() -> None:
    assert told(files("Tidepool", ["0063", "0984"])) == ["0063", "0984"]
    assert told(files("Tidepool", ["0063", "0063", "0063"])) == ["0063"] * 3
    assert told(files("Tidepool", ["0063", "0984", None, "0500"])) == ["063", "984", None, "500"]


def test_each_body_by_itself() -> None:
    padded, plain = (
        files("Tidepool", ["0063", "0984", "0500"], "1"),
        files("Tidepool", ["0063"], "2"),
    )
    assert told([*plain, *padded]) == ["0063", "063", "984", "500"]
