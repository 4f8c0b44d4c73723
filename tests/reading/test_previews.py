"""Where embedded JPEGs lie: every place is one that a decoder takes, whatever the container."""

from __future__ import annotations

import io
import struct
from dataclasses import replace

import pytest
from PIL import Image

from cardmaking.tiff import U32, tiff
from reading.builders import FRAME_HEADER, LITTLE, TIME, app1, builder, exif_tiff, read
from reading.small import SMALL, multi_picture, picture, placed_jpeg, thumbnailed
from sorter.model.frame import Frame
from sorter.model.kinds import Role
from sorter.model.values import Preview
from sorter.reading import previews
from sorter.reading.builder import FactsBuilder
from sorter.reading.source import Memory

SIZES = {
    "P.JPG": {(16, 12), (64, 48)},
    "MULTI.JPG": {(64, 48), (32, 24), (48, 32)},
    "BIG.JPG": {(160, 120), (64, 48)},
    "NOTE.JPG": {(32, 24), (64, 48)},
    "P.CRW": {(16, 12), (32, 24)},
    "OLD.X3F": {(16, 12)},
    "NEW.X3F": {(16, 12), (48, 32)},
    "P.HIF": {(16, 12)},
    "ONE.HIF": {(16, 12)},
    "TWO.HIF": {(16, 12)},
    "PARTS.HIF": {(16, 12)},
    "P.RAF": {(16, 12), (48, 32)},
    "P.RW2": {(16, 12), (48, 32), (64, 48)},
    "OLD.RW2": {(16, 12)},
    "P.MRW": {(32, 24)},
    "P.SRW": {(48, 32)},
    "P.CR2": {(16, 12), (64, 48)},
    "P.NEF": {(48, 32)},
    "P.ARW": {(48, 32)},
    "P.PEF": {(48, 32)},
    "P.DNG": {(48, 32)},
    "P.ORF": {(48, 32)},
    "P.CR3": {(16, 12), (48, 32), (64, 48)},
    "P.PNG": {(16, 12)},
    "P.WEBP": {(16, 12)},
    "P.JXL": {(16, 12)},
    "P.JP2": {(16, 12)},
}


def shown(data: bytes, preview: Preview) -> tuple[int, int]:
    """The size that a decoder finds at this place."""
    with Image.open(io.BytesIO(data[preview.offset : preview.offset + preview.length])) as image:
        image.load()
        assert image.format in {"JPEG", "MPO"}
        return image.size


@pytest.mark.parametrize("name", SMALL)
def test_every_place_decodes_as_a_jpeg_of_the_told_size(name: str) -> None:
    """Source: Pillow, which shares no code with the sorter."""
    data = SMALL[name]()
    found = builder(data, name).previews
    assert {shown(data, one) for one in found} == SIZES[name]
    assert {(one.width, one.height) for one in found} == SIZES[name]
    assert len({one.offset for one in found}) == len(found)


@pytest.mark.parametrize("name", SMALL)
def test_places_beyond_the_first_block_are_taken_as_they_are_stated(name: str) -> None:
    """What a small window shows is part of what the whole file shows, and decodes as well."""
    data = SMALL[name]()
    every = {(one.offset, one.length) for one in builder(data, name).previews}
    for one in builder(data, name, head_size=64).previews:
        assert (one.offset, one.length) in every


def test_the_size_comes_from_the_frame_header_and_not_from_what_is_stated() -> None:
    size = LITTLE.numbers(0xA002, U32, 6000), LITTLE.numbers(0xA003, U32, 4000)
    edited = b"\xff\xd8" + app1(exif_tiff([], [TIME, *size])) + picture(64, 48)[2:]
    found = builder(edited)
    assert (found.facts["width"], found.facts["height"]) == (6000, 4000)
    assert [(one.width, one.height) for one in found.previews] == [(64, 48)]
    [stated] = builder(edited, head_size=64).previews
    assert (stated.width, stated.height) == (6000, 4000)


def taken(data: bytes, *places: tuple[int, int], head_size: int | None = None) -> list[Preview]:
    found = FactsBuilder()
    for offset, length in places:
        previews.take(Memory(data, head_size), found, offset, length, (9, 9))
    return found.previews


def test_what_cannot_be_a_jpeg_is_not_taken() -> None:
    data = picture(16, 12)
    size = len(data)
    assert len(taken(data, (0, size))) == 1
    assert taken(data, (0, size + 1), (1, size - 1), (-1, 5), (0, 0), (size, 1)) == []
    assert taken(b"<a dummy picture>", (0, 17)) == []
    assert len(taken(b"\0" * 100 + b"<a dummy picture>", (100, 17), head_size=50)) == 1


@pytest.mark.parametrize("offset", [-1, -3, -700, -32754])
def test_a_place_before_the_file_is_none(offset: int) -> None:
    """A damaged entry may be of a signed type: found by a Minolta note with such a one."""
    found = FactsBuilder()
    previews.take(Memory(picture(32, 24)), found, offset, 600)
    assert found.previews == []


def test_one_place_is_taken_once() -> None:
    data = picture(16, 12)
    assert len(taken(data, (0, len(data)), (0, len(data)))) == 1


def test_a_lossless_frame_is_sensor_data() -> None:
    lossless = b"\xff\xd8" + FRAME_HEADER.replace(b"\xff\xc0", b"\xff\xc3") + b"\xff\xda\0\x08"
    assert taken(lossless + b"\1" * 40, (0, len(lossless) + 40)) == []


def test_a_jpeg_without_a_frame_is_no_picture() -> None:
    assert taken(b"\xff\xd8\xff\xd9" + b"\0" * 40, (0, 4)) == []


def test_a_mask_and_strips_with_common_tables_are_no_previews() -> None:
    strip = [LITTLE.words(0x0103, [7]), LITTLE.numbers(0x0117, U32, len(picture(16, 12)))]
    place = placed_jpeg(picture(16, 12))[0]
    strips = [*strip, replace(place, tag=0x0111)]
    assert len(builder(tiff("<", [strips]), "a.tif").previews) == 1
    for more in (LITTLE.words(0x0106, [4]), LITTLE.words(0x0106, [51177]), LITTLE.raw(0x015B, b"")):
        assert builder(tiff("<", [[*strips, more]]), "a.tif").previews == []


def test_the_size_of_the_strips_is_not_that_of_the_jpeg_beside_them() -> None:
    sizes = [LITTLE.numbers(tag, U32, one) for tag, one in ((0x0100, 6000), (0x0101, 4000))]
    beside = [*sizes, *placed_jpeg(picture(48, 32))]
    strip = LITTLE.numbers(0x0111, U32, 8), LITTLE.numbers(0x0117, U32, 1)
    for entries, size in ((beside, (6000, 4000)), ([*beside, *strip], previews.UNKNOWN)):
        [found] = builder(tiff("<", [entries]), "a.tif", head_size=64).previews
        assert (found.width, found.height) == size


def test_directories_in_a_row_each_tell_their_jpeg() -> None:
    parts = [placed_jpeg(picture(*size)) for size in ((48, 32), (16, 12), (64, 48))]
    main = [LITTLE.text(0x010F, "SONY"), LITTLE.below(0x8769, [TIME]), *parts[0]]
    found = builder(tiff("<", [main, *parts[1:]]), "DSC00001.ARW").previews
    assert [(one.width, one.height) for one in found] == [(48, 32), (16, 12), (64, 48)]


def test_the_exif_of_a_raw_s_jpeg_tells_no_size_of_the_jpeg() -> None:
    size = LITTLE.numbers(0xA002, U32, 6000), LITTLE.numbers(0xA003, U32, 4000)
    inner = b"\xff\xd8" + app1(exif_tiff([], [TIME, *size])) + picture(48, 32)[2:]
    header = b"FUJIFILMCCD-RAW 0201".ljust(0x54, b"\0") + struct.pack(">II", 0x94, len(inner))
    data = header.ljust(0x94, b"\0") + inner
    assert [(one.width, one.height) for one in builder(data, "A.RAF").previews] == [(48, 32)]
    [beyond] = builder(data, "A.RAF", head_size=0x100).previews
    assert (beyond.width, beyond.height) == previews.UNKNOWN


def test_one_file_of_many_pictures_is_one_picture() -> None:
    data = multi_picture(picture(32, 24), picture(48, 32))
    found = builder(data, "P.MPO")
    assert (found.container, found.notes, len(found.previews)) == ("jpeg", [], 3)
    assert found.previews[0].length == len(data)


def test_a_list_of_pictures_that_lead_outside_is_let_be() -> None:
    data = multi_picture(picture(32, 24), picture(48, 32))
    assert len(builder(data[:-1]).previews) == 2
    broken = data.replace(b"MPF\0II", b"MPF\0XX")
    assert len(builder(broken).previews) == 1


def test_a_picture_of_another_coding_in_the_list_is_no_preview() -> None:
    data = multi_picture(picture(32, 24))
    kind = (0x00010001).to_bytes(4, "little")
    other = (0x01010001).to_bytes(4, "little")
    assert len(builder(data).previews) == 2
    assert len(builder(data.replace(kind, other)).previews) == 1


def test_a_thumbnail_that_leads_out_of_its_block_is_none() -> None:
    block = thumbnailed(picture(16, 12))
    length = len(picture(16, 12)).to_bytes(4, "little")
    whole = b"\xff\xd8" + app1(block) + picture(64, 48)[2:]
    assert len(builder(whole).previews) == 2
    assert len(builder(whole.replace(length, (5000).to_bytes(4, "little"), 1)).previews) == 1


def frame(**of: tuple[Preview, ...]) -> Frame:
    files = []
    for name, places in of.items():
        file = read(f"D/IMG_0001.{name}", Role.RAW if name == "CR3" else Role.IMAGE)
        files.append(replace(file, previews=places))
    return Frame(files=tuple(files), facts=files[0].facts)


def test_a_frame_tells_its_previews_the_best_first() -> None:
    small = Preview(offset=10, length=900, width=160, height=120)
    full = Preview(offset=2000, length=90_000, width=6000, height=4000)
    own = Preview(offset=0, length=80_000, width=6000, height=4000)
    long, short = Preview(offset=5, length=500), Preview(offset=6, length=50)
    found = frame(CR3=(small, short, full), JPG=(long, own)).previews
    assert found == (
        ("D/IMG_0001.CR3", full),
        ("D/IMG_0001.JPG", own),
        ("D/IMG_0001.CR3", small),
        ("D/IMG_0001.JPG", long),
        ("D/IMG_0001.CR3", short),
    )


def test_of_equal_previews_that_of_the_speaking_file_goes_first() -> None:
    one = Preview(offset=0, length=10, width=4, height=4)
    assert [path for path, _ in frame(CR3=(one,), JPG=(one,)).previews] == [
        "D/IMG_0001.CR3",
        "D/IMG_0001.JPG",
    ]


def test_a_frame_without_previews_has_none() -> None:
    assert frame(CR3=()).previews == ()
