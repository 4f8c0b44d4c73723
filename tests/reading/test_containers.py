"""Containers: known by content; cut files are told from whole ones (field cases V10 to V13)."""

from __future__ import annotations

import io
import struct
from datetime import datetime
from fractions import Fraction
from functools import cache

import pytest
from PIL import Image

from cardmaking import containers
from cardmaking.shots import Shot
from cardmaking.tiff import U32, tiff
from reading import small
from reading.builders import (
    FRAME_HEADER,
    LITTLE,
    SCAN,
    TIME,
    app1,
    builder,
    exif_tiff,
    jpeg,
)
from sorter.model.kinds import Role
from sorter.reading.containers.recognise import recognise
from sorter.reading.source import Memory

SHOT = Shot(
    make="Canon",
    model="Canon EOS R8",
    serial="083021004417",
    lens="100mm F2.8 Macro",
    captured=datetime(2026, 5, 17, 13, 2, 3),  # noqa: DTZ001  a camera's clock has no zone
    subsec="07",
    offset="+01:00",
    exposure=Fraction(1, 160),
    bracket="focus",
    planned=48,
    near_m=0.31,
    far_m=0.33,
)
OM = Shot(
    make="OM Digital Solutions",
    model="OM-1",
    captured=datetime(2026, 5, 17, 13, 2, 3),  # noqa: DTZ001  a camera's clock has no zone
    focus_step=8123,
    near_m=0.235,
    shot_number=4,
    bracket="focus",
)


@cache
def picture(width: int = 320, height: int = 240) -> bytes:
    out = io.BytesIO()
    Image.effect_noise((width, height), 60).save(out, "JPEG")
    return out.getvalue()


@cache
def cr3() -> bytes:
    return containers.cr3(SHOT, picture(), picture(160, 120), picture(480, 360), 4096)


@cache
def orf() -> bytes:
    return containers.orf(OM, picture(), 4096)


# ---- JPEG -----------------------------------------------------------------------------------


def test_the_first_valid_of_two_exif_segments_counts() -> None:
    first = exif_tiff([LITTLE.text(0x010F, "First")], [TIME])
    second = exif_tiff([LITTLE.text(0x010F, "Second")], [TIME])
    assert builder(jpeg(first, second)).facts["make"] == "First"
    assert builder(jpeg(b"garbage" * 5, second)).facts["make"] == "Second"


def broken_below() -> bytes:
    """An Exif block whose first directory is whole and whose second lies outside."""
    block = exif_tiff([LITTLE.text(0x010F, "First")], [TIME])
    pointer = b"\x69\x87\4\0\1\0\0\0"
    at = block.index(pointer) + len(pointer)
    return block[:at] + (0xFFF0).to_bytes(4, "little") + block[at + 4 :]


def test_exif_that_is_broken_below_gives_way_to_a_whole_one() -> None:
    second = exif_tiff([LITTLE.text(0x010F, "Second")], [TIME])
    found = builder(jpeg(broken_below(), second))
    assert (found.facts["make"], found.notes) == ("Second", [])
    assert found.facts["moment"] is not None


@pytest.mark.parametrize("others", [(), (b"garbage" * 5,)])
def test_what_a_broken_exif_tells_stays_where_no_whole_one_follows(others: tuple[bytes]) -> None:
    found = builder(jpeg(broken_below(), *others))
    assert (found.facts["make"], found.notes) == ("First", ["Exif is there but cannot be read"])


def test_xmp_in_many_segments_is_passed() -> None:
    """Source: the XMP specification, part 3 (extended XMP in JPEG)."""
    extended = b"http://ns.adobe.com/xmp/extension/\0" + b"0" * 32 + b"\0\1\0\0\0\0\0\0"
    part = b"\xff\xe1" + (len(extended) + 602).to_bytes(2) + extended + b"<" * 600
    data = jpeg(exif_tiff([LITTLE.text(0x010F, "Maker")], [TIME]))
    for at in (2, data.index(FRAME_HEADER)):
        found = builder(data[:at] + part * 5 + data[at:])
        assert (found.facts["make"], found.notes) == ("Maker", [])


def test_a_jpeg_cut_before_its_exif_is_not_called_one_without() -> None:
    data = jpeg(exif_tiff([LITTLE.text(0x010F, "Maker")], [TIME]))
    assert "no Exif" not in builder(data[:9]).notes
    assert "no Exif in what is left of the file's head" in builder(data[:9]).notes


def test_no_exif_is_told_from_exif_that_cannot_be_read() -> None:
    assert builder(jpeg()).notes == ["no Exif"]
    assert builder(jpeg(b"garbage" * 5)).notes == ["Exif is there but cannot be read"]


def test_size_comes_from_exif_and_else_from_the_frame_header() -> None:
    size = LITTLE.numbers(0xA002, U32, 640), LITTLE.numbers(0xA003, U32, 480)
    told = builder(jpeg(exif_tiff([], [TIME, *size])))
    assert (told.facts["width"], told.facts["height"]) == (640, 480)
    plain = builder(jpeg())
    assert (plain.facts["width"], plain.facts["height"]) == (6000, 4000)


def test_a_jpeg_is_its_own_preview() -> None:
    data = jpeg(exif_tiff([], [TIME]))
    [preview] = builder(data).previews
    assert (preview.offset, preview.length) == (0, len(data))


def test_half_a_jpeg_under_perfect_metadata_is_noted() -> None:
    data = containers.jpeg(SHOT, picture(960, 640))
    assert builder(data).notes == []
    found = builder(data[: len(data) // 2])
    assert found.notes == ["the picture ends early: no end marker"]
    assert found.facts["moment"] is not None


def test_the_end_of_the_thumbnail_in_the_header_is_no_end_of_the_picture() -> None:
    data = containers.jpeg(SHOT, picture(960, 640))
    header = 4 + int.from_bytes(data[4:6])
    found = builder(data[: header + 3000])
    assert found.notes == ["the picture ends early: no end marker"]


def test_a_tail_of_zeros_is_noted() -> None:
    data = containers.jpeg(SHOT, picture(960, 640))
    half = data[: len(data) // 2]
    assert builder(half + b"\0" * 100_000).notes == ["the file ends in zeros"]


def test_padding_and_further_pictures_behind_the_end_are_no_damage() -> None:
    data = containers.jpeg(SHOT, picture(960, 640))
    assert builder(data + b"\0" * 20_000).notes == []
    assert builder(data + picture()).notes == []


def test_fill_bytes_and_segments_before_exif_are_passed() -> None:
    block = app1(exif_tiff([], [TIME]))
    app0 = b"\xff\xe0\x00\x10JFIF\0" + b"\0" * 9
    data = b"\xff\xd8" + app0 + b"\xff\xff\xff" + block[1:] + FRAME_HEADER + SCAN + b"\xff\xd9"
    assert builder(data).facts["moment"] is not None


# ---- CR3 ------------------------------------------------------------------------------------


def test_cr3_facts() -> None:
    found = builder(cr3(), "IMG_0001.CR3")
    said = found.built()
    assert (found.container, found.role, found.notes) == ("cr3", Role.RAW, [])
    assert (said.camera, said.planned, said.bracketing) == ("Canon EOS R8", 48, "focus")
    assert (said.focus_near_m, said.focus_far_m) == (0.31, 0.33)
    assert said.moment is not None
    assert said.moment.iso() == "2026-05-17T13:02:03.07+01:00"


def test_cr3_previews_are_jpegs_of_the_told_sizes() -> None:
    previews = builder(cr3(), "IMG_0001.CR3").previews
    assert [(one.width, one.height) for one in previews] == [(160, 120), (320, 240), (480, 360)]
    for one in previews:
        with Image.open(io.BytesIO(cr3()[one.offset : one.offset + one.length])) as image:
            assert image.size == (one.width, one.height)


def test_cr3_cut_short_is_noted_with_the_numbers() -> None:
    size = len(cr3())
    found = builder(cr3()[: size - 100], "IMG_0001.CR3")
    assert found.notes == [f"the file ends early: {size - 100} of {size} bytes"]
    assert found.facts["moment"] is not None


def test_cr3_is_read_through_small_windows_as_well() -> None:
    assert builder(cr3(), "A.CR3", head_size=64).built() == builder(cr3(), "A.CR3").built()


# ---- TIFF-like raws -------------------------------------------------------------------------


def test_orf_facts_and_preview() -> None:
    found = builder(orf(), "P5170001.ORF")
    said = found.built()
    assert (found.container, found.role, found.notes) == ("orf", Role.RAW, [])
    assert (said.focus_step, said.shot_number, said.bracketing) == (8123, 4, "focus")
    [preview] = found.previews
    with Image.open(io.BytesIO(orf()[preview.offset : preview.offset + preview.length])) as image:
        assert image.size == (320, 240)


def test_orf_is_read_through_small_windows_as_well() -> None:
    assert builder(orf(), "A.ORF", head_size=64).built() == builder(orf(), "A.ORF").built()


@pytest.mark.parametrize(
    ("kind", "make"),
    [
        ("cr2", "Canon"),
        ("nef", "NIKON CORPORATION"),
        ("arw", "SONY"),
        ("dng", "Leica"),
        ("pef", "PENTAX"),
    ],
)
def test_tiff_like_raws_are_named_by_content(kind: containers.RawKind, make: str) -> None:
    shot = Shot(make=make, model="X", captured=SHOT.captured)
    data = containers.tiff_raw(shot, kind, picture())
    found = builder(data, "whatever.bin")
    assert (found.container, found.role, found.notes) == (kind, Role.RAW, [])
    assert found.facts["moment"] is not None
    [preview] = found.previews
    with Image.open(io.BytesIO(data[preview.offset : preview.offset + preview.length])) as image:
        assert image.size == (320, 240)


def test_a_raw_cut_short_is_noted() -> None:
    shot = Shot(make="SONY", model="X", captured=SHOT.captured)
    data = containers.tiff_raw(shot, "arw", picture())
    found = builder(data[:-200], "DSC00001.ARW")
    assert found.notes == [f"the file ends early: {len(data) - 200} of at least {len(data)} bytes"]


def test_a_plain_tiff_is_an_image() -> None:
    out = io.BytesIO()
    Image.new("RGB", (30, 20)).save(out, "TIFF")
    found = builder(out.getvalue(), "scan.tif")
    assert (found.container, found.role) == ("tiff", Role.IMAGE)
    assert (found.facts["width"], found.facts["height"]) == (30, 20)


def test_rw2_takes_the_full_exif_from_the_embedded_jpeg() -> None:
    inner = jpeg(exif_tiff([LITTLE.text(0x010F, "Panasonic")], [TIME, LITTLE.words(0x8827, [200])]))
    outer = [LITTLE.raw(0x002E, inner), LITTLE.text(0x010F, "Panasonic")]
    found = builder(tiff("<", [outer], magic=0x55), "P1000001.RW2")
    assert (found.container, found.role, found.facts["iso"]) == ("rw2", Role.RAW, 200)
    assert found.previews[0].length == len(inner)


def test_a_shell_that_holds_all_exif_itself_is_read_with_its_note() -> None:
    found = builder(small.old_rw2(), "P1000001.RAW")
    assert (found.container, found.notes) == ("rw2", [])
    assert found.facts["moment"] is not None
    assert found.facts["bracketing"] == "focus"


def test_raf_header() -> None:
    inner = jpeg(exif_tiff([LITTLE.text(0x010F, "FUJIFILM")], [TIME]))
    header = b"FUJIFILMCCD-RAW 0201".ljust(0x54, b"\0") + struct.pack(">II", 0x94, len(inner))
    data = header.ljust(0x64, b"\0") + struct.pack(">II", 0x94 + len(inner), 100)
    data = data.ljust(0x94, b"\0") + inner
    assert builder(data + b"\1" * 100, "DSCF0001.RAF").notes == []
    found = builder(data + b"\1" * 90, "DSCF0001.RAF")
    assert found.facts["make"] == "FUJIFILM"
    assert found.notes == [f"the file ends early: {len(data) + 90} of {len(data) + 100} bytes"]


# ---- HEIF -----------------------------------------------------------------------------------


def box(kind: bytes, *content: bytes) -> bytes:
    body = b"".join(content)
    return struct.pack(">I4s", len(body) + 8, kind) + body


def heif(prefix: bytes, brand: bytes = b"heic") -> bytes:
    item = prefix + exif_tiff([LITTLE.text(0x010F, "Maker")], [TIME])
    front = box(b"ftyp", brand, b"\0\0\0\0", b"mif1", b"heic")
    entry = box(b"infe", b"\2\0\0\0", struct.pack(">HH", 7, 0), b"Exif", b"\0")
    info = box(b"iinf", b"\0\0\0\0", struct.pack(">H", 1), entry)

    def meta(at: int) -> bytes:
        place = struct.pack(">HHHII", 7, 0, 1, at, len(item))
        table = box(b"iloc", b"\0\0\0\0", b"\x44\x00", struct.pack(">H", 1), place)
        return box(b"meta", b"\0\0\0\0", info, table)

    at = len(front) + len(meta(0)) + 8
    return front + meta(at) + box(b"mdat", item)


@pytest.mark.parametrize("prefix", [b"\0\0\0\6Exif\0\0", b"\0\0\0\0"])
def test_heif_exif_item_with_and_without_its_name(prefix: bytes) -> None:
    found = builder(heif(prefix), "IMG_0001.HIF")
    assert (found.container, found.role, found.facts["make"]) == ("heif", Role.IMAGE, "Maker")
    assert found.facts["moment"] is not None


@pytest.mark.parametrize("version", [0, 1, 2])
@pytest.mark.parametrize("info", [2, 3])
@pytest.mark.parametrize("parts", [1, 2, 5])
def test_heif_in_all_its_layouts(version: int, info: int, parts: int) -> None:
    """Source: ISO/IEC 14496-12, iloc and infe boxes."""
    for method in (0, 1) if version else (0,):
        data = small.heif(version=version, method=method, info=info, parts=parts)
        found = builder(data, "IMG_0001.HIF")
        assert (found.facts["make"], found.notes) == ("Limpet", [])
        assert found.facts["exposure_time_s"] == 1 / 160
        assert [(one.width, one.height) for one in found.previews] == [(16, 12)]


def test_heif_sizes_of_jpeg_items_are_known_beyond_the_first_block() -> None:
    [preview] = builder(small.heif(), "IMG_0001.HIF", head_size=64).previews
    assert (preview.width, preview.height) == (16, 12)


def test_heif_items_built_of_items_are_not_read_as_if_they_were_not() -> None:
    found = builder(small.heif(version=1, method=2), "IMG_0001.HIF")
    assert found.notes[0] == "Exif is there but cannot be read: where it lies is not told"
    assert found.previews == []


def test_heif_cut_short_is_noted() -> None:
    size = len(heif(b"\0\0\0\0"))
    found = builder(heif(b"\0\0\0\0")[:-4], "IMG_0001.HIF")
    assert found.notes == [
        "the capture time cannot be read: it lies outside the file",
        f"the file ends early: {size - 4} of at least {size} bytes",
    ]


# ---- content decides ------------------------------------------------------------------------


def test_an_extension_that_lies_is_noted() -> None:
    found = builder(heif(b"\0\0\0\0"), "IMG_0001.JPG")
    assert found.container == "heif"
    assert found.notes == ["its name says jpg, its content is heif"]


@pytest.mark.parametrize(
    ("start", "name", "role"),
    [
        (b"\0\0\0\x18ftypmp42\0\0\0\0", "mp4", Role.CLIP),
        (b"\0\0\0\x14ftypqt  \0\0\0\0", "mp4", Role.CLIP),
        (b"\0\0\0\x08wide\0\0\0\x10mdat", "mp4", Role.CLIP),
        (b"RIFF\0\0\0\0AVI LIST", "avi", Role.CLIP),
        (b"RIFF\0\0\0\0WAVEfmt ", "wav", Role.SOUND),
        (b"ID3\3\0\0\0\0\0\0", "mp3", Role.SOUND),
        ((b"G" + b"\0" * 187) * 4, "mts", Role.CLIP),
        ((b"\0\0\0\0G" + b"\0" * 187) * 4, "mts", Role.CLIP),
        (b"\0\0\1\xba\x44\0\4\0", "mpg", Role.CLIP),  # ISO/IEC 13818-1, 2.5.3.3
        (b"\x89PNG\r\n\x1a\n", "png", Role.IMAGE),
        (b"MMOR\0\0\0\x08", "orf", Role.RAW),
    ],
)
def test_what_is_recognised_by_its_first_bytes(start: bytes, name: str, role: Role) -> None:
    found = recognise(Memory(start))
    assert found is not None
    assert (found.name, found.role) == (name, role)


@pytest.mark.parametrize("data", [b"", b"G", b"hello", b"\0" * 1000, b"GGGG"])
def test_what_is_not_recognised(data: bytes) -> None:
    assert recognise(Memory(data)) is None
