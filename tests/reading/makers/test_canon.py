"""Canon's notes to facts.

Numbers are values of real frames as published in general-purpose metadata libraries' tag tables,
or read from a real file of the body that is named, put into synthetic notes.
"""

from __future__ import annotations

import math

import pytest

from cardmaking.tiff import U32, Entry
from reading.builders import LITTLE, placed_note
from reading.builders import sized_longs as longs
from reading.builders import sized_words as words
from sorter.model.frame import Facts
from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.builder import FactsBuilder
from sorter.reading.makers import canon as canon_note


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


def test_canon_arrays_of_other_containers_are_read_by_the_same_rules() -> None:
    found = FactsBuilder()
    settings = [98, 0, 0, 0, 0, 1, 0, 3, *[0] * 41]
    file = [132, *[0] * 19, 142, 119, *[0] * 44, 7, 7]
    texts = {canon_note.SERIAL: "560018150", canon_note.LENS: "n/a"}
    canon_note.fill({0x0001: settings, 0x0093: file}, texts, found)
    said = found.built()
    assert (said.drive_mode, said.focus_mode) == (DriveMode.CONTINUOUS, FocusMode.MANUAL)
    assert (said.focus_near_m, said.focus_far_m) == (1.19, 1.42)
    assert (said.serial, said.lens) == ("560018150", "")


@pytest.mark.parametrize("tag", sorted(canon_note.WIDTHS))
def test_canon_arrays_that_are_cut_say_nothing(tag: int) -> None:
    width = canon_note.WIDTHS[tag]
    for stored in ([], [2 * width], [0, 9, 9, 9], [-8, 9, 9, 9], [2 * width, 0, *[9] * 90]):
        found = FactsBuilder()
        canon_note.fill({tag: stored}, {}, found)
        said = found.built()
        expected = FocusMode.MANUAL if tag in {0x0026, 0x003C} and len(stored) > 9 else None
        assert (said.drive_mode, said.focus_mode, said.bracketing) == (None, expected, None)
        assert (said.focus_near_m, said.merged, said.lens) == (None, "", "")


def test_canon_number_in_a_burst_is_taken_of_bursts_alone() -> None:
    """A real PowerShot S90 writes 1 in continuous drive; modern bodies write 0."""
    shot = words(0x0004, 34, {9: 1})
    assert canon(words(0x0001, 49, {5: 1}), shot).shot_number == 1
    assert canon(words(0x0001, 49, {5: 0}), shot).shot_number is None
    assert canon(words(0x0001, 49, {5: 1}), words(0x0004, 34, {})).shot_number is None
    assert canon(words(0x0001, 49, {5: 1}), words(0x0004, 34, {9: 28624})).shot_number is None


def test_canon_self_timer_by_the_shot_record_where_the_settings_do_not_reach_it() -> None:
    assert canon(words(0x0004, 34, {29: 20})).drive_mode is DriveMode.TIMER
    assert canon(words(0x0004, 34, {29: 0xFFFF})).drive_mode is None
    settings = words(0x0001, 49, {})
    assert canon(settings, words(0x0004, 34, {29: 20})).drive_mode is DriveMode.SINGLE


@pytest.mark.parametrize("kind", [1, 2])
def test_canon_white_balance_bracket_by_its_own_word(kind: int) -> None:
    file = words(0x0093, 66, {9: kind})
    said = canon(words(0x0001, 59, {}), words(0x0004, 34, {}), file)
    assert said.bracketing is Bracketing.OTHER


@pytest.mark.parametrize("tag", [0x0026, 0x003C])
def test_canon_focus_by_hand_where_the_autofocus_area_says_so(tag: int) -> None:
    area = words(tag, 9, {1: 0})
    assert canon(words(0x0001, 49, {7: 16}), area).focus_mode is FocusMode.MANUAL
    assert canon(words(0x0001, 49, {7: 0}), area).focus_mode is FocusMode.AUTO
    assert canon(words(tag, 9, {1: 2})).focus_mode is None


def test_canon_focus_by_hand_by_the_kind_of_autofocus() -> None:
    assert canon(words(0x0001, 49, {7: 16, 32: 8})).focus_mode is FocusMode.MANUAL
    assert canon(words(0x0001, 49, {7: 16, 32: 1})).focus_mode is None


@pytest.mark.parametrize(
    ("mode", "bits", "fired"),
    [
        (0xFFFF, 8200, True),
        (16, 16408, True),
        (16, 8, None),
        (0, 8, False),
        (0, 0, False),
        (1, 0, None),
    ],
)
def test_canon_flash_that_exif_leaves_out(mode: int, bits: int, fired: bool | None) -> None:
    """Real pictures of an EOS 600D (8200, fired), a 5D Mark II (16408, fired), an M50 (8, not)."""
    assert canon(words(0x0001, 49, {4: mode, 29: bits})).flash_fired is fired


@pytest.mark.parametrize(
    ("number", "mirrorless", "lens"),
    [
        (254, 0, "lens 254"),
        (0, 0, ""),
        (65535, 0, ""),
        (61182, 279, "RF lens 279"),
        (61182, 0, ""),
    ],
)
def test_canon_lens_by_its_number_where_no_name_is_written(
    number: int, mirrorless: int, lens: str
) -> None:
    settings, file = words(0x0001, 59, {22: number}), words(0x0093, 66, {61: mirrorless})
    assert canon(settings, file).lens == lens
    name = LITTLE.text(0x0095, "EF100mm f/2.8L Macro IS USM")
    assert canon(settings, file, name).lens == "EF100mm f/2.8L Macro IS USM"


@pytest.mark.parametrize(
    ("model", "at", "expected"),
    [
        ("Canon EOS R5", 0x0AF1, 12260),
        ("Canon EOS R8", 0x0D29, 12260),
        ("Canon EOS R7", 0x0AF1, None),
        ("Canon EOS R6m2", 0x0AF1, None),
    ],
)
def test_canon_shutter_count_stands_where_the_model_says(
    model: str, at: int, expected: int | None
) -> None:
    """12260: read from a real file of an EOS R5."""
    block = bytearray(0x0D40)
    block[at : at + 4] = (12260).to_bytes(4, "little")
    said = placed_note("Canon", b"", LITTLE.raw(0x000D, bytes(block)), model=model)
    assert said.counter == expected


def test_canon_shutter_count_of_a_short_block_is_not_said() -> None:
    block = LITTLE.raw(0x000D, b"\1" * 0x0AF3)
    assert placed_note("Canon", b"", block, model="Canon EOS R5").counter is None


def test_canon_serial_that_exif_leaves_out() -> None:
    """Read from a real file of an EOS 300D."""
    assert canon(LITTLE.numbers(0x000C, U32, 560018150)).serial == "560018150"
    assert canon(LITTLE.numbers(0x000C, U32, 0)).serial == ""


def test_canon_roll_of_raws_is_no_planned_series() -> None:
    said = canon(words(0x0001, 59, {5: 5}), longs(0x403F, 3, {1: 1, 2: 70}))
    assert (said.planned, said.shot_number) == (None, None)


def test_canon_multiple_exposure_is_merged() -> None:
    said = canon(words(0x0001, 59, {}), longs(0x4021, 9, {1: 1, 3: 3}))
    assert (said.merged, said.merged_from) == ("other", 3)
    assert canon(words(0x0001, 59, {}), longs(0x4021, 9, {1: 0, 3: 3})).merged == ""


@pytest.mark.parametrize(
    ("settings", "follows"),
    [({7: 0}, False), ({7: 1}, True), ({7: 257}, True), ({7: 4}, False), ({7: 519}, True),
     ({7: 3}, None), ({7: 2}, None), ({7: 2, 32: 1}, True), ({7: 2, 32: 0}, False)],
)  # fmt: skip
def test_canon_autofocus_that_goes_on(settings: dict[int, int], follows: bool | None) -> None:
    count = 49 if 32 in settings else 20
    assert canon(words(0x0001, count, settings)).focus_follows is follows
