"""Fujifilm's notes to facts.

Numbers are values of real frames as published in general-purpose metadata libraries' tag tables,
or read from a real file of the body that is named, put into synthetic notes.
"""

from __future__ import annotations

import pytest

from cardmaking.tiff import U32, Entry, Writer, directory
from reading.builders import LITTLE, builder, exif_tiff, jpeg, own_note, with_note
from sorter.model.frame import Facts
from sorter.model.kinds import Bracketing, DriveMode, FocusMode

HEAD = b"FUJIFILM\x0c\0\0\0"


def fujifilm(*entries: Entry) -> Facts:
    return own_note("FUJIFILM", HEAD, *entries)


def test_fujifilm_is_little_endian_in_big_endian_files() -> None:
    entries = [
        LITTLE.words(0x1021, [1]),
        LITTLE.words(0x1101, [3]),
        LITTLE.numbers(0x1103, U32, 0x0F000002),
        LITTLE.text(0x0010, "FPX 12345"),
    ]
    head = b"FUJIFILM\x0c\0\0\0"
    big = Writer(">")
    note = head + directory("<", entries, len(head))
    main = [big.text(0x010F, "FUJIFILM")]
    block = exif_tiff(main, [big.raw(0x927C, note)], order=">")
    said = builder(jpeg(block)).built()
    assert (said.focus_mode, said.drive_mode, said.shot_number, said.serial) == (
        FocusMode.MANUAL,
        DriveMode.CONTINUOUS,
        3,
        "FPX 12345",
    )


@pytest.mark.parametrize(
    ("drive", "series", "expected"),
    [
        (0, 1, DriveMode.SINGLE),
        (0x0A000001, 0, DriveMode.CONTINUOUS),
        (None, 0, DriveMode.SINGLE),
        (None, 1, DriveMode.CONTINUOUS),
        (None, 2, None),
        (None, 6, None),
        (7, 1, None),
    ],
)
def test_fujifilm_drive(drive: int | None, series: int, expected: DriveMode | None) -> None:
    entries = [LITTLE.words(0x1100, [series])]
    if drive is not None:
        entries.append(LITTLE.numbers(0x1103, U32, drive))
    said = fujifilm(*entries)
    assert (said.drive_mode, said.bracketing) == (expected, None)


@pytest.mark.parametrize(
    ("mode", "af", "expected"),
    [
        (0, 0, FocusMode.AUTO),
        (1, 2, FocusMode.MANUAL),
        (65535, 0, FocusMode.MANUAL),
        (65535, 0x102, FocusMode.AUTO),
        (65535, 9, None),
        (None, None, None),
    ],
)
def test_fujifilm_focus_mode(mode: int | None, af: int | None, expected: FocusMode | None) -> None:
    entries = [] if mode is None else [LITTLE.words(0x1021, [mode])]
    entries += [] if af is None else [LITTLE.numbers(0x102D, U32, af)]
    assert fujifilm(LITTLE.words(0x1020, [0]), *entries).focus_mode == expected


@pytest.mark.parametrize(("stored", "count"), [(7, 7), (0x8007, 7), (0, None), (0x8000, None)])
def test_fujifilm_frame_counter_has_fifteen_bits(stored: int, count: int | None) -> None:
    """7: read from a real file of an X-T3."""
    assert fujifilm(LITTLE.words(0x1438, [stored])).counter == count


def test_fujifilm_shots_of_a_shifted_sensor_are_a_bracket_of_another_kind() -> None:
    said = fujifilm(LITTLE.words(0x1100, [6]), LITTLE.words(0x1105, [20]))
    assert (said.bracketing, said.planned) == (Bracketing.OTHER, 20)
    said = fujifilm(LITTLE.words(0x1100, [0]), LITTLE.words(0x1105, [20]))
    assert (said.bracketing, said.planned) == (None, None)


def test_fujifilm_white_balance_bracket() -> None:
    assert fujifilm(LITTLE.words(0x1102, [0x01FF])).bracketing is Bracketing.OTHER
    assert fujifilm(LITTLE.words(0x1102, [0])).bracketing is None


@pytest.mark.parametrize(
    ("composite", "picture", "multiple", "exposures", "expected"),
    [
        (2, 0, 0, 3, ("focus", 3)),
        (128, 0, 0, 1, ("exposure", None)),
        (0, 0, 1, 2, ("other", 2)),
        (0, 0x30, 0, 3, ("exposure", 3)),
        (0, 0x100, 0, 2, ("other", 2)),
        (0, 0x100, 0, 1, ("", None)),
        (0, 0x30, 0, 1, ("", None)),
    ],
)
def test_fujifilm_merged(
    composite: int, picture: int, multiple: int, exposures: int, expected: tuple[str, int | None]
) -> None:
    said = fujifilm(
        LITTLE.words(0x1031, [picture]),
        LITTLE.words(0x1032, [exposures]),
        LITTLE.words(0x1037, [multiple]),
        LITTLE.numbers(0x1150, U32, composite),
    )
    assert (said.merged, said.merged_from) == expected


@pytest.mark.parametrize(("mode", "fired"), [(2, False), (0x8000, False), (1, None), (0, None)])
def test_fujifilm_flash_that_is_off_or_not_there_did_not_fire(
    mode: int, fired: bool | None
) -> None:
    assert fujifilm(LITTLE.words(0x1010, [mode])).flash_fired is fired


@pytest.mark.parametrize("head", [b"FUJIFILM", b"FUJIFILM\0\0\0\0", b"FUJIFILM\xff\xff\xff\x7f"])
def test_fujifilm_note_without_a_directory_says_nothing(head: bytes) -> None:
    said = with_note("FUJIFILM", head)
    assert (said.drive_mode, said.counter, said.serial) == (None, None, "")


@pytest.mark.parametrize(
    ("mode", "af", "follows"),
    [(0, 0x101, False), (0, 0x102, True), (65535, 2, True), (1, 2, None), (0, 0, None)],
)
def test_fujifilm_autofocus_that_goes_on(mode: int, af: int, follows: bool | None) -> None:
    entries = LITTLE.words(0x1021, [mode]), LITTLE.numbers(0x102D, U32, af)
    assert fujifilm(*entries).focus_follows is follows
