"""The standard's tags to facts (field cases V1 to V8)."""

from __future__ import annotations

import math

import pytest

from cardmaking.tiff import SRAT, U32, Writer
from reading.builders import LITTLE, TIME, builder, exif_tiff, facts, jpeg
from sorter.model.frame import Facts
from sorter.reading.builder import FactsBuilder
from sorter.reading.moments import SUSPECT


def test_what_is_not_said_is_none() -> None:
    said = facts(TIME)
    expected = Facts(moment=said.moment, width=6000, height=4000)
    assert said == expected


@pytest.mark.parametrize(
    ("ratio", "seconds"),
    [((1, 160), 1 / 160), ((30, 1), 30), ((0, 1), None), ((1, 0), None), ((0, 0), None)],
)
def test_exposure_time(ratio: tuple[int, int], seconds: float | None) -> None:
    assert facts(LITTLE.ratios(0x829A, ratio)).exposure_time_s == seconds


@pytest.mark.parametrize("ratio", [(1_000_000_000, 1), (1, 1_000_000_001)])
def test_an_absurd_exposure_time_is_unknown(ratio: tuple[int, int]) -> None:
    assert facts(LITTLE.ratios(0x829A, ratio)).exposure_time_s is None


@pytest.mark.parametrize(
    ("apex", "seconds"), [((10, 1), 2.0**-10), ((-4, 1), 16.0), ((20, 1), None), ((-17, 1), None)]
)
def test_a_time_in_apex_units_is_bounded_on_both_sides(
    apex: tuple[int, int], seconds: float | None
) -> None:
    """CIPA DC-008, annex on APEX: t = 2^-Tv. The fuzzer found 2^-64 s."""
    assert facts(LITTLE.ratios(0x9201, apex, kind=SRAT)).exposure_time_s == seconds


def test_an_opening_near_zero_is_unknown() -> None:
    """Found by the fuzzer: 2 over 4294967295."""
    assert facts(LITTLE.ratios(0x829D, (2, 0xFFFFFFFF))).f_number is None


@pytest.mark.parametrize(("ratio", "expected"), [((28, 10), 2.8), ((0, 10), None), ((0, 0), None)])
def test_f_number(ratio: tuple[int, int], expected: float | None) -> None:
    assert facts(LITTLE.ratios(0x829D, ratio)).f_number == expected


@pytest.mark.parametrize(
    ("ratio", "expected"),
    [((1, 3), 1 / 3), ((-2, 3), -2 / 3), ((0, 1), 0.0), ((-2, 0), None), ((5000, 1), None)],
)
def test_exposure_bias(ratio: tuple[int, int], expected: float | None) -> None:
    assert facts(LITTLE.ratios(0x9204, ratio, kind=SRAT)).exposure_bias_ev == expected


def test_exposure_that_stands_beside_the_exif_directory_counts_where_that_has_none() -> None:
    """Source: ISO 12234-2 (TIFF/EP), which has these tags in IFD0; corpus file exiv2-bug479.jpg."""
    main = [
        LITTLE.ratios(0x829A, (32, 10)),
        LITTLE.ratios(0x829D, (9, 1)),
        LITTLE.words(0x8827, [250]),
        LITTLE.ratios(0x920A, (24, 1)),
    ]
    said = facts(TIME, LITTLE.words(0x8827, [400]), main=main)
    assert (said.exposure_time_s, said.f_number, said.focal_length_mm) == (3.2, 9.0, 24.0)
    assert said.iso == 400


def test_a_sign_stored_as_an_unsigned_number_is_restored() -> None:
    assert facts(LITTLE.ratios(0x9204, (4294966933, 100))).exposure_bias_ev == -3.63


def test_a_large_sensitivity_stands_in_its_own_tag() -> None:
    stated = LITTLE.words(0x8827, [65535])
    kind = LITTLE.words(0x8830, [2])
    number = LITTLE.numbers(0x8832, U32, 204800)
    assert facts(stated, kind, number).iso == 204800
    assert facts(stated, number).iso == 204800
    assert facts(stated).iso is None


def test_the_first_stated_sensitivity_counts() -> None:
    assert facts(LITTLE.words(0x8827, [0, 400])).iso == 400
    assert facts(LITTLE.words(0x8827, [100, 0])).iso == 100
    assert facts(LITTLE.words(0x8827, [0])).iso is None


@pytest.mark.parametrize(
    ("bits", "fired"),
    [(0x09, True), (0x10, False), (0x19, True), (0x20, False), (0x00, False), (0x5F, True)],
)
def test_flash_is_bit_zero(bits: int, fired: bool) -> None:
    assert facts(LITTLE.words(0x9209, [bits])).flash_fired is fired


@pytest.mark.parametrize(
    ("ratio", "metres"),
    [((0xFFFFFFFF, 1), math.inf), ((0, 1), None), ((225, 100), 2.25), ((5, 0), None)],
)
def test_subject_distance_stands_for_both_limits(
    ratio: tuple[int, int], metres: float | None
) -> None:
    said = facts(LITTLE.ratios(0x9206, ratio))
    assert (said.focus_near_m, said.focus_far_m) == (metres, metres)


@pytest.mark.parametrize(("mode", "auto"), [(0, False), (1, False), (2, True), (9, None)])
def test_exposure_mode(mode: int, auto: bool | None) -> None:
    assert facts(LITTLE.words(0xA402, [mode])).auto_bracket is auto


@pytest.mark.parametrize(
    ("mode", "by_hand"), [(0, False), (1, True), (2, None), (3, None), (None, None)]
)
def test_exposure_by_hand(mode: int | None, by_hand: bool | None) -> None:
    """Exif ExposureMode: 0 automatic, 1 manual, 2 auto bracket (CIPA DC-008)."""
    entries = [] if mode is None else [LITTLE.words(0xA402, [mode])]
    assert facts(*entries).exposure_by_hand is by_hand


@pytest.mark.parametrize(
    ("code", "program"),
    [(0, None), (1, "manual"), (2, "normal"), (3, "aperture priority"), (4, "shutter priority"),
     (5, "scene"), (8, "scene"), (9, None), (255, None)],
)  # fmt: skip
def test_exposure_program(code: int, program: str | None) -> None:
    """Exif ExposureProgram; 0 is not defined (CIPA DC-008)."""
    assert facts(LITTLE.words(0x8822, [code])).exposure_program == program


def test_a_composite_made_at_shooting_is_merged() -> None:
    said = facts(LITTLE.words(0xA460, [3]), LITTLE.words(0xA461, [8, 8]))
    assert (said.merged, said.merged_from) == ("other", 8)
    assert facts(LITTLE.words(0xA460, [1])).merged == ""


def test_texts_are_cut_at_nul_decoded_and_stripped() -> None:
    main = [
        LITTLE.raw(0x010F, b"OLYMPUS CORP.   \0\x9d\x13", kind=2),
        LITTLE.raw(0x0110, b"  M\xfcller \0", kind=2),
    ]
    said = facts(LITTLE.raw(0xA434, "Objektiv f/2,8 µ".encode() + b"\0", kind=2), main=main)
    assert (said.make, said.model, said.lens) == ("OLYMPUS CORP.", "Müller", "Objektiv f/2,8 µ")


def test_control_characters_never_leave_the_reader() -> None:
    assert facts(LITTLE.text(0xA434, "../../x\nlens\x1b[31m")).lens == "../../x lens [31m"


@pytest.mark.parametrize("name", ["----", "None", "N/A", "0mm F0", "No lens", "***", ""])
def test_a_makers_name_that_only_says_that_there_is_no_lens_is_none(name: str) -> None:
    """From memory, or seen in the tables of general-purpose metadata libraries."""
    said = FactsBuilder()
    said.lens(name)
    assert said.built().lens == ""


@pytest.mark.parametrize("name", ["50mm f/1.8", "0.45x wide", "60mm F2.8 Macro", "n.a. 9", "----"])
def test_a_lens_is_told_as_it_is_written(name: str) -> None:
    """DC-008, LensModel. "----": read from real files of an SLT-A77V."""
    assert facts(LITTLE.text(0xA434, name)).lens == name


@pytest.mark.parametrize("number", ["0000000", "0", "None", "N/A", "---", "`", ""])
def test_a_serial_that_is_none(number: str) -> None:
    """A grave accent: read from a real file of an EX-100."""
    assert facts(LITTLE.text(0xA431, number)).serial == ""


def test_a_serial_keeps_its_zeros() -> None:
    assert facts(LITTLE.text(0xA431, "0012340")).serial == "0012340"


def test_big_endian_is_read_as_well() -> None:
    big = Writer(">")
    said = facts(big.ratios(0x829A, (1, 200)), big.words(0x8827, [400]), order=">")
    assert (said.exposure_time_s, said.iso) == (1 / 200, 400)


def test_a_wrong_mark_of_byte_order_is_found_out() -> None:
    block = bytearray(exif_tiff([LITTLE.text(0x010F, "Maker")], [TIME]))
    block[:2] = b"MM"
    said = builder(jpeg(bytes(block))).built()
    assert said.make == "Maker"
    assert said.moment is not None


def test_digits_and_offset_of_the_original_time() -> None:
    said = facts(TIME, LITTLE.text(0x9291, "07 "), LITTLE.text(0x9011, "+01:00"))
    assert said.moment is not None
    assert said.moment.iso() == "2026-05-17T13:02:03.07+01:00"


def test_the_digitized_time_stands_in() -> None:
    digitized = LITTLE.text(0x9004, "2026:05:17 13:02:03")
    said = facts(digitized, LITTLE.text(0x9292, "5"))
    assert said.moment is not None
    assert said.moment.iso() == "2026-05-17T13:02:03.5"
    assert facts(LITTLE.text(0x9003, "    :  :     :  :  "), digitized).moment is not None


def test_the_time_of_change_stands_in_only_where_no_other_exists() -> None:
    changed = [LITTLE.text(0x0132, "2026:05:18 10:00:00")]
    found = builder(jpeg(exif_tiff(changed, [LITTLE.words(0x8827, [100])])))
    assert found.facts["moment"] is not None
    assert "last change" in found.notes[0]
    unset = [LITTLE.text(0x9003, "0000:00:00 00:00:00")]
    found = builder(jpeg(exif_tiff(changed, unset)))
    assert found.facts.get("moment") is None
    assert found.notes == ["the camera's clock was not set"]


def test_nineteen_bytes_without_nul_are_a_date() -> None:
    assert facts(LITTLE.raw(0x9003, b"2026:05:17 13:02:03", kind=2)).moment is not None


def test_an_18_character_date_is_read_and_called_suspect() -> None:
    found = builder(jpeg(exif_tiff([], [LITTLE.text(0x9003, "2026:05:17 13:02:3")])))
    assert found.facts["moment"] is not None
    assert SUSPECT in found.notes


def test_a_date_that_cannot_be_read_is_quoted() -> None:
    found = builder(jpeg(exif_tiff([], [LITTLE.text(0x9003, "yesterday at noon")])))
    assert "'yesterday at noon'" in found.notes[0]
