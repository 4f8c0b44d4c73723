"""Nikon's notes to facts.

Numbers are values of real frames as published in general-purpose metadata libraries' tag tables,
or read from a real file of the body that is named, put into synthetic notes.
"""

from __future__ import annotations

import math
import struct

import pytest

from cardmaking.tiff import SRAT, U8, U32, Entry, tiff
from reading.builders import LITTLE, TIME, builder, exif_tiff, jpeg, placed_note, with_note
from sorter.model.frame import Facts
from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.makers import nikon


def nikon_facts(*entries: Entry) -> Facts:
    inner = tiff("<", [entries])
    return with_note("NIKON CORPORATION", b"Nikon\0\2\x10\0\0" + inner)


@pytest.mark.parametrize(
    ("bits", "drive", "bracketing"),
    [
        (32, DriveMode.SINGLE, None),
        (1, DriveMode.CONTINUOUS, None),
        (8, DriveMode.TIMER, None),
        (16, DriveMode.SINGLE, Bracketing.EXPOSURE),
        (16 | 64, DriveMode.SINGLE, Bracketing.OTHER),
        (16 | 256 | 1, DriveMode.CONTINUOUS, Bracketing.OTHER),
    ],
)
def test_nikon_shooting_mode(bits: int, drive: DriveMode, bracketing: Bracketing | None) -> None:
    said = nikon_facts(LITTLE.words(0x0089, [bits]))
    assert (said.drive_mode, said.bracketing) == (drive, bracketing)


def test_nikon_burst_record() -> None:
    record = b"0100" + struct.pack("<II", 120 << 19 | 1138 << 5 | 2, 7) + b"\0" * 4
    said = nikon_facts(LITTLE.raw(0x0056, record))
    assert (said.burst_id, said.shot_number) == ("0-120-1138", 7)
    assert nikon_facts(LITTLE.raw(0x0056, b"0100" + b"\0" * 12)).burst_id == ""


def test_nikon_texts_and_counts() -> None:
    said = nikon_facts(
        LITTLE.text(0x0007, "MANUAL"),
        LITTLE.text(0x001D, "6001234"),
        LITTLE.numbers(0x00A7, U32, 4711),
    )
    assert (said.focus_mode, said.serial, said.counter) == (FocusMode.MANUAL, "6001234", 4711)
    assert nikon_facts(LITTLE.numbers(0x00A7, U32, 0xFFFFF7FF)).counter is None


@pytest.mark.parametrize(
    ("version", "code", "metres"),
    [(b"0101", 72, 0.631), (b"0101", 0, math.inf), (b"0204", 72, None)],
)
def test_nikon_distance_where_it_is_not_enciphered(
    version: bytes, code: int, metres: float | None
) -> None:
    """A real D70 picture at 0.63 m."""
    said = nikon_facts(LITTLE.raw(0x0098, version + bytes([0] * 5 + [code] + [0] * 10)))
    assert said.focus_near_m == (metres and pytest.approx(metres, abs=0.001))


def test_nikon_tells_serial_and_sensitivity_in_older_places_too() -> None:
    said = nikon_facts(LITTLE.words(0x0002, [0, 200]), LITTLE.text(0x00A0, "NO= 20025585"))
    assert (said.iso, said.serial) == (200, "20025585")
    assert nikon_facts(LITTLE.words(0x0002, [0, 0])).iso is None


def test_nikon_lens_by_its_limits() -> None:
    assert nikon.lens_name(((180, 10), (700, 10), (35, 10), (45, 10))) == "18-70mm f/3.5-4.5"
    assert nikon.lens_name(((105, 1), (105, 1), (28, 10), (28, 10))) == "105mm f/2.8"
    assert nikon.lens_name(((0, 1),) * 4) == ""
    assert nikon.lens_name(((1, 0),) * 4) == ""


@pytest.mark.parametrize(
    ("first", "number"),
    [
        (0, 0),  # no burst
        (1 << 5 | 2, 1),  # no folder
        (120 << 19 | 2, 1),  # no file
        (120 << 19 | 10_000 << 5, 1),
        (120 << 19 | 1 << 5, 10_001),
    ],
)
def test_nikon_burst_address_that_no_card_has_is_none(first: int, number: int) -> None:
    record = b"0100" + struct.pack("<II", first, number) + b"\0" * 4
    said = nikon_facts(LITTLE.raw(0x0056, record))
    assert (said.burst_id, said.shot_number) == ("", None)


def test_nikon_burst_is_one_for_raws_and_jpegs() -> None:
    def said(kind: int) -> str:
        first = 1 << 29 | 120 << 19 | 1138 << 5 | kind
        record = b"0100" + struct.pack("<II", first, 2)
        return nikon_facts(LITTLE.raw(0x0056, record)).burst_id

    assert said(0) == said(2) == "1-120-1138"


def test_nikon_short_records_say_nothing() -> None:
    said = nikon_facts(
        LITTLE.raw(0x0056, b"0100" + b"\1" * 7),
        LITTLE.raw(0x00B6, b"\xe2\x07\x0b\x07\x16"),
        LITTLE.raw(0x0035, b"0100"),
        LITTLE.raw(0x00B0, b"0101\1\0\0\0"),
        LITTLE.raw(0x0098, b"0101" + b"\1" * 5),
        LITTLE.raw(0x0018, b"\1\1"),
        LITTLE.words(0x0089, [16]),
    )
    assert (said.burst_id, said.session, said.merged) == ("", "", "")
    assert (said.focus_near_m, said.bracket_offset_ev) == (None, None)


@pytest.mark.parametrize(
    ("order", "stored", "session"),
    [
        ("<", "e2070b0716003300", "2018-11-07 22:00:51"),
        (">", "07e20b0716003300", "2018-11-07 22:00:51"),
        ("<", "0000000000000000", ""),
        ("<", "2030303030303030", ""),
        ("<", "e2070b0716", ""),
    ],
)
def test_nikon_session_is_the_time_of_the_last_power_up(
    order: str, stored: str, session: str
) -> None:
    """Zeros: read from a real file of a D850. Digits for numbers: a damaged one of a D5300."""
    assert nikon.session(bytes.fromhex(stored), order) == session


def test_nikon_session_is_told() -> None:
    said = nikon_facts(LITTLE.raw(0x00B6, bytes.fromhex("e2070b0716003300")))
    assert said.session == "2018-11-07 22:00:51"


@pytest.mark.parametrize(
    ("bits", "shutter", "drive"),
    [
        (0, 96, DriveMode.CONTINUOUS),
        (0, 81, DriveMode.SINGLE),
        (1 << 11, 0, DriveMode.CONTINUOUS),
        (2, 0, None),
        (4, 0, None),
        (128, 0, None),
        (8, 96, DriveMode.TIMER),
    ],
)
def test_nikon_drive_by_shutter_and_rarer_bits(
    bits: int, shutter: int, drive: DriveMode | None
) -> None:
    said = nikon_facts(LITTLE.words(0x0089, [bits]), LITTLE.words(0x0034, [shutter]))
    assert said.drive_mode == drive


@pytest.mark.parametrize(
    ("exposure", "flash", "offset"),
    [
        ((-2, 3), b"\0\1\3\0", -2 / 3),
        ((0, 1), b"\xfe\1\3\0", -2 / 3),
        ((0, 1), b"\0\1\3\0", 0.0),
        ((0, 0), b"\1\1\0\0", None),
    ],
)
def test_nikon_offset_of_exposure_or_of_flash(
    exposure: tuple[int, int], flash: bytes, offset: float | None
) -> None:
    said = nikon_facts(
        LITTLE.words(0x0089, [16]),
        LITTLE.raw(0x0018, flash),
        LITTLE.ratios(0x0019, exposure, kind=SRAT),
    )
    assert said.bracketing is Bracketing.EXPOSURE
    assert said.bracket_offset_ev == (offset if not offset else pytest.approx(offset))


def test_nikon_offset_without_a_bracket_is_not_said() -> None:
    said = nikon_facts(LITTLE.words(0x0089, [0]), LITTLE.ratios(0x0019, (1, 3), kind=SRAT))
    assert (said.bracketing, said.bracket_offset_ev) == (None, None)


@pytest.mark.parametrize(
    ("ratio", "metres"), [((12, 10), 1.2), ((1, 0), math.inf), ((0, 0), None), ((0, 1), None)]
)
def test_nikon_distance_set_by_hand(ratio: tuple[int, int], metres: float | None) -> None:
    """0/0: read from real files of E775 and E990."""
    assert nikon_facts(LITTLE.ratios(0x0085, ratio)).focus_near_m == metres


@pytest.mark.parametrize(
    ("code", "fired"), [(0, False), (9, True), (7, True), (18, True), (3, None), (77, None)]
)
def test_nikon_flash_that_exif_leaves_out(code: int, fired: bool | None) -> None:
    assert nikon_facts(LITTLE.numbers(0x0087, U8, code)).flash_fired is fired


@pytest.mark.parametrize(
    ("record", "merged"),
    [(b"0100\1\0\xff\0", "exposure"), (b"0100\0\0\xff\0", ""), (b"48 50 4", "")],
)
def test_nikon_hdr_marks_a_jpeg_and_not_the_raws_it_is_made_of(record: bytes, merged: str) -> None:
    """The text in the last one: a damaged picture of a D5300."""
    inner = tiff("<", [[LITTLE.raw(0x0035, record)]])
    assert with_note("NIKON", b"Nikon\0\2\x10\0\0" + inner).merged == merged
    note = LITTLE.raw(0x927C, b"Nikon\0\2\x10\0\0" + inner)
    assert builder(exif_tiff([], [TIME, note]), "DSC_0001.NEF").built().merged == ""


@pytest.mark.parametrize(
    ("mode", "shots", "expected"),
    [(1, 3, ("other", 3)), (3, 2, ("exposure", 2)), (0, 3, ("", None)), (9, 3, ("", None))],
)
def test_nikon_multiple_exposure(mode: int, shots: int, expected: tuple[str, int | None]) -> None:
    record = LITTLE.raw(0x00B0, b"0101" + struct.pack("<III", mode, shots, 1))
    said = nikon_facts(record)
    assert (said.merged, said.merged_from) == expected


def test_nikon_menus_are_no_evidence() -> None:
    """The list of menu values of a Z 6: bracket set and program, of no frame in particular."""
    entries = struct.pack("<HBBI", 0x109, 1, 4, 2) + struct.pack("<HBBI", 0x10A, 1, 4, 15)
    menu = b"\0" * 0x14 + struct.pack("<I", 2) + entries
    said = nikon_facts(LITTLE.raw(0x004E, menu), LITTLE.words(0x0089, [32]))
    assert (said.bracketing, said.planned) == (None, None)


def test_nikon_first_bodies_write_no_header() -> None:
    said = placed_note("NIKON CORPORATION", b"", LITTLE.text(0x0007, "AF-C  "))
    assert said.focus_mode is FocusMode.AUTO


@pytest.mark.parametrize("text", ["8\2", "", "  "])
def test_nikon_focus_mode_that_is_none(text: str) -> None:
    assert nikon_facts(LITTLE.text(0x0007, text)).focus_mode is None


def test_nikon_old_note_says_nothing() -> None:
    note = LITTLE.placed(0x927C, lambda _: b"Nikon\0\1\0\1\0\7\0\2\0\4\0\0\0AF-C\0\0\0\0")
    said = builder(jpeg(exif_tiff([LITTLE.text(0x010F, "NIKON")], [TIME, note]))).built()
    assert said.focus_mode is None


@pytest.mark.parametrize(
    ("text", "follows"),
    [("AF-S  ", False), ("AF-C  ", True), ("AF-F", True), ("AF-A", None), ("MANUAL", None)],
)
def test_nikon_autofocus_that_goes_on(text: str, follows: bool | None) -> None:
    assert nikon_facts(LITTLE.text(0x0007, text)).focus_follows is follows
