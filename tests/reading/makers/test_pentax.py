"""Pentax's notes, and those of Ricoh's bodies with the same tags, to facts.

Numbers are values of real frames as published in general-purpose metadata libraries' tag tables,
or read from a real file of the body that is named, put into synthetic notes.
"""

from __future__ import annotations

import pytest

from cardmaking.tiff import U8, U32, ByteOrder, Entry, Writer, directory
from reading.builders import LITTLE, own_note, with_note
from sorter.model.frame import Facts
from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.makers import pentax


def facts(*entries: Entry) -> Facts:
    return own_note("PENTAX", b"PENTAX \0II", *entries)


def array(tag: int, *values: int) -> Entry:
    return LITTLE.raw(tag, bytes(values), kind=U8)


def test_pentax_masked_count() -> None:
    stored, date, time = (bytes.fromhex(one) for one in ("f01bc393", "07dc071f", "08383b"))
    assert pentax.shutter_count(stored, date, time) == 115


def test_pentax_drive_and_focus() -> None:
    big = Writer(">")
    entries = [big.words(0x000D, [3]), big.raw(0x0034, bytes([0, 2, 0, 0]), kind=U8)]
    note = b"AOC\0MM" + directory(">", entries, 0)
    said = with_note("PENTAX", note)
    assert (said.focus_mode, said.drive_mode) == (FocusMode.MANUAL, DriveMode.TIMER)


def test_pentax_count_of_a_real_k_30() -> None:
    """Read from a real file of this body."""
    big = Writer(">")
    entries = [
        big.raw(0x0006, bytes.fromhex("07dc071f")),
        big.raw(0x0007, bytes.fromhex("08383b")),
        big.raw(0x005D, bytes.fromhex("f01bc393")),
    ]
    assert own_note_big(*entries).counter == 115
    assert own_note_big(*entries[:2], big.raw(0x005D, b"\xf0\x1b")).counter is None
    assert own_note_big(*entries[1:]).counter is None


def own_note_big(*entries: Entry) -> Facts:
    return with_note("PENTAX", b"PENTAX \0MM" + directory(">", entries, 10))


def test_pentax_oldest_bodies_count_their_frames() -> None:
    assert facts(LITTLE.numbers(0x0029, U32, 77)).counter == 77


@pytest.mark.parametrize(
    ("drive", "mode"),
    [
        ((0, 0, 0, 0), DriveMode.SINGLE),
        ((0, 16, 0, 0), DriveMode.SINGLE),
        ((0, 0, 2, 0), DriveMode.SINGLE),
        ((1, 0, 0, 0), DriveMode.CONTINUOUS),
        ((5, 0, 0, 0), DriveMode.CONTINUOUS),
        ((0, 1, 0, 0), DriveMode.TIMER),
        ((255, 255, 0, 255), None),
        ((0, 0), None),
    ],
)
def test_pentax_drive(drive: tuple[int, ...], mode: DriveMode | None) -> None:
    assert facts(array(0x0034, *drive)).drive_mode == mode


@pytest.mark.parametrize(
    ("mode", "expected"),
    [
        (3, FocusMode.MANUAL),
        (0x8003, FocusMode.MANUAL),
        (0, FocusMode.AUTO),
        (0x110, FocusMode.AUTO),
        (0x8006, FocusMode.AUTO),
        (2, None),
        (5, None),
    ],
)
def test_pentax_focus_mode(mode: int, expected: FocusMode | None) -> None:
    assert facts(LITTLE.words(0x000D, [mode])).focus_mode == expected


@pytest.mark.parametrize(
    ("step", "expected"),
    [
        ([3, 0], Bracketing.EXPOSURE),
        ([0x1002], Bracketing.EXPOSURE),
        ([0, 0x0102], Bracketing.OTHER),
        ([0, 0x0902], None),
        ([0, 0], None),
        ([0], None),
    ],
)
def test_pentax_bracket(step: list[int], expected: Bracketing | None) -> None:
    assert facts(LITTLE.words(0x0018, step)).bracketing == expected


@pytest.mark.parametrize(
    ("length", "bits", "place", "expected"),
    [
        (16, 0x40, 0x13, (Bracketing.EXPOSURE, 2, 3)),
        (22, 0x40, 0x45, (Bracketing.EXPOSURE, 5, 5)),
        (16, 0x40, 0x33, (None, None, None)),  # the fourth of three
        (16, 0x40, 0x00, (None, None, None)),
        (16, 0x00, 0x13, (None, None, None)),
        (25, 0x40, 0x13, (None, None, None)),  # a later body
        (9, 0x40, 0x13, (None, None, None)),  # cut
    ],
)
def test_pentax_older_bodies_tell_the_place_in_the_bracket(
    length: int, bits: int, place: int, expected: tuple[Bracketing | None, int | None, int | None]
) -> None:
    record = bytearray(max(length, 10))
    record[7], record[8], record[9] = bits, 3, place
    said = facts(LITTLE.raw(0x0205, bytes(record[:length])))
    assert (said.bracketing, said.shot_number, said.planned) == expected


def test_pentax_bracket_step_in_the_settings_is_a_menu() -> None:
    """Real files of K10D and K100D hold 3 and 16 there without any bracket."""
    said = facts(LITTLE.raw(0x0205, b"\0" * 8 + b"\x10" + b"\0" * 8), LITTLE.words(0x0018, [0, 0]))
    assert (said.bracketing, said.planned) == (None, None)


@pytest.mark.parametrize(
    ("entry", "merged"),
    [
        (array(0x0034, 0, 0, 0, 1), "other"),
        (array(0x0034, 0, 0, 0, 0x0B), "other"),
        (array(0x0034, 0, 0, 0, 0x20), "exposure"),
        (array(0x0034, 0, 0, 0, 8), ""),
        (array(0x0085, 1, 0, 0, 0), "exposure"),
        (array(0x0085, 0, 0, 0, 0), ""),
        (LITTLE.raw(0x0243, b"\1\0"), "other"),
        (LITTLE.raw(0x0243, b"\0\0"), ""),
    ],
)
def test_pentax_merged(entry: Entry, merged: str) -> None:
    assert facts(entry).merged == merged


def test_pentax_interval_is_no_burst() -> None:
    said = facts(LITTLE.words(0x0092, [3, 50]), array(0x0034, 0, 0, 0, 8))
    assert (said.shot_number, said.planned, said.merged) == (None, None, "")


@pytest.mark.parametrize(
    ("number", "lens"),
    [((3, 44), "lens 3-44"), ((0, 0), ""), ((1, 0), ""), ((2, 0), ""), ((3,), "")],
)
def test_pentax_lens_by_its_number(number: tuple[int, ...], lens: str) -> None:
    """3-44: read from a real file of a K10D."""
    assert facts(array(0x003F, *number)).lens == lens


def test_pentax_position_of_focus_is_unverified_and_not_read() -> None:
    said = facts(LITTLE.words(0x0010, [1013]), LITTLE.words(0x000D, [3]))
    assert (said.focus_step, said.focus_mode) == (None, FocusMode.MANUAL)


@pytest.mark.parametrize(("order", "mark"), [("<", b"II"), (">", b"MM")])
def test_ricoh_bodies_with_the_same_tags(order: ByteOrder, mark: bytes) -> None:
    w = Writer(order)
    entries = [w.words(0x000D, [3]), w.text(0x0229, "0012345")]
    note = b"RICOH\0" + mark + directory(order, entries, 8)
    said = with_note("RICOH IMAGING COMPANY, LTD.", note)
    assert (said.focus_mode, said.serial) == (FocusMode.MANUAL, "0012345")


def test_pentax_header_that_states_the_wrong_order() -> None:
    """Files saved anew by an editor: the header says big-endian, the directory is little-endian."""
    note = b"PENTAX \0MM" + directory("<", [LITTLE.words(0x000D, [3])], 10)
    assert with_note("PENTAX", note).focus_mode is FocusMode.MANUAL


@pytest.mark.parametrize(
    ("mode", "follows"), [(0x10, False), (0x11, True), (0x8011, True), (0x12, None), (3, None)]
)
def test_pentax_autofocus_that_goes_on(mode: int, follows: bool | None) -> None:
    assert facts(LITTLE.words(0x000D, [mode])).focus_follows is follows
