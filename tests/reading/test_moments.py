"""Exif dates: what is read, what is unknown, what is suspect (field cases V1 to V4)."""

from __future__ import annotations

import pytest

from sorter.reading.moments import digits_of, minutes_of, moment_of


@pytest.mark.parametrize(
    "text",
    [
        "0000:00:00 00:00:00",
        "    :  :     :  :  ",
        "",
        "2007:13:08 15:57:07",
        "2007:00:08 15:57:07",
        "2007:02:30 15:57:07",
        "2007:03:08 24:00:00",
        "2007:03:08 15:60:00",
        "2007:03:08 15:57:60",
        "2007:03:08",
        "2007:03:08 15:57",
        "07:03:08 15:57:07",
        "2007:03:08 15:57:07 and more",
        "²007:03:08 15:57:07",
        "२००७:०३:०८ १५:५७:०७",
        "2007:03:08 15:57:07.१३",
    ],
)
def test_what_is_no_date_is_unknown(text: str) -> None:
    assert moment_of(text) is None


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2007:03:08 15:57:07", "2007-03-08T15:57:07"),
        ("2007:03:08 15:57: 7", "2007-03-08T15:57:07"),
        ("2007: 3: 8 15:57:07", "2007-03-08T15:57:07"),
        ("2007/03/08 15:57:07", "2007-03-08T15:57:07"),
        ("2007-03-08T15:57:07", "2007-03-08T15:57:07"),
        ("2007.03.08 15.57.07", "2007-03-08T15:57:07"),
        ("2007:03:08 15:57:07.25", "2007-03-08T15:57:07.25"),
        ("2007-03-08T15:57:07.250+02:00", "2007-03-08T15:57:07.250+02:00"),
        ("2024:02:29 00:00:00", "2024-02-29T00:00:00"),
        ("1999:12:31 23:59:59", "1999-12-31T23:59:59"),
    ],
)
def test_what_is_a_date_is_read(text: str, expected: str) -> None:
    moment = moment_of(text)
    assert moment is not None
    assert moment.iso() == expected


@pytest.mark.parametrize(
    ("written", "digits"),
    [
        ("5", "5"),
        ("007", "007"),
        ("130", "130"),
        (" 13 ", "13"),
        ("0", "0"),
        ("123456789012", "123456789012"),
        ("12a", None),
        ("", None),
        ("  ", None),
        ("-1", None),
        ("٣", None),
    ],
)
def test_a_fraction_is_digits_as_written_or_missing(written: str, digits: str | None) -> None:
    assert digits_of(written) == digits


@pytest.mark.parametrize(
    ("written", "minutes"),
    [
        ("+01:00", 60),
        ("-03:30", -210),
        ("+00:00", 0),
        ("Z", 0),
        ("   :  ", None),
        ("", None),
        ("+25:00", None),
        ("01:00", None),
    ],
)
def test_an_offset_is_minutes_east_or_unknown(written: str, minutes: int | None) -> None:
    assert minutes_of(written) == minutes
