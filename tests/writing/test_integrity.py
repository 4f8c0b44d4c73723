from __future__ import annotations

import io
import struct
import wave
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from cardmaking import boxes
from reading.builders import jpeg
from sorter.model.damage import Damage
from sorter.writing.integrity import BOXES, LONG, SHORT, TAIL, IntegrityCheck

PICTURE = b"\x17limpet" * 3000
# Boxes as in ISO/IEC 14496-12, 4.2: a 32-bit size and a type; size 1: 64 bits more hold it; size 0:
# the box goes to the end of the file.
FRONT = boxes.ftyp(b"heic", 0, [b"mif1", b"heic"])
BOXED = FRONT + boxes.box(b"meta", b"\1" * 40) + boxes.box(b"mdat", PICTURE)
WIDE = FRONT + boxes.wide_box(b"mdat", PICTURE) + boxes.box(b"free", b"\1" * 9)
OPEN = FRONT + struct.pack(">I4s", 0, b"mdat") + PICTURE
BARE = b"\xff\x4f\xff\x51" + PICTURE  # a JPEG 2000 codestream without boxes: ISO/IEC 15444-1, A


def _png() -> bytes:
    out = io.BytesIO()
    Image.effect_noise((64, 64), 80).save(out, "PNG")
    return out.getvalue()


def _wav() -> bytes:
    out = io.BytesIO()
    with wave.open(out, "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(8000)
        sound.writeframes(b"\1\2" * 4000)
    return out.getvalue()


def verdict(
    data: bytes, container: str, *cuts: int, is_picture: bool = True, zeros: int = 0
) -> str:
    """What is said of these bytes, fed in blocks that end at the cuts."""
    data += bytes(zeros)
    watch = IntegrityCheck(container, is_picture=is_picture)
    for start, end in pairwise([0, *cuts, len(data)]):
        watch.feed(memoryview(data)[start:end])
    return watch.verdict()


# ---- JPEG: the marker EOI, FF D9, ends it (ISO/IEC 10918-1, B.1.1.3) --------------------------


def test_a_jpeg_with_its_end_marker_is_whole() -> None:
    assert verdict(jpeg(), "jpeg") == ""


def test_a_jpeg_without_its_end_marker_ends_early() -> None:
    assert verdict(jpeg(end=b""), "jpeg") == Damage.NO_END


@pytest.mark.parametrize("zeros", [1, SHORT, LONG - 10])
def test_padding_behind_the_end_marker_is_no_damage(zeros: int) -> None:
    # Some bodies write whole units of a card (common practice, no source).
    assert verdict(jpeg(), "jpeg", zeros=zeros) == ""


@pytest.mark.parametrize(
    ("zeros", "said"), [(SHORT - 1, Damage.NO_END), (SHORT, Damage.ZEROS), (LONG, Damage.ZEROS)]
)
def test_zeros_in_place_of_the_end_are_named_from_a_sector_on(zeros: int, said: str) -> None:
    assert verdict(jpeg(end=b""), "jpeg", zeros=zeros) == said


def test_an_end_marker_further_from_the_end_than_anyone_appends_is_none() -> None:
    assert verdict(jpeg() + b"\1" * (TAIL - 2), "jpeg") == ""
    assert verdict(jpeg() + b"\1" * (TAIL + 1), "jpeg") == Damage.NO_END


# ---- PNG: the chunk IEND ends it (ISO/IEC 15948, 5.6) -----------------------------------------


def test_a_png_by_an_independent_library_is_whole_and_cut_it_is_not() -> None:
    data = _png()
    assert verdict(data, "png") == ""
    assert verdict(data[:-12], "png") == Damage.NO_END  # IEND takes twelve bytes: length, type, CRC
    assert verdict(data[:-12], "png", zeros=4096) == Damage.ZEROS


# ---- boxes ------------------------------------------------------------------------------------


@pytest.mark.parametrize("container", ["cr3", "heif", "mp4", "jxl", "jp2"])
@pytest.mark.parametrize("data", [BOXED, WIDE, OPEN])
def test_boxes_that_are_all_there_are_whole(data: bytes, container: str) -> None:
    assert verdict(data, container) == ""


@pytest.mark.parametrize("data", [BOXED, WIDE])
@pytest.mark.parametrize("lost", [1, 8, 1000])
def test_a_box_that_tells_of_more_than_there_is_was_cut(data: bytes, lost: int) -> None:
    assert verdict(data[:-lost], "mp4", is_picture=False) == Damage.CUT


def test_a_box_that_goes_to_the_end_of_the_file_cannot_be_found_cut() -> None:
    assert verdict(OPEN[:-1000], "heif") == ""


def test_a_box_of_more_than_four_gigabytes_counts_with_all_64_bits() -> None:
    head = struct.pack(">I4sQ", 1, b"mdat", 5 << 32)
    assert verdict(FRONT + head + PICTURE, "mp4", is_picture=False) == Damage.CUT


def test_boxes_that_are_whole_but_full_of_zeros_are_no_picture() -> None:
    data = FRONT + boxes.box(b"mdat", PICTURE, bytes(LONG))
    assert verdict(data, "heif") == Damage.ZEROS
    assert verdict(data, "mp4", is_picture=False) == ""


@pytest.mark.parametrize("container", ["jp2", "jxl"])
def test_a_codestream_without_boxes_tells_no_length(container: str) -> None:
    assert verdict(BARE, container) == ""


# ---- RIFF: four bytes of name, the size of what follows, little-endian (Microsoft, RIFF, 1991) --


@pytest.mark.parametrize("container", ["avi", "wav", "webp"])
def test_a_riff_is_whole_with_as_much_as_it_tells_of(container: str) -> None:
    assert verdict(_wav(), container, is_picture=False) == ""
    assert verdict(_wav()[:-1], container, is_picture=False) == Damage.CUT


@pytest.mark.parametrize("size", [0, 0xFF_FF_FF_FF])
def test_a_riff_that_was_not_closed_tells_nothing(size: int) -> None:
    data = b"RIFF" + struct.pack("<I", size) + _wav()[8:]
    assert verdict(data, "avi", is_picture=False) == ""


# ---- any container ----------------------------------------------------------------------------


@pytest.mark.parametrize("container", ["", "jpeg", "png", "cr3", "avi", "tiff"])
def test_a_file_without_a_byte_is_empty(container: str) -> None:
    assert verdict(b"", container) == Damage.EMPTY
    assert IntegrityCheck(container, is_picture=True).verdict() == Damage.EMPTY


@pytest.mark.parametrize(
    ("size", "zeros", "said"),
    [
        (1000, SHORT - 1, ""),  # less than a sector says nothing
        (1000, SHORT, Damage.ZEROS),
        (30_000, 9_999, ""),  # less than a quarter of the file
        (30_000, 10_000, Damage.ZEROS),
        (1_000_000, LONG - 1, ""),
        (1_000_000, LONG, Damage.ZEROS),
    ],
)
def test_a_raw_ends_in_zeros_where_they_are_many(size: int, zeros: int, said: str) -> None:
    data = b"\1" * size
    assert verdict(data, "orf", zeros=zeros) == said
    assert verdict(data, "", is_picture=False, zeros=zeros) == ""


_samples = st.sampled_from(
    [
        ("jpeg", jpeg()),
        ("jpeg", jpeg(end=b"")),
        ("jpeg", jpeg(end=b"") + bytes(LONG + 5)),
        ("jpeg", jpeg() + b"\1" * (TAIL + 5)),
        ("png", _png()),
        ("png", _png()[:-20]),
        *(("heif", data[:size]) for data in (BOXED, WIDE, OPEN) for size in (-1, 37, 99_999)),
        ("cr3", FRONT + bytes(3000)),
        ("jp2", BARE),
        ("wav", _wav()),
        ("avi", _wav()[:-1]),
        ("webp", b"RIF"),
        ("orf", b"\1" * 30_000 + bytes(10_000)),
        ("", bytes(100)),
    ]
)


@pytest.mark.parametrize("cut", range(1, 60))
@pytest.mark.parametrize("data", [BOXED, WIDE, OPEN, _wav()], ids=["boxed", "wide", "open", "riff"])
def test_a_head_may_go_on_in_the_next_block(data: bytes, cut: int) -> None:
    container = "wav" if data.startswith(b"RIFF") else "heif"
    for content in (data, data[:-1]):
        assert verdict(content, container, cut) == verdict(content, container)
        assert verdict(content, container, cut, cut + 3) == verdict(content, container)


@settings(max_examples=200, deadline=None)
@given(_samples, st.data())
def test_the_verdict_does_not_depend_on_how_the_bytes_come(
    sample: tuple[str, bytes], data: st.DataObject
) -> None:
    container, content = sample
    whole = verdict(content, container)
    near = st.integers(0, min(64, len(content)))  # where the heads of boxes lie
    cuts = data.draw(st.lists(near | st.integers(0, len(content)), max_size=40).map(sorted))
    assert verdict(content, container, *cuts) == whole


@given(st.binary(max_size=300), st.data())
def test_any_bytes_get_one_verdict_byte_by_byte_too(content: bytes, data: st.DataObject) -> None:
    container = data.draw(st.sampled_from(["jpeg", "png", "mp4", "jxl", "avi", "orf", ""]))
    each = range(1, len(content))
    assert verdict(content, container, *each) == verdict(content, container)


def test_boxes_without_end_are_not_followed_without_end() -> None:
    """A crafted file of the smallest boxes there are: what lies behind many of them is not judged."""
    small = (8).to_bytes(4) + b"free"
    few, many = small * (BOXES - 1), small * (BOXES + 1)
    cut = (99).to_bytes(4) + b"mdat"
    assert verdict(few + cut, "cr3") == Damage.CUT
    assert verdict(many + cut, "cr3") == ""
