"""Formats that wrap Exif up as one block among others, written by Pillow or by hand."""

from __future__ import annotations

import io

import pytest
from PIL import Image

from reading.builders import EXIF_POINTER, LITTLE, TIME, builder, exif_tiff
from sorter.model.kinds import Role
from sorter.reading.containers.block import NONE, NONE_LEFT, UNREADABLE

BLOCK = exif_tiff([LITTLE.text(0x010F, "Maker")], [TIME, LITTLE.ratios(0x9204, (1, 3), kind=10)])
JXL = b"\0\0\0\x0cJXL \r\n\x87\n"
JP2 = b"\0\0\0\x0cjP  \r\n\x87\n"


def box(kind: bytes, content: bytes) -> bytes:
    return (len(content) + 8).to_bytes(4) + kind + content


def chunk(kind: bytes, content: bytes) -> bytes:
    return len(content).to_bytes(4) + kind + content + b"\0\0\0\0"


def riff(kind: bytes, content: bytes) -> bytes:
    return kind + len(content).to_bytes(4, "little") + content + b"\0" * (len(content) % 2)


def mrw(content: bytes) -> bytes:
    return b"\0MRM" + len(content).to_bytes(4) + content


FILES = {
    "png": b"\x89PNG\r\n\x1a\n"
    + chunk(b"IHDR", b"\0" * 13)
    + chunk(b"eXIf", BLOCK)
    + chunk(b"IEND", b""),
    "webp": riff(b"RIFF", b"WEBP" + riff(b"VP8 ", b"odd") + riff(b"EXIF", BLOCK)),
    "jxl": JXL + box(b"ftyp", b"jxl ") + box(b"Exif", b"\0\0\0\2xx" + BLOCK) + box(b"jxlc", b"\1"),
    "jp2": JP2
    + box(b"ftyp", b"jp2 ")
    + box(b"uuid", b"JpgTiffExif->JP2" + BLOCK)
    + box(b"jp2c", b"\1"),
    "mrw": mrw(b"\0PRD\0\0\0\x04abcd" + b"\0TTW" + len(BLOCK).to_bytes(4) + BLOCK),
}


@pytest.mark.parametrize("name", FILES)
def test_the_block_is_found(name: str) -> None:
    found = builder(FILES[name], f"a.{name}")
    assert (found.container, found.notes) == (name, [])
    assert found.facts["make"] == "Maker"
    assert found.facts["exposure_bias_ev"] == pytest.approx(1 / 3)
    assert found.facts["moment"] is not None
    assert found.role is (Role.RAW if name == "mrw" else Role.IMAGE)


@pytest.mark.parametrize("name", FILES)
def test_without_the_block_or_with_a_broken_one_there_is_a_reason(name: str) -> None:
    bare = FILES[name]
    for called in (b"eXIf", b"EXIF", b"Exif", b"uuid", b"\0TTW"):
        bare = bare.replace(called, b"junk")
    assert builder(bare, f"a.{name}").notes[0] == NONE
    broken = FILES[name].replace(BLOCK, b"\xff" * len(BLOCK))
    assert builder(broken, f"a.{name}").notes[0] == UNREADABLE


@pytest.mark.parametrize("name", FILES)
def test_cut_anywhere_nothing_raises(name: str) -> None:
    for cut in range(len(FILES[name])):
        builder(FILES[name][:cut], f"a.{name}")


def test_exif_that_is_compressed_is_there_but_not_read() -> None:
    data = JXL + box(b"ftyp", b"jxl ") + box(b"brob", b"Exif" + b"\1" * 40) + box(b"jxlc", b"\1")
    assert builder(data, "a.jxl").notes[0] == f"{UNREADABLE}: it is compressed"


def test_a_length_that_leads_behind_the_end_ends_the_walk() -> None:
    assert builder(FILES["png"][:8] + b"\xff\xff\xff\xffIHDR", "a.png").notes == [NONE_LEFT]


@pytest.mark.parametrize("kind", ["PNG", "WEBP"])
def test_what_pillow_writes_is_read(kind: str) -> None:
    """Source: Pillow, which puts JPEG's name before the block in a WebP."""
    exif = Image.Exif()
    exif[0x010F] = "Maker"
    exif.get_ifd(EXIF_POINTER)[0x9003] = "2026:05:17 13:02:03"
    out = io.BytesIO()
    Image.new("RGB", (8, 8)).save(out, kind, exif=exif)
    found = builder(out.getvalue(), f"a.{kind.lower()}")
    assert (found.container, found.facts["make"]) == (kind.lower(), "Maker")
    assert found.facts["moment"] is not None


@pytest.mark.parametrize("stream", [b"\xff\x0a" + b"\0" * 20, b"\xff\x4f\xff\x51" + b"\0" * 20])
def test_a_bare_stream_has_no_exif(stream: bytes) -> None:
    assert builder(stream, "a.jxl").notes[0] == NONE
