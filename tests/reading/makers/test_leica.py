"""Leica's own notes to facts.

Numbers are values of real frames as published in general-purpose metadata libraries' tag tables,
or read from a real file of the body that is named, put into synthetic notes.
"""

from __future__ import annotations

import math
import struct

import pytest

from cardmaking.tiff import U32, Entry
from reading.builders import LITTLE, own_note, placed_note
from sorter.model.frame import Facts

OWN = [b"\1", b"\4", b"\5", b"\6", b"\7", b"\x10", b"\x1a"]
FROM_TIFF = [b"\x08", b"\x09", b"\x0a"]


def compact(*entries: Entry) -> Facts:
    return own_note("LEICA CAMERA AG", b"LEICA\0\1\0", *entries)


def rangefinder(*entries: Entry) -> Facts:
    return placed_note("Leica Camera AG", b"LEICA\0\2\0", *entries)


@pytest.mark.parametrize("kind", OWN)
def test_leica_offsets_count_from_the_note(kind: bytes) -> None:
    entries = LITTLE.text(0x0303, "Summicron-T 1:2/23"), LITTLE.numbers(0x0305, U32, 4711)
    said = own_note("LEICA CAMERA AG", b"LEICA\0" + kind + b"\0", *entries)
    assert (said.lens, said.serial) == ("Summicron-T 1:2/23", "4711")


@pytest.mark.parametrize("kind", FROM_TIFF)
def test_leica_offsets_count_from_the_tiff(kind: bytes) -> None:
    entries = LITTLE.text(0x0303, "Summilux 1:1.7/28"), LITTLE.numbers(0x0305, U32, 4711)
    said = placed_note("LEICA CAMERA AG", b"LEICA\0" + kind + b"\0", *entries)
    assert (said.lens, said.serial) == ("Summilux 1:1.7/28", "4711")


@pytest.mark.parametrize(("millimetres", "metres"), [(310, 0.31), (65535, math.inf), (0, None)])
def test_leica_distance_of_compacts(millimetres: int, metres: float | None) -> None:
    said = compact(LITTLE.raw(0x040A, struct.pack("<HHH", millimetres, 23, 0)))
    assert (said.focus_near_m, said.focus_far_m) == (metres, metres)
    assert compact(LITTLE.raw(0x040A, b"\1")).focus_near_m is None


def test_leica_lens_is_a_text_or_none() -> None:
    assert compact(LITTLE.numbers(0x0303, U32, 58)).lens == ""


@pytest.mark.parametrize(("distance", "step"), [(700, 700), (0, None), (0xFFFFFFFF, None)])
def test_leica_rangefinders_distance_is_good_for_order_alone(
    distance: int, step: int | None
) -> None:
    said = rangefinder(LITTLE.numbers(0x0304, U32, distance), LITTLE.text(0x0303, "90mm  "))
    assert (said.focus_step, said.step_nearward) == (step, None if step is None else False)
    assert (said.focus_near_m, said.lens) == (None, "90mm")


def test_leica_m8_writes_the_header_of_the_twins() -> None:
    serial = LITTLE.numbers(0x0303, U32, 3123456)
    burst = LITTLE.words(0x002A, [1])
    own = placed_note("Leica Camera AG", b"LEICA\0\0\0", burst, serial)
    assert (own.serial, own.drive_mode) == ("3123456", None)
    twin = placed_note("LEICA", b"LEICA\0\0\0", burst, serial)
    assert (twin.serial, twin.drive_mode) == ("", "continuous")
