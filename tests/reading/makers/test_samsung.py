"""Samsung's notes to facts.

Numbers are values of real frames as published in general-purpose metadata libraries' tag tables,
or read from a real file of the body that is named, put into synthetic notes.
"""

from __future__ import annotations

import pytest

from cardmaking.tiff import Entry, directory
from reading.builders import LITTLE, placed_note, with_note
from sorter.model.frame import Facts

VERSION = LITTLE.raw(0x0001, b"0100")


def samsung(*entries: Entry) -> Facts:
    return placed_note("SAMSUNG", b"", *entries)


@pytest.mark.parametrize(
    ("text", "serial"), [("A0B1C2D3E4", "A0B1C2D3E4"), ("A0B1", ""), ("\1\1", ""), ("00000", "")]
)
def test_samsung_serial(text: str, serial: str) -> None:
    assert samsung(VERSION, LITTLE.text(0xA002, text)).serial == serial


@pytest.mark.parametrize(("number", "lens"), [(3, "lens 3"), (0, "")])
def test_samsung_lens_by_its_number(number: int, lens: str) -> None:
    assert samsung(VERSION, LITTLE.words(0xA003, [number])).lens == lens


def test_samsung_offsets_from_the_note_are_found_too() -> None:
    note = directory("<", [VERSION, LITTLE.text(0xA002, "A0B1C2D3E4")], 0)
    assert with_note("SAMSUNG", note).serial == "A0B1C2D3E4"


@pytest.mark.parametrize("entries", [(), (LITTLE.raw(0x0001, b"0099"),)])
def test_samsung_notes_of_another_form_say_nothing(entries: tuple[Entry, ...]) -> None:
    assert samsung(*entries, LITTLE.text(0xA002, "A0B1C2D3E4")).serial == ""


def test_samsung_block_without_a_directory_says_nothing() -> None:
    assert with_note("SAMSUNG", b"STMN100" + b"\1" * 60).serial == ""


def test_samsung_bodies_that_write_another_makers_note() -> None:
    """The GX-10 and GX-20 write Pentax's."""
    focus = LITTLE.words(0x000D, [3])
    assert placed_note("SAMSUNG", b"AOC\0II", focus).focus_mode == "manual"
