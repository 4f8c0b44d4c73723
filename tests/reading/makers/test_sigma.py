"""Sigma's notes to facts.

Numbers are values of real frames as published in general-purpose metadata libraries' tag tables,
or read from a real file of the body that is named, put into synthetic notes.
"""

from __future__ import annotations

import pytest

from cardmaking.tiff import U32, Entry
from reading.builders import LITTLE, placed_note
from sorter.model.frame import Facts
from sorter.model.kinds import Bracketing, DriveMode, FocusMode

HEAD = b"SIGMA\0\0\0\0\2"


def sigma(*entries: Entry, head: bytes = HEAD) -> Facts:
    return placed_note("SIGMA", head, *entries)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("SINGLE", DriveMode.SINGLE),
        ("2S", DriveMode.TIMER),
        ("10S", DriveMode.TIMER),
        ("2 sec.", DriveMode.TIMER),
        ("CONTINUOUS", DriveMode.CONTINUOUS),
        (" ", None),
        ("Kelp", None),
    ],
)
def test_sigma_drive(text: str, expected: DriveMode | None) -> None:
    """SINGLE and 2S: read from real files of an SD10 and a DP3 Merrill."""
    assert sigma(LITTLE.text(0x0003, text)).drive_mode == expected


@pytest.mark.parametrize(
    ("kind", "setting", "expected"),
    [
        ("AF-S", "AF", FocusMode.AUTO),
        ("AF-S", "MF", FocusMode.MANUAL),
        ("MF", "", FocusMode.MANUAL),
        ("", "", None),
    ],
)
def test_sigma_focus_mode(kind: str, setting: str, expected: FocusMode | None) -> None:
    said = sigma(LITTLE.text(0x0005, kind), LITTLE.text(0x0006, setting))
    assert said.focus_mode == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2 of 3", (Bracketing.EXPOSURE, 2, 3)),
        ("1of5", (Bracketing.EXPOSURE, 1, 5)),
        ("4 of 3", (None, None, None)),
        ("0 of 3", (None, None, None)),
        ("1 of 1", (None, None, None)),
        (" ", (None, None, None)),
    ],
)
def test_sigma_bracket(
    text: str, expected: tuple[Bracketing | None, int | None, int | None]
) -> None:
    said = sigma(LITTLE.text(0x0019, text))
    assert (said.bracketing, said.shot_number, said.planned) == expected


@pytest.mark.parametrize("head", [HEAD, b"FOVEON\0\0\1\0"])
def test_sigma_serial_and_headers(head: bytes) -> None:
    """Read from a real file of a DP3 Merrill."""
    assert sigma(LITTLE.text(0x0002, "90600117"), head=head).serial == "90600117"


@pytest.mark.parametrize(("version", "number"), [(b"\2", 4), (b"\3", None)])
def test_sigma_number_in_a_burst_by_the_version_of_the_note(
    version: bytes, number: int | None
) -> None:
    burst = LITTLE.text(0x0003, "CONTINUOUS"), LITTLE.numbers(0x0034, U32, 4)
    assert sigma(*burst, head=HEAD[:9] + version).shot_number == number
    single = LITTLE.text(0x0003, "SINGLE"), LITTLE.numbers(0x0034, U32, 4)
    assert sigma(*single).shot_number is None
