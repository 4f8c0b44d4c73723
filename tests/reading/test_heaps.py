"""CRW: records of a CIFF heap to facts; the heap's directories bounded whatever they say."""

from __future__ import annotations

import struct

import pytest

from reading.builders import builder
from reading.small import crw, heap, picture, sized
from sorter.model.kinds import Bracketing, DriveMode, FocusMode, Role
from sorter.model.values import Moment
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import block
from sorter.reading.containers import crw as container
from sorter.reading.source import Memory


def bare(root: bytes) -> bytes:
    """A CRW of this heap."""
    return container.MAGIC + b"\0" * 12 + root


def with_records(*records: tuple[int, bytes]) -> FactsBuilder:
    return builder(bare(heap(*records)), "CRW_0001.CRW")


def test_facts_of_a_heap() -> None:
    """Source: general-purpose metadata libraries, which read the same out of these bytes."""
    found = builder(crw(), "CRW_1602.CRW")
    facts = found.built()
    assert (found.container, found.role, found.notes) == ("crw", Role.RAW, [])
    assert (facts.make, facts.model, facts.serial) == ("Canon", "Canon EOS 300D", "560018150")
    assert facts.moment == Moment(local_s=1068485966)  # 2003-11-10 17:39:26
    assert (facts.exposure_time_s, facts.f_number, facts.iso) == (1 / 128, 8.0, 100.0)
    assert (facts.exposure_bias_ev, facts.focal_length_mm) == (1.0, 24.0)
    assert (facts.width, facts.height, facts.orientation) == (3072, 2048, 8)
    assert (facts.focus_near_m, facts.focus_far_m) == (1.19, 1.42)
    assert (facts.drive_mode, facts.focus_mode) == (DriveMode.CONTINUOUS, FocusMode.MANUAL)
    assert (facts.bracketing, facts.bracket_offset_ev) == (Bracketing.EXPOSURE, -1.0)
    assert facts.shot_number == 2


def test_a_small_window_tells_the_same() -> None:
    assert builder(crw(), "A.CRW", head_size=30).built() == builder(crw(), "A.CRW").built()


def test_floating_point_numbers_stand_in_where_no_words_tell_the_exposure() -> None:
    floats = (0x1818, struct.pack("<3f", -0.5, 6.5, 5.0))
    facts = with_records(floats).built()
    assert facts.exposure_bias_ev == -0.5
    assert facts.exposure_time_s == pytest.approx(2**-6.5)
    assert facts.f_number == pytest.approx(2**2.5)
    assert builder(crw(floats), "A.CRW").built() == builder(crw(), "A.CRW").built()


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 1e30, -4294.967])
def test_absurd_floating_point_numbers_are_none(value: float) -> None:
    facts = with_records((0x1818, struct.pack("<3f", value, value, value))).built()
    assert (facts.exposure_bias_ev, facts.exposure_time_s, facts.f_number) == (None, None, None)


def test_an_array_that_was_not_filled_in_tells_no_exposure() -> None:
    facts = with_records((0x102A, sized({}, 33))).built()
    assert (facts.exposure_time_s, facts.f_number) == (None, None)


def test_an_array_that_states_another_length_is_not_believed() -> None:
    words = bytearray(sized({2: 160, 19: 142, 20: 119, 21: 192, 22: 224}, 33))
    assert with_records((0x102A, bytes(words))).built().f_number == 8.0
    words[0] += 6
    facts = with_records((0x102A, bytes(words))).built()
    assert (facts.f_number, facts.focus_far_m, facts.iso) == (None, None, None)


@pytest.mark.parametrize(
    ("degrees", "orientation"), [(0, 1), (90, 6), (180, 3), (-90, 8), (45, None)]
)
def test_the_rotation_is_an_orientation(degrees: int, orientation: int | None) -> None:
    """Source: general-purpose metadata libraries' table of rotations."""
    record = struct.pack("<IIfi", 3072, 2048, 1.0, degrees)
    assert with_records((0x1810, record)).built().orientation == orientation


def test_the_number_of_a_compact_is_no_serial_number() -> None:
    number = (0x580B, struct.pack("<I", 1135765596))
    compact = with_records((0x080A, b"Canon\0Canon PowerShot S40\0"), number).built()
    assert compact.serial == ""
    body = with_records((0x080A, b"Canon\0Canon EOS 10D\0"), number).built()
    assert body.serial == "1135765596"


def test_a_clock_that_was_not_set_is_named() -> None:
    found = with_records((0x180E, b"\0" * 12), (0x080A, b"Canon\0Canon EOS 10D\0"))
    assert found.notes == ["the camera's clock was not set"]
    assert found.built().moment is None


def test_focal_lengths_count_in_the_stated_units() -> None:
    record = (0x5029, struct.pack("<4H", 2, 227, 0, 0))
    assert with_records(record, (0x102D, sized({25: 32}, 46))).built().focal_length_mm == 227 / 32
    assert with_records(record).built().focal_length_mm is None


def test_what_the_raw_developer_put_behind_the_heap_is_passed() -> None:
    foot = b"CANON OPTIONAL DATA\0" + (12).to_bytes(4)
    data = crw() + b"\0" * 40 + foot.ljust(64, b"\0")
    assert builder(data, "A.CRW").built() == builder(crw(), "A.CRW").built()


def test_a_directory_that_is_not_where_it_should_be_is_named() -> None:
    found = builder(crw()[:-1], "A.CRW")
    assert found.notes[0] == f"{block.UNREADABLE}: the directory at its end is missing"
    assert found.built().make == ""
    assert not found.is_picture


def nested(depth: int) -> bytes:
    inner = heap((0x080A, b"Canon\0Canon EOS 10D\0"))
    for _ in range(depth):
        inner = heap((0x2807, inner))
    return bare(inner)


def test_heaps_within_heaps_are_followed_to_a_sane_depth() -> None:
    assert builder(nested(container.MOST_DEPTH), "A.CRW").built().make == "Canon"
    assert builder(nested(container.MOST_DEPTH + 1), "A.CRW").built().make == ""


def test_a_heap_that_names_itself_is_read_once() -> None:
    record = (0x080A, b"Canon\0Canon EOS 10D\0")
    data = bytearray(bare(heap(record, (0x2807, b""))))
    size = len(data) - container.START
    row = len(data) - 4 - 10
    data[row : row + 10] = struct.pack("<HII", 0x2807, size, 0)
    assert builder(bytes(data), "A.CRW").built().model == "Canon EOS 10D"


def test_many_heaps_side_by_side_end_the_walk() -> None:
    inner = heap((0x5834, b"\0"))
    many = bare(heap(*[(0x2807, inner)] * container.MOST_ENTRIES))

    class Counting(Memory):
        asked = 0

        def read(self, offset: int, length: int) -> bytes:
            self.asked += 1
            return super().read(offset, length)

    source = Counting(many)
    container.read(source, FactsBuilder())
    assert source.asked < 5 * container.MOST_HEAPS


def test_a_record_outside_its_heap_is_let_be() -> None:
    data = bytearray(bare(heap((0x080A, b"Canon\0Canon EOS 10D\0"), (0x2007, picture(16, 12)))))
    row = len(data) - 4 - 10
    data[row + 2 : row + 6] = (1 << 20).to_bytes(4, "little")
    found = builder(bytes(data), "A.CRW")
    assert (found.facts["make"], found.previews) == ("Canon", [])
