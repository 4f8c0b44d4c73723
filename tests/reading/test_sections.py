"""X3F: facts of the JPEG in a section, or of the list of properties."""

from __future__ import annotations

import struct
from collections.abc import Callable

import pytest

from reading.builders import TIME, app1, builder, exif_tiff
from reading.small import PROPERTIES, listed, new_x3f, old_x3f, picture, shown, x3f
from sorter.model.kinds import DriveMode, FocusMode, Role
from sorter.model.values import Moment
from sorter.reading.containers import block
from sorter.reading.makers.properties import number

MISSING = f"{block.UNREADABLE}: the directory at its end is missing"


def with_properties(**more: str) -> bytes:
    return x3f((b"PROP", listed({**PROPERTIES, **more})))


def test_facts_of_the_properties() -> None:
    """Source: general-purpose metadata libraries, which read the same out of these bytes."""
    found = builder(old_x3f(), "IMG00001.X3F")
    facts = found.built()
    assert (found.container, found.role, found.notes) == ("x3f", Role.RAW, [])
    assert (facts.make, facts.model, facts.serial) == ("SIGMA", "SIGMA SD10", "02001234")
    assert facts.moment == Moment(local_s=1259413520)  # 2009-11-28 13:05:20
    assert (facts.exposure_time_s, facts.f_number, facts.iso) == (0.0125, 5.6, 100.0)
    assert (facts.focal_length_mm, facts.exposure_bias_ev) == (50.0, -0.5)
    assert (facts.drive_mode, facts.focus_mode) == (DriveMode.CONTINUOUS, FocusMode.MANUAL)
    assert (facts.width, facts.height) == (2268, 1512)


def test_the_exif_of_a_jpeg_is_taken_before_the_properties() -> None:
    found = builder(new_x3f(), "SDIM0001.X3F")
    assert (found.facts["make"], found.notes) == ("Limpet", [])
    assert found.facts["moment"] == Moment(local_s=1779022923)
    assert (found.facts["width"], found.facts["height"]) == (48, 32)


def test_what_cannot_be_printed_becomes_a_blank() -> None:
    assert builder(with_properties(CAMSERIAL="02\uff00\x08 1"), "A.X3F").facts["serial"] == "02   1"


@pytest.mark.parametrize("make", [old_x3f, new_x3f])
def test_a_small_window_tells_the_same(make: Callable[[], bytes]) -> None:
    assert builder(make(), "A.X3F", head_size=30).built() == builder(make(), "A.X3F").built()


def test_only_jpegs_are_previews() -> None:
    data = x3f(
        (b"IMA2", shown(picture(16, 12), (16, 12))),
        (b"IMA2", shown(picture(32, 24), (32, 24), form=11)),
        (b"IMAG", shown(b"\1" * 100, (4, 4))),
        (b"CAMF", picture(48, 32)),
    )
    assert [(one.width, one.height) for one in builder(data, "A.X3F").previews] == [(16, 12)]


def test_without_exif_and_properties_there_is_none() -> None:
    found = builder(x3f((b"IMA2", shown(picture(16, 12), (16, 12)))), "A.X3F")
    assert found.notes == [block.NONE]


def test_properties_that_cannot_be_read_are_named() -> None:
    data = old_x3f().replace(b"SECp", b"SECq")
    assert builder(data, "A.X3F").notes == [block.UNREADABLE]
    wide = bytearray(with_properties())
    at = wide.index(b"SECp")
    wide[at + 12] = 1  # a form of text that is not known
    assert builder(bytes(wide), "A.X3F").notes == [block.UNREADABLE]


def test_a_cut_file_has_no_directory_and_says_so() -> None:
    found = builder(old_x3f()[:-2], "A.X3F")
    assert found.notes == [MISSING]
    assert (found.built().make, found.built().width) == ("", 2268)


def test_a_directory_of_absurd_length_is_none() -> None:
    data = bytearray(old_x3f())
    at = int.from_bytes(data[-4:], "little")
    data[at + 8 : at + 12] = (1 << 30).to_bytes(4, "little")
    assert builder(bytes(data), "A.X3F").notes == [MISSING]


def test_places_outside_the_letters_are_empty() -> None:
    data = bytearray(with_properties())
    row = data.index(b"SECp") + 24
    data[row : row + 8] = struct.pack("<II", 1 << 30, 0xFFFFFFFF)
    found = builder(bytes(data), "A.X3F")
    assert (found.facts["make"], found.facts["model"]) == ("", "SIGMA SD10")


@pytest.mark.parametrize("text", ["0", "soon", "-5", "१२"])
def test_a_time_that_is_none_is_named(text: str) -> None:
    found = builder(with_properties(TIME=text), "A.X3F")
    assert (found.built().moment, found.notes) == (None, ["the camera's clock was not set"])


def test_no_time_is_no_time() -> None:
    assert builder(with_properties(TIME=""), "A.X3F").notes == ["no capture time"]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("8.35419", 8.35419),
        ("+0.50", 0.5),
        ("-1", -1.0),
        ("", None),
        (None, None),
        ("nan", None),
        ("1e5", None),
        ("1.2.3", None),
        (".", None),
        ("9" * 30, None),
        ("२", None),
    ],
)
def test_numbers_are_decimals_as_written(text: str | None, value: float | None) -> None:
    assert number(text) == value


def test_size_stands_elsewhere_in_the_fourth_version() -> None:
    data = bytearray(x3f((b"PROP", listed(PROPERTIES)), version=0x40001))
    data[40:48] = struct.pack("<II", 5424, 3616)
    facts = builder(bytes(data), "A.X3F").built()
    assert (facts.width, facts.height) == (5424, 3616)


def test_the_first_jpeg_with_exif_counts() -> None:
    with_exif = b"\xff\xd8" + app1(exif_tiff([], [TIME])) + picture(48, 32)[2:]
    data = x3f(
        (b"IMA2", shown(picture(16, 12), (16, 12))),
        (b"IMA2", shown(with_exif, (48, 32))),
        (b"PROP", listed(PROPERTIES)),
    )
    found = builder(data, "A.X3F")
    assert found.facts["moment"] == Moment(local_s=1779022923)
    assert {(one.width, one.height) for one in found.previews} == {(16, 12), (48, 32)}
