"""Where a frame is looked at, and what comes out: against Pillow's own turning by Exif."""

from __future__ import annotations

import sys
from io import BytesIO
from pathlib import Path

import numpy as np
import pillow_heif
import pytest
import tifffile
from PIL import Image, ImageOps

from sorter.model.measurement import FrameSource, PreviewSource
from sorter.pixels.decoded import Undecodable
from sorter.pixels.reduced import LEAST_SIDE, MOST_SIDE, grey

ORIENTATION = 0x0112  # Exif 2.32, tag Orientation


def picture(width: int = 900, height: int = 600, seed: int = 1) -> Image.Image:
    rough = np.random.default_rng(seed).integers(0, 255, (height // 50, width // 50, 3))
    small = Image.fromarray(rough.astype(np.uint8))
    return small.resize((width, height), Image.Resampling.BICUBIC)


def as_jpeg(shown: Image.Image, orientation: int = 1) -> bytes:
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    out = BytesIO()
    shown.save(out, "JPEG", quality=95, exif=exif)
    return out.getvalue()


def put(folder: Path, data: bytes, name: str = "POOL0001.JPG") -> str:
    (folder / name).write_bytes(data)
    return str(folder / name)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_picture_stands_as_exif_says(orientation: int, tmp_path: Path) -> None:
    """ImageOps.exif_transpose of Pillow is the reference."""
    path = put(tmp_path, as_jpeg(picture(), orientation))
    plain, scale = grey(FrameSource(previews=(PreviewSource(path=path, orientation=orientation),)))
    with Image.open(path) as opened:
        expected = np.asarray(ImageOps.exif_transpose(opened).convert("L"))
    assert (plain.shape, scale) == (expected.shape, 1.0)
    assert np.abs(plain.astype(float) - expected).mean() < 1


def test_a_large_jpeg_is_unpacked_small(tmp_path: Path) -> None:
    path = put(tmp_path, as_jpeg(picture(6000, 4000)))
    plain, scale = grey(FrameSource(previews=(PreviewSource(path=path),)))
    assert LEAST_SIDE <= max(plain.shape) <= MOST_SIDE
    assert scale == pytest.approx(6000 / max(plain.shape))


def test_a_preview_is_a_stretch_of_its_file(tmp_path: Path) -> None:
    data = as_jpeg(picture(1000, 500))
    path = put(tmp_path, b"raw data" + data + b"more of it", "POOL0001.CR3")
    plain, _ = grey(FrameSource(previews=(PreviewSource(path=path, offset=8, length=len(data)),)))
    assert plain.shape == (500, 1000)


def test_a_preview_that_cannot_be_decoded_gives_way_to_the_next(tmp_path: Path) -> None:
    whole = as_jpeg(picture(1000, 500))
    broken = put(tmp_path, whole[: len(whole) // 3], "POOL0002.JPG")
    sights = (PreviewSource(path=broken), PreviewSource(path=put(tmp_path, whole)))
    plain, _ = grey(FrameSource(previews=sights))
    assert plain.shape == (500, 1000)
    with pytest.raises(Undecodable):
        grey(FrameSource(previews=sights[:1]))


@pytest.mark.parametrize("data", [b"", b"\xff\xd8\xff", b"no picture at all" * 9])
def test_what_is_no_picture_is_said(data: bytes, tmp_path: Path) -> None:
    with pytest.raises(Undecodable):
        grey(FrameSource(previews=(PreviewSource(path=put(tmp_path, data)),)))


def test_a_picture_that_is_too_small_and_none_at_all(tmp_path: Path) -> None:
    with pytest.raises(Undecodable, match="too few to look at"):
        grey(FrameSource(previews=(PreviewSource(path=put(tmp_path, as_jpeg(picture(100, 50).crop((0, 0, 40, 40))))),)))  # fmt: skip
    with pytest.raises(Undecodable, match="no picture"):
        grey(FrameSource(previews=()))
    with pytest.raises(OSError, match="No such file"):
        grey(FrameSource(previews=(PreviewSource(path=str(tmp_path / "gone.JPG")),)))


def test_a_heif_file_by_the_extra(tmp_path: Path) -> None:
    """pillow-heif, which uses libheif, writes it too."""
    pillow_heif.register_heif_opener()
    picture().save(tmp_path / "POOL0001.HIF", "HEIF")
    plain, scale = grey(FrameSource(previews=(PreviewSource(path=str(tmp_path / "POOL0001.HIF")),)))
    assert (plain.shape, scale) == ((600, 900), 1.0)
    assert np.abs(plain.astype(float) - np.asarray(picture().convert("L"))).mean() < 6


def test_a_raw_without_a_preview_is_developed_by_the_extra(tmp_path: Path) -> None:
    """A DNG by Adobe's specification 1.4: a ramp under a colour filter array, written by tifffile."""
    ramp = np.tile(np.linspace(20, 230, 1200), (800, 1)).astype(np.uint16)
    tags = [
        (50706, "B", 4, bytes([1, 4, 0, 0]), True),  # DNGVersion
        (50708, "s", 0, "Rock Pool One", True),  # UniqueCameraModel
        (33421, "H", 2, (2, 2), True),  # CFARepeatPatternDim
        (33422, "B", 4, bytes([0, 1, 1, 2]), True),  # CFAPattern
        (50721, "2i", 9, (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1), True),  # ColorMatrix1
        (50717, "H", 1, (16383,), True),  # WhiteLevel
    ]  # fmt: skip
    path = tmp_path / "POOL0001.DNG"
    tifffile.imwrite(path, ramp * 64, photometric=32803, extratags=tags, metadata=None)
    plain, scale = grey(FrameSource(previews=(PreviewSource(path=str(path)),)))
    assert (plain.shape, scale) == ((400, 600), 2.0)
    assert (np.diff(plain[200, 20:-20:40].astype(int)) > 0).all()
    assert np.ptp(plain, axis=0).max() < 3


def test_without_the_extras_such_files_cannot_be_looked_at(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "rawpy", None)
    path = put(tmp_path, b"II*\0" + bytes(400), "POOL0001.DNG")
    with pytest.raises(Undecodable):
        grey(FrameSource(previews=(PreviewSource(path=path),)))
