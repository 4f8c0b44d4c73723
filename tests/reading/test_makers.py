"""Maker notes to facts.

The numbers are values of real frames as published in general-purpose metadata tables, put into
synthetic notes; where a test says "from memory" it rests on trade knowledge alone.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Mapping

import pytest

from cardmaking.tiff import RAT, S32, U8, U32, Entry, Writer, directory, tiff
from reading.builders import (
    EXIF_POINTER,
    LITTLE,
    TIME,
    draft,
    exif_tiff,
    jpeg,
    own_note,
    placed_note,
)
from sorter.model.frame import Facts
from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.makers import canon as canon_note
from sorter.reading.makers import nikon, pentax, sony

# ---- Canon ----------------------------------------------------------------------------------


def words(tag: int, count: int, filled: Mapping[int, int]) -> Entry:
    array = [count * 2, *(filled.get(index, 0) for index in range(1, count))]
    return LITTLE.words(tag, array)


def longs(tag: int, count: int, filled: Mapping[int, int]) -> Entry:
    array = [count * 4, *(filled.get(index, 0) for index in range(1, count))]
    return LITTLE.numbers(tag, S32, *array)


def canon(*entries: Entry) -> Facts:
    return placed_note("Canon", b"", *entries)


@pytest.mark.parametrize(
    ("far", "near", "expected"),
    [
        (294, 265, (2.65, 2.94)),
        (24, 22, (0.22, 0.24)),
        (65535, 8191, (81.91, math.inf)),
        (0, 0, (None, None)),
        (612, 0, (6.12, 6.12)),
        (265, 294, (2.65, 2.94)),
    ],
)
def test_canon_limits_of_focus(
    far: int, near: int, expected: tuple[float | None, float | None]
) -> None:
    said = canon(words(0x0093, 66, {20: far, 21: near}))
    assert (said.focus_near_m, said.focus_far_m) == expected


def test_canon_old_limits_stand_in_where_the_new_place_is_empty() -> None:
    old = words(0x0004, 33, {19: 65535, 20: 546})
    said = canon(old, words(0x0093, 66, {}))
    assert (said.focus_near_m, said.focus_far_m) == (5.46, math.inf)
    said = canon(old, words(0x0093, 66, {20: 119, 21: 110}))
    assert (said.focus_near_m, said.focus_far_m) == (1.1, 1.19)


def test_canon_words_that_the_array_does_not_reach_are_not_said() -> None:
    said = canon(words(0x0093, 9, {}), words(0x0001, 49, {5: 5}))
    assert said.focus_near_m is None
    assert said.bracketing is None


def test_canon_word_zero_bounds_the_array() -> None:
    longer = [18, *[0] * 19, 294, 265]
    assert canon(LITTLE.words(0x0093, longer)).focus_far_m is None


@pytest.mark.parametrize(
    ("code", "expected"),
    [(12, 1 / 3), (16, 0.5), (20, 2 / 3), (32, 1.0), (-44, -4 / 3), (0, 0.0), (64, 2.0)],
)
def test_canon_exposure_codes(code: int, expected: float) -> None:
    value = canon_note.ev(code & 0xFFFF)
    assert value == pytest.approx(expected)


@pytest.mark.parametrize(
    ("filled", "drive"),
    [
        ({5: 0}, DriveMode.SINGLE),
        ({5: 6}, DriveMode.SINGLE),
        ({5: 1}, DriveMode.CONTINUOUS),
        ({5: 4}, DriveMode.CONTINUOUS),
        ({5: 5}, DriveMode.CONTINUOUS),
        ({5: 2}, None),
        ({5: 33}, None),
        ({2: 100}, DriveMode.TIMER),
        ({2: 20 | 0x4000, 5: 5}, DriveMode.TIMER),
    ],
)
def test_canon_drive(filled: dict[int, int], drive: DriveMode | None) -> None:
    assert canon(words(0x0001, 49, filled)).drive_mode == drive


@pytest.mark.parametrize(
    ("mode", "expected"),
    [
        (0, FocusMode.AUTO),
        (1, FocusMode.AUTO),
        (3, FocusMode.MANUAL),
        (6, FocusMode.MANUAL),
        (256, FocusMode.AUTO),
        (259, FocusMode.MANUAL),
        (16, None),
    ],
)
def test_canon_focus_mode(mode: int, expected: FocusMode | None) -> None:
    assert canon(words(0x0001, 49, {7: mode})).focus_mode == expected


def test_canon_focus_bracket_by_its_own_record() -> None:
    said = canon(longs(0x4053, 9, {1: 1, 2: 48, 3: 4}))
    assert (said.bracketing, said.planned) == (Bracketing.FOCUS, 48)


def test_canon_planned_frames_of_a_bracket_that_is_off_are_a_menu_and_no_plan() -> None:
    said = canon(longs(0x4053, 9, {1: 0, 2: 100}))
    assert (said.bracketing, said.planned) == (None, None)


def test_canon_focus_bracket_by_the_settings_where_there_is_no_record() -> None:
    assert canon(words(0x0001, 59, {50: 1})).bracketing is Bracketing.FOCUS


def test_canon_off_is_said_only_where_focus_and_exposure_are_spoken_of() -> None:
    shot = words(0x0004, 34, {})
    assert canon(words(0x0001, 59, {}), shot).bracketing is Bracketing.OFF
    assert canon(words(0x0001, 49, {}), shot).bracketing is None
    assert canon(words(0x0001, 59, {})).bracketing is None


@pytest.mark.parametrize(("state", "number"), [(-1, 2), (2, 2), (3, 3)])
def test_canon_exposure_bracket(state: int, number: int) -> None:
    shot = words(0x0004, 34, {16: state, 17: -44})
    said = canon(shot, words(0x0093, 66, {3: 1, 5: number}))
    assert said.bracketing is Bracketing.EXPOSURE
    assert said.bracket_offset_ev == pytest.approx(-4 / 3)
    assert said.shot_number == number


def test_canon_exposure_bracket_by_the_shot_record_alone() -> None:
    said = canon(words(0x0004, 34, {16: 3, 17: 32}))
    assert (said.bracketing, said.bracket_offset_ev, said.shot_number) == ("exposure", 1.0, 3)


@pytest.mark.parametrize("kind", [2, 3, 4])
def test_canon_other_brackets(kind: int) -> None:
    said = canon(words(0x0001, 59, {}), words(0x0004, 34, {}), words(0x0093, 66, {3: kind}))
    assert said.bracketing is Bracketing.OTHER


def test_canon_lens_name_is_cut_before_the_garbage_behind_it() -> None:
    name = b"RF100mm F2.8 L MACRO IS USM\0\x9d\x13\xe8garbage"
    assert canon(LITTLE.raw(0x0095, name, kind=2)).lens == "RF100mm F2.8 L MACRO IS USM"


@pytest.mark.parametrize(
    ("base", "auto", "iso"), [(128, 0, 50), (160, 0, 100), (160, 32, 200), (0, 0, None)]
)
def test_canon_sensitivity_that_exif_leaves_out(base: int, auto: int, iso: int | None) -> None:
    """Real pictures of PowerShots A520 (50) and S40 (100)."""
    assert canon(words(0x0004, 34, {1: auto, 2: base})).iso == iso
    assert canon_note.iso(0xFFFF, 0) is None


def test_canon_hdr_marks_a_lone_jpeg_as_merged_and_no_raw() -> None:
    hdr = longs(0x4025, 3, {1: 2})
    assert canon(words(0x0001, 49, {9: 1}), hdr).merged == "exposure"
    assert canon(words(0x0001, 49, {9: 12}), hdr).merged == ""


def test_canon_note_moved_by_an_editor_is_read_by_its_trailer() -> None:
    was_at = 700
    body = directory("<", [words(0x0093, 66, {20: 294, 21: 265})], was_at)
    note = body + b"II*\0" + struct.pack("<I", was_at)
    main = [LITTLE.text(0x010F, "Canon")]
    exif = [TIME, LITTLE.raw(0x927C, note)]
    assert draft(jpeg(exif_tiff(main, exif))).facts().focus_far_m == 2.94


# ---- Olympus and OM SYSTEM ------------------------------------------------------------------

OLYMPUS = b"OLYMPUS\0II\3\0"
OM = b"OM SYSTEM\0\0\0II\4\0"


def olympus(
    camera: tuple[Entry, ...] = (),
    focus: tuple[Entry, ...] = (),
    equipment: tuple[Entry, ...] = (),
    head: bytes = OLYMPUS,
) -> Facts:
    filler = LITTLE.words(0x0000, [1])
    return own_note(
        "OLYMPUS",
        head,
        LITTLE.numbers(0x0200, U32, 0, 0, 0),
        LITTLE.below(0x2010, [filler, *equipment], 13),
        LITTLE.below(0x2020, [filler, *camera], 13),
        LITTLE.below(0x2050, [filler, *focus], 13),
    )


@pytest.mark.parametrize("head", [OLYMPUS, OM])
def test_olympus_headers(head: bytes) -> None:
    serial = LITTLE.text(0x0101, "BJ7A60417".ljust(31))
    said = olympus(equipment=(serial, LITTLE.text(0x0203, "60mm F2.8 Macro  ")), head=head)
    assert (said.serial, said.lens) == ("BJ7A60417", "60mm F2.8 Macro")


@pytest.mark.parametrize(
    ("ratio", "metres"),
    [
        ((705, 10), 0.705),
        ((705, 1), 0.705),
        ((2310, 10), 2.31),
        ((385800, 10), 385.8),
        ((0xFFFFFFFF, 10), math.inf),
        ((0, 10), None),
    ],
)
def test_olympus_distance_is_millimetres_whatever_stands_below(
    ratio: tuple[int, int], metres: float | None
) -> None:
    said = olympus(focus=(LITTLE.ratios(0x0305, ratio, kind=RAT),))
    assert (said.focus_near_m, said.focus_far_m) == (metres, metres)


def test_olympus_step_grows_toward_near() -> None:
    said = olympus(focus=(LITTLE.words(0x0301, [5474]),))
    assert (said.focus_step, said.step_nearward) == (5474, True)
    said = olympus(focus=(LITTLE.words(0x0301, [0]),))
    assert (said.focus_step, said.step_nearward) == (None, None)


@pytest.mark.parametrize(
    ("drive", "bracketing", "mode", "shot"),
    [
        ([0, 0, 0, 0, 0], Bracketing.OFF, DriveMode.SINGLE, None),
        ([1, 1, 0, 0, 0], Bracketing.OFF, DriveMode.CONTINUOUS, 1),
        ([1, 2], Bracketing.OFF, DriveMode.CONTINUOUS, 2),
        ([5, 1, 1, 0, 0], Bracketing.EXPOSURE, None, 1),
        ([5, 3, 1 << 5, 0, 0], Bracketing.EXPOSURE, None, 3),
        ([5, 4, 1 << 6, 0, 4, 0x27], Bracketing.FOCUS, DriveMode.CONTINUOUS, 4),
        ([5, 1, 1 << 1, 0, 0], Bracketing.OTHER, None, 1),
        ([5, 1, 1 << 4, 0, 0], Bracketing.OTHER, None, 1),
        ([5, 1, 1 << 3, 0, 0], None, None, 1),
        ([2, 1], Bracketing.EXPOSURE, None, 1),
        ([0, 0, 0, 0, 4, 0x21], Bracketing.OFF, DriveMode.SINGLE, None),
        ([0, 0, 0, 0, 4, 0x24], Bracketing.OFF, DriveMode.TIMER, None),
        ([0, 0, 0, 0, 1, 0x14], Bracketing.OFF, DriveMode.TIMER, None),
        ([1, 7, 0, 0, 4, 0x28], Bracketing.OFF, DriveMode.CONTINUOUS, 7),
        ([1, 7, 0, 0, 4, 0x41], Bracketing.OFF, DriveMode.CONTINUOUS, 7),
        ([0, 0, 0, 0, 4, 0x30], Bracketing.OFF, DriveMode.SINGLE, None),
    ],
)
def test_olympus_drive(
    drive: list[int], bracketing: Bracketing | None, mode: DriveMode | None, shot: int | None
) -> None:
    said = olympus(camera=(LITTLE.words(0x0600, drive),))
    assert (said.bracketing, said.drive_mode, said.shot_number) == (bracketing, mode, shot)


@pytest.mark.parametrize(
    ("mode", "expected"),
    [
        ([10, 81], FocusMode.MANUAL),
        ([2, 68], FocusMode.AUTO),
        ([0, 65], FocusMode.AUTO),
        ([10], FocusMode.MANUAL),
        ([99, 16], FocusMode.MANUAL),
        ([99, 1], None),
    ],
)
def test_olympus_focus_mode(mode: list[int], expected: FocusMode | None) -> None:
    assert olympus(camera=(LITTLE.words(0x0301, mode),)).focus_mode == expected


@pytest.mark.parametrize(
    ("kind", "frames", "expected"),
    [
        (9, 8, ("focus", 8)),
        (6, 2, ("exposure", 2)),
        (11, 12, ("other", 12)),
        (0, 0, ("", None)),
        (77, 3, ("", None)),
    ],
)
def test_olympus_merged(kind: int, frames: int, expected: tuple[str, int | None]) -> None:
    said = olympus(camera=(LITTLE.numbers(0x0804, U32, kind, frames),))
    assert (said.merged, said.merged_from) == expected


def test_olympus_first_bodies_keep_directories_in_the_place_of_values() -> None:
    camera = LITTLE.placed(0x2020, lambda at: directory("<", [LITTLE.words(0x0600, [1, 2])], at))
    said = placed_note("OLYMPUS CORPORATION", b"OLYMP\0\1\0", camera)
    assert (said.drive_mode, said.shot_number) == (DriveMode.CONTINUOUS, 2)


def test_olympus_offsets_count_from_the_note_where_the_other_base_looks_nearer_by_chance() -> None:
    """A real E-P3 picture: the first value stands behind the sub-directories."""
    behind = len(OLYMPUS) + 2 + 2 * 12 + 4

    def note(at: int) -> bytes:
        """The value's offset would be right behind the entries if it counted from the TIFF."""
        rows = struct.pack("<HHII", 0x0200, U32, 3, at + behind + 8)
        rows += struct.pack("<HHII", 0x2020, U32, 1, behind)
        camera = directory("<", [LITTLE.words(0x0600, [1, 7])], behind)
        return (OLYMPUS + struct.pack("<H", 2) + rows + b"\0" * 4 + camera).ljust(1000, b"\0")

    main = [LITTLE.text(0x010F, "OLYMPUS")]
    said = draft(jpeg(exif_tiff(main, [TIME, LITTLE.placed(0x927C, note)]))).facts()
    assert (said.drive_mode, said.shot_number) == (DriveMode.CONTINUOUS, 7)


# ---- Panasonic ------------------------------------------------------------------------------


def panasonic(*entries: Entry) -> Facts:
    return placed_note("Panasonic", b"Panasonic\0\0\0", *entries)


@pytest.mark.parametrize(
    ("burst", "bracketing", "drive"),
    [
        (0, Bracketing.OFF, DriveMode.SINGLE),
        (1, Bracketing.OFF, DriveMode.CONTINUOUS),
        (4, Bracketing.OFF, DriveMode.CONTINUOUS),
        (17, Bracketing.OFF, DriveMode.CONTINUOUS),
        (2, Bracketing.EXPOSURE, None),
        (3, Bracketing.FOCUS, None),
        (8, Bracketing.OTHER, None),
        (18, Bracketing.OTHER, None),
        (77, None, None),
    ],
)
def test_panasonic_burst(
    burst: int, bracketing: Bracketing | None, drive: DriveMode | None
) -> None:
    said = panasonic(LITTLE.words(0x002A, [burst]))
    assert (said.bracketing, said.drive_mode) == (bracketing, drive)


def test_panasonic_says_nothing_of_bracketing_where_the_tag_is_missing() -> None:
    assert panasonic(LITTLE.words(0x0007, [1])).bracketing is None


@pytest.mark.parametrize(("stored", "step"), [(0, 0), (3, 3), (0xFFFD, -3)])
def test_panasonic_focus_bracket_steps_grow_toward_far(stored: int, step: int) -> None:
    said = panasonic(LITTLE.words(0x002A, [3]), LITTLE.words(0x00BD, [stored]))
    assert (said.focus_step, said.step_nearward) == (step, False)


def test_panasonic_focus_bracket_by_timer_recording_or_offset_alone() -> None:
    assert panasonic(LITTLE.numbers(0x0096, U8, 3)).bracketing is Bracketing.FOCUS
    off = LITTLE.words(0x002A, [0])
    assert panasonic(off, LITTLE.words(0x00BD, [2])).bracketing is Bracketing.FOCUS
    said = panasonic(off, LITTLE.words(0x00BD, [0]))
    assert (said.bracketing, said.focus_step) == (Bracketing.OFF, None)


def test_panasonic_counter_is_hundredths_since_power_on() -> None:
    assert panasonic(LITTLE.numbers(0x0029, U32, 63308)).counter == 63308


@pytest.mark.parametrize(("mode", "expected"), [(2, "manual"), (1, "auto"), (6, "auto"), (9, None)])
def test_panasonic_focus_mode(mode: int, expected: str | None) -> None:
    assert panasonic(LITTLE.words(0x0007, [mode])).focus_mode == expected


def test_panasonic_timer_and_number() -> None:
    timer = panasonic(LITTLE.words(0x002A, [0]), LITTLE.words(0x002E, [3]))
    assert timer.drive_mode is DriveMode.TIMER
    number = LITTLE.numbers(0x002B, U32, 5)
    assert panasonic(LITTLE.words(0x002A, [1]), number).shot_number == 5


@pytest.mark.parametrize("head", [b"LEICA\0\0\0", b"LEICA CAMERA AG\0\0\0"])
def test_leica_twins_are_read_like_panasonic(head: bytes) -> None:
    said = placed_note("LEICA", head, LITTLE.words(0x002A, [1]), LITTLE.numbers(0x2B, U32, 2))
    assert (said.drive_mode, said.shot_number) == (DriveMode.CONTINUOUS, 2)


def test_panasonic_raw_shell_tells_the_step() -> None:
    inner = tiff("<", [[LITTLE.words(0x1100, [40]), LITTLE.words(0x1101, [812])]])
    outer = [
        LITTLE.text(0x010F, "Panasonic"),
        LITTLE.raw(0x0120, inner.ljust(64, b"\0")),
        LITTLE.below(EXIF_POINTER, [TIME]),
    ]
    found = draft(tiff("<", [outer], magic=0x55), "P1000001.RW2")
    assert (found.container, found.facts().focus_step) == ("rw2", 812)
    assert found.facts().step_nearward is None


# ---- Nikon, Sony, Fujifilm, Pentax ----------------------------------------------------------


def nikon_facts(*entries: Entry) -> Facts:
    inner = tiff("<", [entries])
    return own_note_raw("NIKON CORPORATION", b"Nikon\0\2\x10\0\0" + inner)


def own_note_raw(make: str, note: bytes, model: str = "") -> Facts:
    main = [LITTLE.text(0x010F, make), LITTLE.text(0x0110, model)]
    return draft(jpeg(exif_tiff(main, [TIME, LITTLE.raw(0x927C, note)]))).facts()


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
    record = b"0100" + struct.pack("<II", 0x2472E000, 7) + b"\0" * 4
    said = nikon_facts(LITTLE.raw(0x0056, record))
    assert (said.burst_id, said.shot_number) == ("2472e000", 7)
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
    assert (said.iso, said.serial) == (200, "NO= 20025585")
    assert nikon_facts(LITTLE.words(0x0002, [0, 0])).iso is None


def test_nikon_lens_by_its_limits() -> None:
    assert nikon.lens_name(((180, 10), (700, 10), (35, 10), (45, 10))) == "18-70mm f/3.5-4.5"
    assert nikon.lens_name(((105, 1), (105, 1), (28, 10), (28, 10))) == "105mm f/2.8"
    assert nikon.lens_name(((0, 1),) * 4) == ""
    assert nikon.lens_name(((1, 0),) * 4) == ""


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
    [("DSC-RX1R", FocusMode.AUTO), ("DSC-RX100M6", FocusMode.MANUAL), ("ILCE-1", FocusMode.MANUAL)],
)
def test_sony_compacts_tell_the_focus_mode_elsewhere_until_2018(
    model: str, expected: FocusMode
) -> None:
    entries = LITTLE.numbers(0x201B, U8, 0), LITTLE.words(0xB04E, [6])
    assert placed_note("SONY", b"SONY DSC \0\0\0", *entries, model=model).focus_mode is expected


def test_sony_focus_code_grows_toward_far_and_is_not_read_on_the_other_mount() -> None:
    record = bytearray(64)
    record[0] = 0x23
    record[0x2D] = sony.PLAIN.index(124)
    note = LITTLE.raw(0x9402, bytes(record))
    said = placed_note("SONY", b"SONY DSC \0\0\0", note, model="ILCE-7M3")
    assert (said.focus_step, said.step_nearward) == (124, False)
    assert placed_note("SONY", b"SONY DSC \0\0\0", note, model="ILCA-99M2").focus_step is None


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
    said = draft(jpeg(block)).facts()
    assert (said.focus_mode, said.drive_mode, said.shot_number, said.serial) == (
        FocusMode.MANUAL,
        DriveMode.CONTINUOUS,
        3,
        "FPX 12345",
    )


def test_pentax_masked_count() -> None:
    stored, date, time = (bytes.fromhex(one) for one in ("f01bc393", "07dc071f", "08383b"))
    assert pentax.shutter_count(stored, date, time) == 115


def test_pentax_drive_and_focus() -> None:
    big = Writer(">")
    entries = [big.words(0x000D, [3]), big.raw(0x0034, bytes([0, 2, 0, 0]), kind=U8)]
    note = b"AOC\0MM" + directory(">", entries, 0)
    said = own_note_raw("PENTAX", note)
    assert (said.focus_mode, said.drive_mode) == (FocusMode.MANUAL, DriveMode.TIMER)


def test_pentax_dng_keeps_its_note_in_the_first_directory() -> None:
    entries = [LITTLE.words(0x000D, [0x10]), LITTLE.raw(0x0034, bytes([1, 0, 0, 0]), kind=U8)]
    note = b"PENTAX \0II" + directory("<", entries, 10)
    main = [
        LITTLE.text(0x010F, "PENTAX"),
        LITTLE.numbers(0xC612, U8, 1, 4, 0, 0),
        LITTLE.raw(0xC634, note, kind=U8),
        LITTLE.below(EXIF_POINTER, [TIME]),
    ]
    found = draft(tiff("<", [main]), "IMGP0001.DNG")
    assert found.container == "dng"
    assert found.facts().drive_mode is DriveMode.CONTINUOUS


def test_a_converted_dng_keeps_the_base_of_the_file_that_it_was_made_from() -> None:
    was_at = 0x2BC
    body = directory("<", [words(0x0093, 66, {20: 294, 21: 265})], was_at)
    private = b"Adobe\0MakN" + struct.pack(">I", len(body) + 6) + b"II" + struct.pack(">I", was_at)
    main = [
        LITTLE.text(0x010F, "Canon"),
        LITTLE.numbers(0xC612, U8, 1, 4, 0, 0),
        LITTLE.raw(0xC634, private + body, kind=U8),
        LITTLE.below(EXIF_POINTER, [TIME]),
    ]
    assert draft(tiff("<", [main]), "A.DNG").facts().focus_far_m == 2.94


def test_a_note_of_an_unknown_maker_says_nothing() -> None:
    said = own_note_raw("Unheard-of", b"\1\0" + b"x" * 40)
    assert (said.drive_mode, said.bracketing, said.focus_step) == (None, None, None)
