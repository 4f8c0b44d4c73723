"""Minolta's notes: where the preview lies. Layout from metadata libraries' tag tables."""

from __future__ import annotations

import pytest

from cardmaking.tiff import S16, S32, U32, Entry, Writer, directory
from reading.builders import NOTE, builder, exif_tiff, jpeg
from sorter.model.values import Preview

BIG = Writer(">")
TIFF_AT = 12
"""Of a JPEG with one Exif block: what the places count from."""


def previews(make: str, *rows: Entry) -> list[Preview]:
    """What the note adds to the picture itself, which begins at 0."""
    note = BIG.placed(NOTE, lambda at: directory(">", rows, at))
    data = jpeg(exif_tiff([BIG.text(0x010F, make)], [note], ">")) + b"\xff\xd8\xff" + b"\1" * 9000
    return [one for one in builder(data, head_size=600).previews if one.offset]


@pytest.mark.parametrize("make", ["Minolta Co., Ltd.", "KONICA MINOLTA", "Konica Minolta Camera"])
def test_the_place_counts_from_the_tiff(make: str) -> None:
    found = previews(make, BIG.numbers(0x0088, U32, 1200), BIG.numbers(0x0089, U32, 4000))
    assert [(one.offset, one.length) for one in found] == [(TIFF_AT + 1200, 4000)]


@pytest.mark.parametrize(
    "rows",
    [
        (BIG.numbers(0x0088, U32, 1200),),
        (BIG.numbers(0x0089, U32, 4000),),
        (BIG.numbers(0x0088, U32, 1200), BIG.numbers(0x0089, U32, 0)),
        (BIG.numbers(0x0088, U32, 1200), BIG.numbers(0x0089, U32, 90_000)),
        (BIG.numbers(0x0088, S16, -32754), BIG.numbers(0x0089, U32, 4000)),
        (BIG.numbers(0x0088, S32, -700), BIG.numbers(0x0089, U32, 4000)),
    ],
)
def test_a_place_that_is_not_within_the_file_is_none(rows: tuple[Entry, ...]) -> None:
    assert previews("Minolta Co., Ltd.", *rows) == []
