"""Which picture of a frame is looked at: never a thumbnail where a larger one can be decoded."""

from __future__ import annotations

import subprocess
import sys
from io import BytesIO
from pathlib import Path

import cv2
import numpy as np
import piexif
import pillow_heif
import pytest
import tifffile
from PIL import Image

from sorter.disk.card import Card
from sorter.model.card import CardFile
from sorter.model.measurement import FrameSource, PreviewSource
from sorter.pixels.reduced import COLOUR, grey, reduced
from sorter.pixels.sources import frame_source
from sorter.reading.cards import read_files

SIDE = 1200


def pool(width: int = SIDE, height: int = 800) -> Image.Image:
    """Stones of a rock pool: rough grains in colour."""
    rough = np.random.default_rng(5).integers(0, 255, (height // 40, width // 40, 3))
    small = Image.fromarray(rough.astype(np.uint8))
    return small.resize((width, height), Image.Resampling.BICUBIC)


def thumbnail() -> bytes:
    out = BytesIO()
    pool().resize((160, 106)).save(out, "JPEG")
    return out.getvalue()


def exif() -> bytes:
    """Exif with a thumbnail, by piexif."""
    taken = {piexif.ExifIFD.DateTimeOriginal: b"2026:05:01 06:10:00"}
    known = {"0th": {}, "Exif": taken, "1st": {}, "thumbnail": thumbnail()}
    made: bytes = piexif.dump(known)
    return made


def source(folder: Path, name: str) -> FrameSource:
    """The frame of one file, read as any file of a card is."""
    size = (folder / name).stat().st_size
    files = read_files(Card(folder), [CardFile(path=name, size=size, plain=True)])
    return frame_source(files, lambda path: str(folder / path))


def side(found: FrameSource) -> int:
    plain, scale = grey(found)
    longest = int(max(plain.shape))
    return round(longest * scale)


def test_of_a_heif_file_with_a_thumbnail_the_picture_is_looked_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where the extra is not installed, the thumbnail stands in: its size says so."""
    Image.init()  # all that Pillow knows by itself
    pillow_heif.register_heif_opener()
    pool().save(tmp_path / "POOL0001.HIF", "HEIF", exif=exif())
    assert side(source(tmp_path, "POOL0001.HIF")) == SIDE
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    monkeypatch.setattr(Image, "OPEN", {k: v for k, v in Image.OPEN.items() if k != "HEIF"})
    monkeypatch.setattr(Image, "ID", [name for name in Image.ID if name != "HEIF"])
    assert side(source(tmp_path, "POOL0001.HIF")) == 160


@pytest.mark.parametrize("deep", [True, False])
@pytest.mark.parametrize("grain", ["grey", "colour"])
@pytest.mark.parametrize("suffix", ["PNG", "TIF"])
def test_a_deep_picture_is_looked_at_in_all_its_levels(
    suffix: str, grain: str, *, deep: bool, tmp_path: Path
) -> None:
    """OpenCV writes it; a ramp in 16 bits keeps its steps, which Pillow's own conversion cuts off."""
    ramp = np.tile(np.linspace(0, 255, SIDE), (800, 1))
    levels: np.ndarray = (ramp * 257).astype(np.uint16) if deep else ramp.astype(np.uint8)
    plain: np.ndarray = levels if grain == "grey" else np.dstack([levels] * 3)
    path = tmp_path / f"POOL0001.{suffix}"
    assert cv2.imwrite(str(path), plain)
    found = source(tmp_path, path.name)
    assert side(found) == SIDE
    for mode, shape in (("L", 2), (COLOUR, 3)):
        shown = reduced(found, mode).samples
        assert shown.ndim == shape
        row = shown[200].reshape(shown.shape[1], -1)[:, 0]
        assert np.abs(row - np.linspace(0, 255, len(row))).max() < 3


def as_jpeg(folder: Path, *options: str) -> bytes:
    """A JPEG by libjpeg's own cjpeg, with a thumbnail in Exif."""
    pool().resize((3240, 2160)).save(folder / "pool.ppm")
    try:
        done = subprocess.run(  # noqa: S603  a program of the system
            ["cjpeg", *options, str(folder / "pool.ppm")],  # noqa: S607
            capture_output=True,
            check=True,
        )
    except FileNotFoundError:
        pytest.skip("libjpeg's cjpeg is not installed here")
    out = BytesIO()
    piexif.insert(exif(), done.stdout, out)
    return out.getvalue()


@pytest.mark.parametrize("options", [("-arithmetic",), ("-arithmetic", "-progressive"), ()])
def test_a_jpeg_with_arithmetic_coding_is_no_reason_for_its_thumbnail(
    options: tuple[str, ...], tmp_path: Path
) -> None:
    (tmp_path / "POOL0001.JPG").write_bytes(as_jpeg(tmp_path, *options))
    assert side(source(tmp_path, "POOL0001.JPG")) == 3240


def test_of_a_jpeg_cut_in_the_middle_only_the_thumbnail_is_left(tmp_path: Path) -> None:
    out = BytesIO()
    pool().save(out, "JPEG", exif=exif())
    data = out.getvalue()
    (tmp_path / "POOL0001.JPG").write_bytes(data[: len(data) // 2])
    assert side(source(tmp_path, "POOL0001.JPG")) == 160
    (tmp_path / "POOL0002.JPG").write_bytes(data)
    assert side(source(tmp_path, "POOL0002.JPG")) == SIDE


def dng(path: Path) -> None:
    """A DNG by Adobe's specification 1.4, its thumbnail in the first directory, by tifffile."""
    ramp = np.tile(np.linspace(20, 230, 1200), (800, 1)).astype(np.uint16) * 64
    tags = [
        (50706, "B", 4, bytes([1, 4, 0, 0]), True),  # DNGVersion
        (50708, "s", 0, "Rock Pool One", True),  # UniqueCameraModel
        (50721, "2i", 9, (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1), True),  # ColorMatrix1
    ]  # fmt: skip
    cfa = [
        (33421, "H", 2, (2, 2), True),  # CFARepeatPatternDim
        (33422, "B", 4, bytes([0, 1, 1, 2]), True),  # CFAPattern
        (50717, "H", 1, (16383,), True),  # WhiteLevel
    ]
    with tifffile.TiffWriter(path) as out:
        small = np.asarray(pool().resize((160, 106)))
        out.write(small, photometric="rgb", subifds=1, subfiletype=1, extratags=tags, metadata=None)
        out.write(ramp, photometric=32803, extratags=cfa, subfiletype=0, metadata=None)


def test_a_raw_with_but_a_thumbnail_is_developed_where_the_extra_is_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    dng(tmp_path / "POOL0001.DNG")
    found = source(tmp_path, "POOL0001.DNG")
    assert side(found) == SIDE
    monkeypatch.setitem(sys.modules, "rawpy", None)
    assert side(found) == 160


def test_a_larger_picture_further_down_goes_before_a_small_one(tmp_path: Path) -> None:
    """What is said of the size need not be true."""
    small, large = thumbnail(), BytesIO()
    pool().save(large, "JPEG")
    (tmp_path / "POOL0001.CR3").write_bytes(small + large.getvalue())
    path = str(tmp_path / "POOL0001.CR3")
    first = PreviewSource(path=path, length=len(small), side=1620)
    second = PreviewSource(path=path, offset=len(small), length=len(large.getvalue()))
    for previews in ((first, second), (second, first)):
        assert side(FrameSource(previews=previews)) == SIDE
