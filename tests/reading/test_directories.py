"""The bounded walk: absurd directories end, and their good rest is kept (field case V9)."""

from __future__ import annotations

import struct

import pytest

from cardmaking.tiff import U32, Entry, Writer, chained, directory, tiff
from reading.builders import LITTLE
from sorter.reading import directories
from sorter.reading.directories import Tiff, as_text, below, chain, opened, settled
from sorter.reading.source import Memory


def at(data: bytes, offset: int = 0, order: str = "<") -> directories.Directory | None:
    return directories.directory(Tiff(Memory(data), 0, order, len(data)), offset)


def test_values_inside_and_outside_the_entries() -> None:
    data = tiff("<", [[LITTLE.words(1, [7]), LITTLE.words(2, [1, 2, 3]), LITTLE.text(3, "abcdef")]])
    found = opened(Memory(data), 0, len(data))
    assert found is not None
    assert (found.numbers(1), found.numbers(2), found.text(3)) == ((7,), (1, 2, 3), "abcdef")
    assert found.numbers(9) == ()
    assert found.number(9) is None
    assert found.text(9) == ""
    assert 9 not in found


def test_a_directory_that_points_at_itself_is_walked_once() -> None:
    data = LITTLE.header(8) + directory("<", [LITTLE.words(1, [7])], 8, following=8)
    found = opened(Memory(data), 0, len(data))
    assert found is not None
    assert len(list(chain(found))) <= 2


def test_a_chain_that_comes_back_ends() -> None:
    first = directory("<", [LITTLE.words(1, [7])], 8, following=26)
    second = directory("<", [LITTLE.words(2, [8])], 26, following=8)
    data = LITTLE.header(8) + first + second
    found = opened(Memory(data), 0, len(data))
    assert found is not None
    assert len(list(chain(found))) <= 3


def test_a_long_chain_is_bounded() -> None:
    data = LITTLE.header(8) + chained("<", [[LITTLE.words(1, [n])] for n in range(100)], 8)
    found = opened(Memory(data), 0, len(data))
    assert found is not None
    assert len(list(chain(found))) <= directories.MOST_DIRECTORIES + 1


def test_a_next_directory_far_outside_is_none() -> None:
    data = LITTLE.header(8) + directory("<", [LITTLE.words(1, [7])], 8, following=0xFFFFFFFF)
    found = opened(Memory(data), 0, len(data))
    assert found is not None
    assert len(list(chain(found))) == 1


def test_a_missing_next_directory_is_tolerated() -> None:
    found = at(directory("<", [LITTLE.words(1, [7])], 0, ended=False))
    assert found is not None
    assert (found.number(1), found.follows) == (7, 0)


def test_an_absurd_count_keeps_the_entries_that_are_there() -> None:
    data = bytearray(directory("<", [LITTLE.words(1, [7]), LITTLE.words(2, [8])], 0))
    data[:2] = b"\xff\xff"
    found = at(bytes(data))
    assert found is not None
    assert (found.number(1), found.number(2)) == (7, 8)


def test_an_absurd_length_of_a_value_is_no_value() -> None:
    entry = struct.pack("<HHII", 5, 3, 0xFFFFFFFF, 8)
    found = at(b"\1\0" + entry + b"\0" * 64)
    assert found is not None
    assert (found.raw(5), found.numbers(5), found.text(5)) == (b"", (), "")


def test_a_value_that_is_not_all_there_is_no_value() -> None:
    data = directory("<", [LITTLE.text(3, "a long lens name")], 0)
    for cut in range(2, 18):
        found = at(data[:-cut])
        assert found is not None
        assert found.text(3) == ""


def test_an_unknown_type_is_no_value() -> None:
    found = at(b"\1\0" + struct.pack("<HHII", 5, 99, 1, 8) + b"\0" * 4)
    assert found is not None
    assert (found.raw(5), found.numbers(5), found.ratios(5)) == (b"", (), ())


def test_utf_8_text_of_exif_3_is_text() -> None:
    found = at(directory("<", [LITTLE.raw(3, "Größe".encode(), kind=129)], 0))
    assert found is not None
    assert found.text(3) == "Größe"


def test_ratios_of_whole_numbers_and_of_floats() -> None:
    half = Entry(2, 11, 1, struct.pack("<f", 0.5))
    found = at(directory("<", [LITTLE.words(1, [5]), half], 0))
    assert found is not None
    assert (found.ratio(1), found.ratio(2), found.ratio(3)) == ((5, 1), (1, 2), None)


@pytest.mark.parametrize("value", ["nan", "inf", "-inf"])
def test_a_float_that_is_no_number_is_no_ratio(value: str) -> None:
    found = at(directory("<", [Entry(2, 11, 1, struct.pack("<f", float(value)))], 0))
    assert found is not None
    assert found.ratio(2) is None


def test_a_pointer_to_nowhere_is_none() -> None:
    found = at(directory("<", [LITTLE.numbers(1, U32, 0), LITTLE.numbers(2, U32, 1 << 31)], 0))
    assert found is not None
    assert below(found, 1) is None
    assert below(found, 2) is None


def test_text_is_bounded() -> None:
    assert len(as_text(b"x" * 5000)) == directories.MOST_TEXT


# ---- notes: byte order and base are tried, not trusted (field case V8) ----------------------


def note(order: str, base: int, at_offset: int) -> tuple[Memory, int]:
    writer = Writer(order)  # type: ignore[arg-type]
    entries = [writer.words(1, [7]), writer.text(2, "a lens behind the entries")]
    data = b"\xaa" * at_offset + directory(writer.order, entries, at_offset - base)
    return Memory(data), len(data)


@pytest.mark.parametrize("order", ["<", ">"])
def test_the_byte_order_of_a_note_is_found_out(order: str) -> None:
    source, end = note(order, 0, 100)
    found = settled(Tiff(source, 0, "<", end), 100, end)
    assert found is not None
    assert found.text(2) == "a lens behind the entries"


def test_the_other_base_is_taken_where_the_first_does_not_fit() -> None:
    source, end = note("<", 100, 100)
    found = settled(Tiff(source, 0, "<", end), 100, end, [100])
    assert found is not None
    assert found.text(2) == "a lens behind the entries"


def test_where_no_base_fits_only_values_inside_the_entries_are_told() -> None:
    source, end = note("<", 37, 100)
    found = settled(Tiff(source, 0, "<", end), 100, end, [100])
    assert found is not None
    assert (found.number(1), found.text(2)) == (7, "")
