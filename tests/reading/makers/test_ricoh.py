"""Ricoh's own notes to facts.

Numbers are values of real frames as published in general-purpose metadata libraries' tag tables,
or read from a real file of the body that is named, put into synthetic notes.
"""

from __future__ import annotations

import pytest

from cardmaking.tiff import U32, Entry
from reading.builders import LITTLE, placed_note
from sorter.model.frame import Facts
from sorter.model.kinds import Bracketing, DriveMode, FocusMode


def ricoh(*entries: Entry) -> Facts:
    return placed_note("RICOH", b"Ricoh\0\0\0", *entries, model="GR")


@pytest.mark.parametrize(
    ("drive", "expected"),
    [(0, DriveMode.SINGLE), (1, DriveMode.CONTINUOUS), (8, DriveMode.CONTINUOUS), (7, None)],
)
def test_ricoh_drive(drive: int, expected: DriveMode | None) -> None:
    assert ricoh(LITTLE.words(0x1002, [drive])).drive_mode == expected


def test_ricoh_first_bodies_write_other_types_under_these_tags() -> None:
    said = ricoh(LITTLE.numbers(0x1002, U32, 1), LITTLE.raw(0x1006, b"\1"))
    assert (said.drive_mode, said.focus_mode) == (None, None)


@pytest.mark.parametrize(
    ("mode", "expected"),
    [(1, FocusMode.MANUAL), (2, FocusMode.AUTO), (4, None), (5, None), (77, None)],
)
def test_ricoh_focus_mode(mode: int, expected: FocusMode | None) -> None:
    assert ricoh(LITTLE.words(0x1006, [mode])).focus_mode == expected


@pytest.mark.parametrize(
    ("kind", "expected", "shot"),
    [
        (0, None, None),
        (9, Bracketing.EXPOSURE, None),
        (11, Bracketing.OTHER, 2),
        (18, Bracketing.OTHER, 2),
        (16, Bracketing.OTHER, None),
        (77, None, None),
    ],
)
def test_ricoh_bracket(kind: int, expected: Bracketing | None, shot: int | None) -> None:
    said = ricoh(LITTLE.words(0x1007, [kind]), LITTLE.words(0x101A, [2]))
    assert (said.bracketing, said.shot_number) == (expected, shot)


@pytest.mark.parametrize(
    ("stored", "serial"),
    [(b"0000000012345678", "0000000012345678"), (b"\1\x22\7" * 5 + b"\0", ""), (b"0" * 16, "")],
)
def test_ricoh_serial_is_the_printed_one(stored: bytes, serial: str) -> None:
    assert ricoh(LITTLE.raw(0x0005, stored)).serial == serial


@pytest.mark.parametrize("note", [b"Ricoh", b"Ricoh\0\0\0\xff\xff", b"Rv0103;Rg180;"])
def test_ricoh_notes_without_a_directory_say_nothing(note: bytes) -> None:
    said = placed_note("RICOH", note)
    assert (said.drive_mode, said.serial) == (None, "")
