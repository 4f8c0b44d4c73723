"""Sony's notes to facts.

Numbers are values of real frames as published in general-purpose metadata libraries' tag tables,
or read from a real file of the body that is named, put into synthetic notes.
"""

from __future__ import annotations

import pytest

from cardmaking.tiff import U8, U32, Entry
from reading.builders import LITTLE, placed_note
from sorter.model.frame import Facts
from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.makers import sony

HEAD = b"SONY DSC \0\0\0"
NEWER_COMPACT = LITTLE.raw(0x3000, bytes(0x34) + b"DC7303320222000\0")


def facts(*entries: Entry, model: str = "ILCE-7M3") -> Facts:
    return placed_note("SONY", HEAD, *entries, model=model)


def record(tag: int, length: int, *plain: tuple[int, int, int], first: int = 0) -> Entry:
    """A record of this length: numbers by place and bytes, put behind the substitution.

    first: its first byte as it is stored.
    """
    data = bytearray(length)
    for at, width, number in plain:
        stored = (sony.PLAIN.index(one) for one in number.to_bytes(width, "little"))
        data[at : at + width] = bytes(stored)
    data[0] = first or data[0]
    return LITTLE.raw(tag, bytes(data))


def test_sony_substitution() -> None:
    stored = bytes.fromhex("31262823332408 40e707".replace(" ", ""))
    assert stored.translate(sony.PLAIN).hex() == "6ad71c3e3f3002040928"
    assert sorted(sony.PLAIN) == list(range(256))


def test_sony_burst_and_bracket() -> None:
    burst = placed_note(
        "SONY",
        b"SONY DSC \0\0\0",
        LITTLE.words(0xB049, [2]),
        LITTLE.words(0xB04A, [2]),
    )
    assert (burst.drive_mode, burst.shot_number) == (DriveMode.CONTINUOUS, 2)
    bare = placed_note("SONY", b"", LITTLE.words(0xB049, [5]), LITTLE.words(0xB04A, [1]))
    assert (bare.bracketing, bare.shot_number) == (Bracketing.EXPOSURE, 1)


@pytest.mark.parametrize(
    ("model", "at"),
    [
        ("ILCE-7M3", 0x210),
        ("ILCE-6000", 0x218),
        ("DSC-RX100M2", 0x1020),
        ("NEX-6", 0x1168),
        ("SLT-A77V", 0x1134),
        ("SLT-A57", 0x1110),
    ],
)
def test_sony_self_timer_stands_in_the_settings(model: str, at: int) -> None:
    """A real ILCE-7M3 and a real NEX-6 say "single" in plain and the timer only here."""
    settings = bytearray(0x1200)
    settings[at] = sony.PLAIN.index(2)

    def said(mode: int, model: str) -> DriveMode | None:
        entries = LITTLE.raw(0x2010, bytes(settings)), LITTLE.words(0xB049, [mode])
        return placed_note("SONY", b"SONY DSC \0\0\0", *entries, model=model).drive_mode

    assert said(0, model) is DriveMode.TIMER
    assert said(2, model) is DriveMode.CONTINUOUS
    assert said(0, "ILCE-7SM3") is DriveMode.SINGLE  # writes no settings; these are of another body


@pytest.mark.parametrize(
    ("model", "expected"),
    [
        ("DSC-RX1R", FocusMode.AUTO),
        ("DSC-RX1RM2", FocusMode.AUTO),
        ("DSC-RX1RM3", FocusMode.MANUAL),
        ("DSC-RX100M6", FocusMode.MANUAL),
        ("ILCE-1", FocusMode.MANUAL),
    ],
)
def test_sony_compacts_tell_the_focus_mode_elsewhere_until_2018(
    model: str, expected: FocusMode
) -> None:
    entries = LITTLE.numbers(0x201B, U8, 0), LITTLE.words(0xB04E, [6]), NEWER_COMPACT
    assert placed_note("SONY", b"SONY DSC \0\0\0", *entries, model=model).focus_mode is expected


@pytest.mark.parametrize(
    ("model", "old", "version"),
    [
        ("DSC-G1", 1, b""),
        ("DSC-W55", 1, b""),
        ("DSC-H9", 2, b"DC5303320222000"),
        ("DSC-HX5V", 4, b"DC6303320222000"),
    ],
)
def test_sony_older_compacts_mean_nothing_by_zero(model: str, old: int, version: bytes) -> None:
    """Values of real pictures in autofocus: the tag for newer compacts is there, and is none."""
    block = LITTLE.raw(0x3000, bytes(0x34) + version + bytes(16))
    said = facts(LITTLE.words(0xB042, [old]), LITTLE.words(0xB04E, [0]), block, model=model)
    assert (said.focus_mode, said.focus_follows) == (FocusMode.AUTO, old != 1)
    assert facts(LITTLE.words(0xB04E, [0]), block, model=model).focus_mode is None


def test_sony_newer_compacts_mean_manual_by_zero() -> None:
    entries = LITTLE.words(0xB042, [0]), LITTLE.words(0xB04E, [0])
    assert facts(*entries, NEWER_COMPACT, model="DSC-RX100").focus_mode is FocusMode.MANUAL
    assert facts(*entries, model="DSC-RX100").focus_mode is None


def test_sony_action_cams_write_zero_for_no_focus_mode() -> None:
    """A real HDR-AS300 has 0 there and no ring to turn."""
    entry = LITTLE.numbers(0x201B, U8, 0)
    assert facts(entry, model="HDR-AS300").focus_mode is None
    assert facts(entry, model="ILCE-6700").focus_mode is FocusMode.MANUAL


@pytest.mark.parametrize(
    ("code", "follows"), [(0, None), (2, False), (3, True), (4, None), (6, None), (7, True)]
)
def test_sony_autofocus_that_goes_on(code: int, follows: bool | None) -> None:
    assert facts(LITTLE.numbers(0x201B, U8, code)).focus_follows is follows


def test_sony_focus_code_grows_toward_far_and_is_not_read_on_the_other_mount() -> None:
    record = bytearray(64)
    record[0] = 0x23
    record[0x2D] = sony.PLAIN.index(124)
    note = LITTLE.raw(0x9402, bytes(record))
    said = placed_note("SONY", b"SONY DSC \0\0\0", note, model="ILCE-7M3")
    assert (said.focus_step, said.step_nearward) == (124, False)
    assert placed_note("SONY", b"SONY DSC \0\0\0", note, model="ILCA-99M2").focus_step is None


def test_sony_burst_frame_of_a_7c_ii() -> None:
    """Read from a real file of this body: the second frame of a burst, plain and enciphered."""
    said = facts(
        LITTLE.words(0xB049, [2]),
        LITTLE.words(0xB04A, [2]),
        record(0x9400, 0x40, (0x09, 1, 1), (0x12, 4, 1), (0x16, 1, 0), (0x1A, 4, 1), first=0x33),
        record(0x9416, 0x80, (0x1D, 4, 1), (0x2B, 1, 1)),
        model="ILCE-7CM2",
    )
    assert (said.drive_mode, said.shot_number, said.planned) == (DriveMode.CONTINUOUS, 2, None)
    assert (said.bracketing, said.counter) == (None, None)


def test_sony_exposure_bracket_of_a_99_ii() -> None:
    """Read from a real file of this body: the first of three."""
    said = facts(
        LITTLE.words(0xB049, [5]),
        LITTLE.words(0xB04A, [1]),
        record(0x9400, 0x40, (0x09, 1, 2), (0x16, 1, 3), first=0x24),
        model="ILCA-99M2",
    )
    assert (said.bracketing, said.shot_number, said.planned) == (Bracketing.EXPOSURE, 1, 3)


LAYOUTS = [
    (0x07, 0x10, 0x08, 0x22),
    (0x0A, 0x10, 0x08, 0x22),
    (0x0C, 0x10, 0x08, 0x1E),
    (0x23, 0x09, 0x12, 0x16),
    (0x41, 0x09, 0x12, 0x16),
]


@pytest.mark.parametrize(("first", "mode", "frame", "length"), LAYOUTS)
def test_sony_sequence_record_stands_in_for_the_plain_tags(
    first: int, mode: int, frame: int, length: int
) -> None:
    def said(code: int, number: int, planned: int, *plain: Entry) -> Facts:
        places = (mode, 1, code), (frame, 4, number), (length, 1, planned)
        return facts(record(0x9400, 0x40, *places, first=first), *plain)

    unsaid = LITTLE.words(0xB049, [65535]), LITTLE.words(0xB04A, [65535])
    burst = said(1, 6, 0, *unsaid)
    assert (burst.drive_mode, burst.shot_number, burst.planned) == ("continuous", 7, None)
    bracket = said(23, 1, 5)
    assert (bracket.bracketing, bracket.shot_number, bracket.planned) == ("exposure", 2, 5)
    single = said(0, 0, 1)
    assert (single.drive_mode, single.shot_number, single.planned) == ("single", None, None)
    assert said(1, 6, 0, LITTLE.words(0xB04A, [0])).shot_number is None


@pytest.mark.parametrize(
    ("code", "drive", "bracket", "planned"),
    [
        (2, None, Bracketing.EXPOSURE, 9),
        (3, None, Bracketing.OTHER, 9),
        (5, DriveMode.CONTINUOUS, None, 9),
        (17, DriveMode.CONTINUOUS, None, 9),
        (19, DriveMode.CONTINUOUS, None, None),
        (26, DriveMode.CONTINUOUS, None, None),
        (18, DriveMode.SINGLE, None, None),
        (9, None, None, None),
        (30, None, None, None),
        (33, None, None, None),
    ],
)
def test_sony_release_modes_of_the_records(
    code: int, drive: DriveMode | None, bracket: Bracketing | None, planned: int | None
) -> None:
    said = facts(record(0x9400, 0x40, (0x09, 1, code), (0x16, 1, 9), first=0x31), model="ILCE-1")
    assert (said.drive_mode, said.bracketing, said.planned) == (drive, bracket, planned)


@pytest.mark.parametrize("length", [100, 200, 1, 0])
def test_sony_lengths_that_are_no_plan(length: int) -> None:
    entry = record(0x9400, 0x40, (0x09, 1, 2), (0x16, 1, length), first=0x26)
    assert facts(LITTLE.words(0xB049, [5]), entry).planned is None


def test_sony_newest_record_stands_in_where_the_other_has_no_known_form() -> None:
    newest = record(0x9416, 0x80, (0x1D, 4, 4), (0x2B, 1, 1))
    said = facts(newest, model="ILCE-7SM3")
    assert (said.drive_mode, said.shot_number) == (DriveMode.CONTINUOUS, 5)
    unknown = record(0x9400, 0x40, (0x09, 1, 0), (0x16, 1, 1), first=0xD0)
    assert facts(unknown, newest, model="ILCE-7SM3").drive_mode is DriveMode.CONTINUOUS
    assert facts(newest, model="ILCE-7M5").drive_mode is None  # its places are others


@pytest.mark.parametrize("length", [0, 1, 9, 0x0A, 0x12, 0x15, 0x16])
def test_sony_cut_records_say_only_what_they_reach(length: int) -> None:
    whole = (0x09, 1, 23), (0x12, 4, 1), (0x16, 1, 5)
    data = record(0x9400, 0x40, *whole, first=0x24).value
    assert isinstance(data, bytes)
    said = facts(LITTLE.raw(0x9400, data[:length]))
    assert said.bracketing == (Bracketing.EXPOSURE if length > 9 else None)
    assert said.shot_number == (2 if length >= 0x16 else None)
    assert said.planned is None


@pytest.mark.parametrize(
    ("model", "at", "width"),
    [
        ("ILCE-7M3", 0x3A, 3),
        ("ILCE-1", 0x3A, 3),
        ("ILCE-7CM2", 0x0A, 3),
        ("SLT-A77V", 0x32, 3),
        ("NEX-6", 0x32, 3),
        ("ILCE-6000", 0x32, 2),
        ("ILCA-77M2", 0x32, 2),
    ],
)
def test_sony_shutter_count(model: str, at: int, width: int) -> None:
    """54041: read from a real file of a NEX-6. The next byte of an ILCE-6000 is none of it."""
    entry = record(0x9050, 0x40, (at, 3, 54041), (at + width, 1, 141))
    assert facts(entry, model=model).counter == 54041
    assert facts(LITTLE.raw(0x9050, b"\1" * (at + 1)), model=model).counter is None


@pytest.mark.parametrize("model", ["DSC-RX100M7", "ZV-1", "ILCE-99"])
def test_sony_bodies_whose_count_has_no_known_place(model: str) -> None:
    assert facts(LITTLE.raw(0x9050, b"\1" * 0x40), model=model).counter is None


@pytest.mark.parametrize(
    ("model", "first", "at", "count"),
    [
        ("DSC-RX1R", 0x0A, 0x1A, 4),
        ("DSC-RX100M2", 0x0C, 0x16, 4),
        ("DSC-RX10M3", 0x24, 0x0A, 4),
        ("DSC-RX100M7", 0x28, 0x0A, None),
    ],
)
def test_sony_shots_since_power_up_stand_in_for_the_shutter_count(
    model: str, first: int, at: int, count: int | None
) -> None:
    """4: read from a real file of a DSC-RX1R."""
    assert facts(record(0x9400, 0x40, (at, 4, 4), first=first), model=model).counter == count


@pytest.mark.parametrize(
    ("kind", "timer", "drive"),
    [(6, 0, DriveMode.TIMER), (0, 2, DriveMode.TIMER), (0, 0, DriveMode.SINGLE)],
)
def test_sony_kind_of_release_tells_the_timer_too(kind: int, timer: int, drive: DriveMode) -> None:
    """A real ILCE-7M3 says 6 and 2."""
    settings = record(0x2010, 0x300, (0x204, 1, kind), (0x208, 1, 0), (0x210, 1, timer))
    assert facts(LITTLE.words(0xB049, [0]), settings).drive_mode is drive


def test_sony_settings_tell_the_release_mode_where_nothing_else_does() -> None:
    settings = record(0x2010, 0x1200, (0x1160, 1, 1))
    assert facts(settings, model="NEX-6").drive_mode is DriveMode.CONTINUOUS
    cut = record(0x2010, 0x20, (0x04, 1, 1))
    assert facts(cut, model="NEX-6").drive_mode is None


@pytest.mark.parametrize(
    ("stated", "area", "expected"),
    [
        (2, 0, FocusMode.AUTO),
        (0x80 | 6, 0, FocusMode.AUTO),
        (0, 0, FocusMode.MANUAL),
        (2, 255, FocusMode.MANUAL),
        (1, 0, None),
    ],
)
def test_sony_focus_mode_of_the_record(stated: int, area: int, expected: FocusMode | None) -> None:
    entry = record(0x9402, 0x40, (0x16, 1, stated), (0x17, 1, area), first=0x1A)
    assert facts(entry).focus_mode == expected
    plain = LITTLE.numbers(0x201B, U8, 3)
    assert facts(plain, entry).focus_mode is FocusMode.AUTO
    assert facts(entry, model="ILCA-99M2").focus_mode is None


@pytest.mark.parametrize("first", [0x05, 0xFF])
def test_sony_focus_records_without_focus(first: int) -> None:
    said = facts(record(0x9402, 0x40, (0x2D, 1, 124), first=first))
    assert (said.focus_step, said.focus_mode) == (None, None)


@pytest.mark.parametrize(("code", "expected"), [(1, "auto"), (2, "auto"), (65535, None)])
def test_sony_focus_mode_of_old_compacts(code: int, expected: str | None) -> None:
    entries = LITTLE.words(0xB042, [code]), LITTLE.words(0xB04E, [65535])
    assert facts(*entries, model="DSC-H9").focus_mode == expected
    assert facts(*entries, model="ILCE-1").focus_mode is None


@pytest.mark.parametrize(
    ("number", "total", "expected"),
    [
        (0, 4, ("other", 4, None, None)),
        (1, 16, ("", None, Bracketing.OTHER, 1)),
        (5, 4, ("", None, None, None)),
        (0, 0, ("", None, None, None)),
    ],
)
def test_sony_shifted_sensor(
    number: int, total: int, expected: tuple[str, int | None, Bracketing | None, int | None]
) -> None:
    said = facts(LITTLE.raw(0x202F, b"\1\2\3\4" + bytes([number, total])))
    assert (said.merged, said.merged_from, said.bracketing, said.shot_number) == expected
    assert said.burst_id == ("01020304" if said.bracketing else "")


@pytest.mark.parametrize(("second", "merged"), [(0, ""), (1, "exposure"), (2, ""), (3, "")])
def test_sony_hdr_tells_the_merged_from_the_original(second: int, merged: str) -> None:
    assert facts(LITTLE.numbers(0x200A, U32, second << 16 | 0x11)).merged == merged


@pytest.mark.parametrize(("code", "fired"), [(0, False), (1, True), (3, True), (9, None)])
def test_sony_flash_that_exif_leaves_out(code: int, fired: bool | None) -> None:
    assert facts(LITTLE.numbers(0x2017, U32, code)).flash_fired is fired


@pytest.mark.parametrize(("number", "lens"), [(128, "lens 128"), (255, ""), (65535, ""), (0, "")])
def test_sony_lens_by_its_number_where_no_name_is_written(number: int, lens: str) -> None:
    """128 and 255 beside "----": read from real files of an SLT-A77V."""
    assert facts(LITTLE.numbers(0xB027, U32, number)).lens == lens


def test_sony_says_nothing_of_focus_brackets() -> None:
    said = facts(LITTLE.words(0xB049, [0]), LITTLE.words(0xB04A, [0]))
    assert (said.bracketing, said.drive_mode) == (None, DriveMode.SINGLE)
