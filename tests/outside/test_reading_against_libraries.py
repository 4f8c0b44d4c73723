"""The reader against libraries and standards that nobody here made."""

from __future__ import annotations

import io
import math
from datetime import datetime
from fractions import Fraction

import exifread
import piexif
import pytest
from PIL import Image

from cardmaking import containers
from cardmaking.shots import Shot
from reading.builders import LITTLE, builder, facts
from sorter.model.frame import Facts
from sorter.reading.names import number

SHOTS = [
    {
        "0th": {0x010F: b"Maker", 0x0110: b"Model M", 0x0112: 6},
        "Exif": {
            0x829A: (1, 160),
            0x829D: (56, 10),
            0x8827: 400,
            0x9003: b"2026:05:17 13:02:03",
            0x9204: (-2, 3),
            0x9209: 0x19,
            0x920A: (100, 1),
            0x9291: b"07",
            0xA431: b"12345",
            0xA434: b"100mm macro",
        },
    },
    {
        "0th": {0x010F: b"Other", 0x0110: b"Model N", 0x0112: 1},
        "Exif": {
            0x829A: (25, 10),
            0x829D: (16, 1),
            0x8827: 50,
            0x9003: b"1999:12:31 23:59:59",
            0x9204: (1, 1),
            0x9209: 0x10,
            0x920A: (605, 10),
            0x9291: b"999",
            0xA431: b"Z-9",
            0xA434: b"60mm",
        },
    },
]


def made(parts: dict[str, dict[int, object]]) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (64, 48)).save(out, "JPEG", exif=piexif.dump(parts))
    return out.getvalue()


@pytest.mark.parametrize("parts", SHOTS)
def test_standard_tags_equal_what_exifread_reads(parts: dict[str, dict[int, object]]) -> None:
    """Source: exifread, which shares no code with the sorter; input written by piexif."""
    data = made(parts)
    said = builder(data).built()
    tags = exifread.process_file(io.BytesIO(data), details=False)

    def value(name: str) -> float:
        return float(Fraction(str(tags[name].values[0])))

    assert said.exposure_time_s == pytest.approx(value("EXIF ExposureTime"))
    assert said.f_number == pytest.approx(value("EXIF FNumber"))
    assert said.iso == value("EXIF ISOSpeedRatings")
    assert said.focal_length_mm == pytest.approx(value("EXIF FocalLength"))
    assert said.exposure_bias_ev == pytest.approx(value("EXIF ExposureBiasValue"))
    assert (said.make, said.model) == (str(tags["Image Make"]), str(tags["Image Model"]))
    assert (said.lens, said.serial) == (
        str(tags["EXIF LensModel"]),
        str(tags["EXIF BodySerialNumber"]),
    )
    assert_time(said, f"{tags['EXIF DateTimeOriginal']}.{tags['EXIF SubSecTimeOriginal']}")


@pytest.mark.parametrize("parts", SHOTS)
def test_standard_tags_equal_what_pillow_reads(parts: dict[str, dict[int, object]]) -> None:
    """Source: Pillow's Exif reader; input written by piexif."""
    data = made(parts)
    said = builder(data).built()
    with Image.open(io.BytesIO(data)) as image:
        main = image.getexif()
        exif = main.get_ifd(0x8769)
    assert said.exposure_time_s == pytest.approx(float(exif[0x829A]))
    assert said.f_number == pytest.approx(float(exif[0x829D]))
    assert said.exposure_bias_ev == pytest.approx(float(exif[0x9204]))
    assert said.flash_fired == bool(exif[0x9209] & 1)
    assert said.orientation == main[0x0112]
    assert_time(said, f"{exif[0x9003]}.{exif[0x9291]}")


def assert_time(said: Facts, written: str) -> None:
    assert said.moment is not None
    wanted = datetime.strptime(written, "%Y:%m:%d %H:%M:%S.%f")  # noqa: DTZ007  no zone is known
    assert datetime.fromisoformat(said.moment.iso()) == wanted


def test_raws_equal_what_exifread_reads() -> None:
    """Source: exifread on a TIFF-like raw of the card maker."""
    shot = Shot(
        make="PENTAX",
        model="K",
        captured=datetime(2026, 5, 17, 13, 2, 3),  # noqa: DTZ001  no zone is known
        exposure=Fraction(1, 30),
        f_number=11.0,
    )
    out = io.BytesIO()
    Image.new("RGB", (64, 48)).save(out, "JPEG")
    data = containers.tiff_raw(shot, "pef", out.getvalue())
    tags = exifread.process_file(io.BytesIO(data), details=False)
    said = builder(data, "IMGP0001.PEF").built()
    assert said.exposure_time_s == pytest.approx(
        float(Fraction(str(tags["EXIF ExposureTime"].values[0])))
    )
    assert said.f_number == float(Fraction(str(tags["EXIF FNumber"].values[0])))
    assert said.model == str(tags["Image Model"])


@pytest.mark.parametrize("tenths", range(-40, 101, 5))
def test_apex_time_value(tenths: int) -> None:
    """Source: CIPA DC-008, annex on APEX: Tv = -log2(t)."""
    said = facts(LITTLE.ratios(0x9201, (tenths, 10), kind=10))
    assert said.exposure_time_s is not None
    assert -math.log2(said.exposure_time_s) == pytest.approx(tenths / 10)


@pytest.mark.parametrize("tenths", range(5, 101, 5))
def test_apex_aperture_value(tenths: int) -> None:
    """Source: CIPA DC-008, annex on APEX: Av = 2 log2(N)."""
    said = facts(LITTLE.ratios(0x9202, (tenths, 10)))
    assert said.f_number is not None
    assert 2 * math.log2(said.f_number) == pytest.approx(tenths / 10)


@pytest.mark.parametrize(
    ("stem", "legal"),
    [
        ("IMG_0001", True),
        ("_MG_9999", True),
        ("P5170129", True),
        ("img_0001", True),
        ("IMG_0000", False),
        ("IMG-0001", False),
        ("IMG_001", False),
        ("IMG_00001", False),
        ("IMG_0001 copy", False),
    ],
)
def test_dcf_file_names(stem: str, legal: bool) -> None:
    """Source: CIPA DC-009, DCF file names: four of A-Z 0-9 _, then 0001 to 9999."""
    assert (number(stem) is not None) is legal
