"""Where a note stands, whose it is by its first bytes, and what its offsets count from.

Numbers are values of real frames as published in general-purpose metadata libraries' tag tables,
or read from a real file of the body that is named, put into synthetic notes.
"""

from __future__ import annotations

import struct

import pytest

from cardmaking.tiff import U8, U32, directory, tiff
from reading.builders import (
    EXIF_POINTER,
    LITTLE,
    TIME,
    builder,
    exif_tiff,
    jpeg,
    placed_note,
    with_note,
)
from reading.builders import sized_words as words
from sorter.model.kinds import DriveMode

OLYMPUS = b"OLYMPUS\0II\3\0"


def test_canon_note_moved_by_an_editor_is_read_by_its_trailer() -> None:
    was_at = 700
    body = directory("<", [words(0x0093, 66, {20: 294, 21: 265})], was_at)
    note = body + b"II*\0" + struct.pack("<I", was_at)
    main = [LITTLE.text(0x010F, "Canon")]
    exif = [TIME, LITTLE.raw(0x927C, note)]
    assert builder(jpeg(exif_tiff(main, exif))).built().focus_far_m == 2.94


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
    said = builder(jpeg(exif_tiff(main, [TIME, LITTLE.placed(0x927C, note)]))).built()
    assert (said.drive_mode, said.shot_number) == (DriveMode.CONTINUOUS, 7)


def test_pentax_dng_keeps_its_note_in_the_first_directory() -> None:
    entries = [LITTLE.words(0x000D, [0x10]), LITTLE.raw(0x0034, bytes([1, 0, 0, 0]), kind=U8)]
    note = b"PENTAX \0II" + directory("<", entries, 10)
    main = [
        LITTLE.text(0x010F, "PENTAX"),
        LITTLE.numbers(0xC612, U8, 1, 4, 0, 0),
        LITTLE.raw(0xC634, note, kind=U8),
        LITTLE.below(EXIF_POINTER, [TIME]),
    ]
    found = builder(tiff("<", [main]), "IMGP0001.DNG")
    assert found.container == "dng"
    assert found.built().drive_mode is DriveMode.CONTINUOUS


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
    assert builder(tiff("<", [main]), "A.DNG").built().focus_far_m == 2.94


def test_a_note_of_an_unknown_maker_says_nothing() -> None:
    said = with_note("Unheard-of", b"\1\0" + b"x" * 40)
    assert (said.drive_mode, said.bracketing, said.focus_step) == (None, None, None)


@pytest.mark.parametrize(
    "header",
    [
        b"SONY DSC \0\0\0",
        b"SONY CAM \0\0\0",
        b"SONY MOBILE\0",
        b"\0\0SONY PIC\0\0",
        b"VHAB     \0\0\0",
        b"",
    ],
)
def test_sony_headers(header: bytes) -> None:
    said = placed_note("SONY", header, LITTLE.words(0xB049, [2]), LITTLE.words(0xB04A, [5]))
    assert (said.drive_mode, said.shot_number) == (DriveMode.CONTINUOUS, 5)


def test_a_header_says_more_than_the_make() -> None:
    """Editing software puts such notes into other makers' files."""
    inner = tiff("<", [[LITTLE.words(0x0089, [1])]])
    assert with_note("Canon", b"Nikon\0\2\x10\0\0" + inner).drive_mode is DriveMode.CONTINUOUS


@pytest.mark.parametrize("filler", [b"", b"Cr2C" + struct.pack(">I", 3) + b"abc\0"])
def test_a_converted_note_is_found_behind_other_blocks(filler: bytes) -> None:
    was_at = 0x2BC
    body = directory("<", [words(0x0093, 66, {20: 294, 21: 265})], was_at)
    block = b"MakN" + struct.pack(">I", len(body) + 6) + b"II" + struct.pack(">I", was_at)
    main = [
        LITTLE.text(0x010F, "Canon"),
        LITTLE.raw(0xC634, b"Adobe\0" + filler + block + body, kind=U8),
        LITTLE.below(EXIF_POINTER, [TIME]),
    ]
    assert builder(tiff("<", [main]), "A.DNG").built().focus_far_m == 2.94


@pytest.mark.parametrize(
    "private",
    [
        b"Adobe\0",
        b"Adobe\0Cr2C" + struct.pack(">I", 1 << 31) + b"abc",
        b"Adobe\0MakN\0\0\0\x40XX\0\0\0\0",
        b"Adobe\0MakN\0\0\0\x40II",
        b"Adobe\0" + b"Cr2C\0\0\0\0" * 30,
    ],
)
def test_private_data_without_a_note_say_nothing(private: bytes) -> None:
    main = [
        LITTLE.text(0x010F, "Canon"),
        LITTLE.raw(0xC634, private, kind=U8),
        LITTLE.below(EXIF_POINTER, [TIME]),
    ]
    found = builder(tiff("<", [main]), "A.DNG")
    assert found.built().drive_mode is None
    assert found.built().moment is not None
