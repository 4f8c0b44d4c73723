"""Results of a hand-off held against other tools: what exiftool, exifread and Pillow read in them.

Sources: exiftool (Debian libimage-exiftool-perl), exifread and Pillow (PyPI), ImageMagick's convert
(Debian) as a merging program of another make; CIPA DC-008-2019 for the tags of a composite image.
"""

from __future__ import annotations

import io
import json
import subprocess
import tracemalloc
import zlib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final, Literal

import exifread
import numpy as np
import piexif
import pytest
import tifffile
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from handoff.tidal import FIRST, handoff, results, tidal_shoot
from outside import corpus
from outside.asking import exiftool
from outside.tools import run
from sorter.handoff.exif import CannotPutBack, put_back
from sorter.model.reference import Reference
from sorter.pixels.decoded import picture_digest
from sorter.reading.reference import read_reference
from sorter.reading.source import Memory
from writing.cards import picture

SLICES: Final = 25
# By exiftool's names. Only these are put back; the result's own size and version are its own.
SAME: Final = [
    "ExifIFD:DateTimeOriginal",
    "ExifIFD:SubSecTimeOriginal",
    "ExifIFD:OffsetTimeOriginal",
    "IFD0:Make",
    "IFD0:Model",
    "ExifIFD:LensModel",
    "ExifIFD:LensMake",
    "ExifIFD:LensInfo",
    "ExifIFD:FocalLength",
    "ExifIFD:SerialNumber",
    "ExifIFD:ExposureTime",
    "ExifIFD:FNumber",
    "ExifIFD:ISO",
    "ExifIFD:ExposureCompensation",
    "ExifIFD:Flash",
    "ExifIFD:ExposureProgram",
    "ExifIFD:MeteringMode",
    "ExifIFD:WhiteBalance",
    "IFD0:Artist",
    "IFD0:Copyright",
    "GPS:GPSLatitude",
    "GPS:GPSLongitude",
    "GPS:GPSLatitudeRef",
]
COMPOSITE: Final = {
    "ExifIFD:CompositeImage": 2,
    "ExifIFD:CompositeImageCount": f"{SLICES} {SLICES}",
    "ExifIFD:ExifVersion": "0232",
}


def told(path: Path) -> dict[str, Any]:
    """exiftool's answers by group and tag, numbers unconverted."""
    said = exiftool("-j", "-n", "-G1", "-struct", str(path))
    answer: dict[str, Any] = json.loads(said)[0]
    return answer


def reference() -> bytes:
    """A slice with all that a slice may say, maker's note, thumbnail and orientation among it."""
    thumbnail = io.BytesIO()
    Image.new("RGB", (16, 12), "teal").save(thumbnail, "JPEG")
    exif, main = piexif.ExifIFD, piexif.ImageIFD
    said = {
        "0th": {
            main.Make: b"Tidepool",
            main.Model: b"Tidepool R8",
            main.Orientation: 6,
            main.Artist: b"A. Limpet",
            main.Copyright: "© 2026 A. Limpet".encode(),
        },
        "Exif": {
            exif.DateTimeOriginal: b"2026:05:17 13:03:05",
            exif.SubSecTimeOriginal: b"25",
            exif.OffsetTimeOriginal: b"+02:00",
            exif.ExposureTime: (1, 250),
            exif.FNumber: (56, 10),
            exif.ISOSpeedRatings: 400,
            exif.ExposureBiasValue: (-1, 3),
            exif.FocalLength: (100, 1),
            exif.Flash: 16,
            exif.LensModel: b"100mm F2.8 Macro",
            exif.LensSpecification: ((100, 1), (100, 1), (28, 10), (28, 10)),
            exif.BodySerialNumber: b"0417",
            exif.MakerNote: b"Tidepool\0\1\2\3",
            exif.SubjectDistance: (31, 100),
        },
        "GPS": {
            piexif.GPSIFD.GPSLatitudeRef: b"N",
            piexif.GPSIFD.GPSLatitude: ((50, 1), (21, 1), (36, 1)),
            piexif.GPSIFD.GPSLongitudeRef: b"W",
            piexif.GPSIFD.GPSLongitude: ((4, 1), (7, 1), (3, 1)),
        },
        "1st": {main.Compression: 6},
        "thumbnail": thumbnail.getvalue(),
    }
    made = io.BytesIO()
    Image.new("RGB", (64, 48), "sienna").save(made, "JPEG", exif=piexif.dump(said))
    return made.getvalue()


# ---- results as programs write them -----------------------------------------------------------


def noise(kind: str = "RGB") -> Image.Image:
    picture = Image.effect_noise((61, 43), 80).convert("RGB")
    return picture.convert(kind)


def deep() -> np.ndarray[Any, Any]:
    return np.arange(61 * 43 * 3, dtype=np.uint16).reshape(43, 61, 3) * 7


def by_pillow(path: Path, **how: object) -> None:
    noise().save(path, **how)  # type: ignore[arg-type]


def by_tifffile(path: Path, **how: Any) -> None:  # noqa: ANN401  the library's own options
    own = {name: how.pop(name) for name in ("bigtiff", "byteorder") if name in how}
    with tifffile.TiffWriter(path, **own) as file:
        file.write(deep(), photometric="rgb", **how)


def pages(path: Path) -> None:
    noise().save(path, save_all=True, append_images=[noise(), noise("L")])


def by_convert(path: Path, *options: str) -> None:
    source = path.with_name("source.png")
    noise().save(source)
    done = run("convert", str(source), *options, str(path))
    assert done.returncode == 0, done.stderr


def with_exif(path: Path) -> None:
    """A program that copied a slice's Exif as it was, thumbnail, note and all, and turned nothing."""
    own = piexif.load(reference())
    own["0th"][piexif.ImageIFD.Orientation] = 8
    own["0th"][piexif.ImageIFD.Software] = b"tide table"
    own["0th"][piexif.ImageIFD.ImageDescription] = b"written by hand"
    noise().save(path, exif=piexif.dump(own), icc_profile=profile(), dpi=(300, 300))


def profile() -> bytes:
    from PIL import ImageCms  # noqa: PLC0415

    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


MADE: Final[Mapping[str, Callable[[Path], None]]] = {
    "plain.jpg": by_pillow,
    "progressive.jpg": lambda path: by_pillow(path, progressive=True, quality=80),
    "with_exif.jpg": with_exif,
    "with_exif.png": with_exif,
    "with_exif.tif": with_exif,
    "plain.png": by_pillow,
    "plain.tif": by_pillow,
    "lzw.tif": lambda path: by_pillow(path, compression="tiff_lzw"),
    "deflate.tif": lambda path: by_pillow(path, compression="tiff_adobe_deflate"),
    "pages.tif": pages,
    "deep.tif": by_tifffile,
    "deep_big_endian.tif": lambda path: by_tifffile(path, byteorder=">"),
    "deep_tiles.tif": lambda path: by_tifffile(path, tile=(16, 16), compression="zlib"),
    "bigtiff.tif": lambda path: by_tifffile(path, bigtiff=True),
    "bigtiff_big_endian.tif": lambda path: by_tifffile(path, bigtiff=True, byteorder=">"),
    "convert.jpg": by_convert,
    "convert.png": lambda path: by_convert(path, "-depth", "16"),
    "convert.tif": lambda path: by_convert(path, "-depth", "16"),
    "convert_lzw.tif": lambda path: by_convert(path, "-compress", "LZW", "-endian", "MSB"),
}


@pytest.fixture(params=sorted(MADE))
def merged(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    path: Path = tmp_path / request.param
    MADE[request.param](path)
    return path


def finished(path: Path, data: bytes) -> Path:
    """The file with Exif put back, beside it."""
    size = picture_digest(path)
    pieces = put_back(
        path.read_bytes(),
        read_reference(Memory(data)),
        slices=SLICES,
        size=(size.width, size.height),
    )
    target = path.with_name(f"finished_{path.name}")
    target.write_bytes(b"".join(pieces))
    return target


def in_bigtiff(path: Path) -> dict[str, Any]:
    """By tifffile: exiftool 12.57 gives what lies below IFD0 of a BigTIFF to other groups."""
    with tifffile.TiffFile(path) as file:
        tags = file.pages[0].tags  # type: ignore[union-attr]
        said: dict[str, Any] = tags["ExifTag"].value
        return {**said, "Model": tags["Model"].value, **tags["GPSTag"].value}


def test_all_that_was_lost_is_back_in_a_bigtiff(tmp_path: Path) -> None:
    for name in ("bigtiff.tif", "bigtiff_big_endian.tif"):
        MADE[name](tmp_path / name)
        said = in_bigtiff(finished(tmp_path / name, reference()))
        assert (said["DateTimeOriginal"], said["Model"]) == ("2026:05:17 13:03:05", "Tidepool R8")
        assert (said["ExposureTime"], said["FNumber"]) == ((1, 250), (56, 10))
        assert (said["LensModel"], said["CompositeImage"]) == ("100mm F2.8 Macro", 2)
        assert said["GPSLatitude"] == (50, 1, 21, 1, 36, 1)


def test_all_that_was_lost_is_back(merged: Path) -> None:
    if merged.name.startswith("bigtiff"):  # held by the test above
        assert in_bigtiff(finished(merged, reference()))["Flash"] == 16
        return
    (slice_ := merged.with_name("slice.jpg")).write_bytes(reference())
    said, there = told(slice_), told(finished(merged, reference()))
    own = told(merged)
    assert there.get("ExifTool:Error") == own.get("ExifTool:Error")
    assert there.get("ExifTool:Warning") in (None, own.get("ExifTool:Warning"))
    first = {"IFD0:Artist", "IFD0:Copyright"} & own.keys()  # what the program says of these stays
    wanted = {tag: said[tag] for tag in SAME if tag in said and tag not in first}
    assert len(wanted) > 15
    assert {tag: there.get(tag) for tag in wanted} == wanted
    assert {tag: there.get(tag) for tag in COMPOSITE} == COMPOSITE


def test_what_tells_of_one_slice_stays_out(merged: Path) -> None:
    own = told(merged)
    there = told(finished(merged, reference()))
    assert there.get("IFD0:Orientation") == own.get("IFD0:Orientation")
    assert "ExifIFD:SubjectDistance" not in there or "ExifIFD:SubjectDistance" in own
    assert not [tag for tag in there if "MakerNote" in tag or "Thumbnail" in tag]


def test_what_the_program_wrote_stays(merged: Path) -> None:
    own, there = told(merged), told(finished(merged, reference()))
    kept: tuple[str, ...] = (
        "IFD0:Software",
        "IFD0:ImageDescription",
        "ICC_Profile:ProfileDescription",
    )
    kept += ("IFD0:XResolution", "JFIF:XResolution", "IFD0:BitsPerSample", "IFD0:Compression")
    assert {tag: there.get(tag) for tag in kept} == {tag: own.get(tag) for tag in kept}


def test_the_pixels_are_untouched(merged: Path) -> None:
    """By our own hash, by Pillow's decoder, and byte by byte where the file keeps them."""
    target = finished(merged, reference())
    assert picture_digest(target) == picture_digest(merged)
    if merged.name != "bigtiff_big_endian.tif":  # Pillow 13 opens none
        _hold_same(merged, target)
    assert raw_data(target) == raw_data(merged)


def _hold_same(merged: Path, target: Path) -> None:
    with Image.open(merged) as one, Image.open(target) as two:
        assert getattr(one, "n_frames", 1) == getattr(two, "n_frames", 1)
        assert one.tobytes() == two.tobytes()


def raw_data(path: Path) -> list[bytes]:
    """The coded picture: a JPEG from its scan on, a PNG's IDAT chunks, a TIFF's strips in place."""
    data = path.read_bytes()
    if path.suffix == ".jpg":
        return [data[data.rindex(b"\xff\xda") :]]
    if path.suffix == ".png":
        return [data[data.index(b"IDAT") : data.rindex(b"IEND")]]
    with tifffile.TiffFile(path) as file:
        return [
            data[at : at + size]
            for page in file.pages
            for at, size in zip(page.dataoffsets, page.databytecounts, strict=True)
        ]


def test_exifread_reads_the_same(merged: Path) -> None:
    if merged.name.startswith("bigtiff"):
        with tifffile.TiffFile(finished(merged, reference())) as file:
            assert file.pages[0].tags["Model"].value == "Tidepool R8"  # type: ignore[union-attr]
        return
    with finished(merged, reference()).open("rb") as file:
        tags = exifread.process_file(file, details=False)
    said = {name: str(tags[name]) for name in tags if name.startswith(("Image M", "EXIF"))}
    assert said["Image Model"] == "Tidepool R8"
    assert said["EXIF DateTimeOriginal"] == "2026:05:17 13:03:05"
    assert said["EXIF ExposureTime"] == "1/250"
    assert said["EXIF LensModel"] == "100mm F2.8 Macro"
    assert said["EXIF ExifVersion"] == "0232"


def test_put_back_twice_is_put_back_once(merged: Path) -> None:
    once = finished(merged, reference())
    twice = finished(once, reference())
    left = ("System:", "File:FileSize", "SourceFile", "ExifTool:", "IFD0:StripOffsets", "IFD0:Tile")
    one, two = (
        {tag: value for tag, value in told(path).items() if not tag.startswith(left)}
        for path in (once, twice)
    )
    assert one == two


# ---- slices of every form ----------------------------------------------------------------------


def samples() -> list[str]:
    """Some real files of each extension that exiftool's own tests keep."""
    found: dict[str, list[str]] = {}
    for path in sorted((corpus.FOLDER / "exiftool").rglob("*")):
        if path.suffix.casefold() in {".jpg", ".tif", ".cr2", ".cr3", ".nef", ".raf", ".rw2", ".dng",
                                      ".orf", ".arw", ".pef", ".heic", ".x3f", ".crw", ".mrw", ".png"}:  # fmt: skip
            found.setdefault(path.suffix.casefold(), []).append(str(path))
    return [each for paths in found.values() for each in paths]


def test_slices_of_every_form_give_what_exiftool_reads_in_them(tmp_path: Path) -> None:
    """Time, camera and exposure; what a slice does not say in standard Exif is not asked for."""
    corpus.need()
    (plain := tmp_path / "merged.tif").touch()
    by_pillow(plain)
    compared = 0
    for path in samples():
        said = told(Path(path))
        there = told(finished(plain, Path(path).read_bytes()))
        for tag in ("ExifIFD:DateTimeOriginal", "IFD0:Model", "ExifIFD:ExposureTime", "ExifIFD:FNumber",
                    "ExifIFD:FocalLength", "ExifIFD:LensModel", "GPS:GPSLatitude"):  # fmt: skip
            value = said.get(tag)
            if value in (None, "", "0000:00:00 00:00:00", "inf", "undef") or str(value).isspace():
                continue
            compared += 1
            assert _same(there.get(tag), value), (path, tag)
    assert compared > 180


def _same(one: object, other: object) -> bool:
    if isinstance(one, float | int) and isinstance(other, float | int):
        return abs(one - other) <= 1e-6 * abs(other)
    return str(one).strip() == str(other).strip()


# ---- by the command ----------------------------------------------------------------------------


@pytest.mark.parametrize("form", ["tif", "jpg", "png"])
def test_a_general_purpose_program_as_the_command(tmp_path: Path, form: str) -> None:
    """ImageMagick's convert averages the slices; its result is the one that it gives by hand."""
    shoot = tidal_shoot(tmp_path)
    command = "convert {frames} -evaluate-sequence mean {result}"
    outcome = handoff(shoot, "--run", command, "--result-type", form)
    assert (outcome.exit_code, outcome.stderr) == (0, "")
    frames = [str(path) for path in sorted((shoot / FIRST).iterdir())]
    by_hand = tmp_path / f"by_hand.{form}"
    assert run("convert", *frames, "-evaluate-sequence", "mean", str(by_hand)).returncode == 0
    result = shoot / results(shoot)[0].destination
    assert picture_digest(result) == picture_digest(by_hand)
    said = told(result)
    assert said["ExifIFD:DateTimeOriginal"] == told(Path(frames[0]))["ExifIFD:DateTimeOriginal"]
    assert (said["ExifIFD:CompositeImage"], said["ExifIFD:CompositeImageCount"]) == (2, "3 3")
    sums = subprocess.run(
        ["sha256sum", "--check", "--quiet", "SHA256SUMS"],  # noqa: S607
        cwd=shoot,
        check=False,
    )
    assert sums.returncode == 0


# ---- any bytes ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    folder = tmp_path_factory.mktemp("small")
    for name in ("with_exif.jpg", "with_exif.png", "with_exif.tif", "bigtiff.tif"):
        MADE[name](folder / name)
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@given(data=st.data())
def test_damaged_files_are_refused_or_put_right(
    data: st.DataObject, small: dict[str, bytes]
) -> None:
    name = data.draw(st.sampled_from(sorted(small)))
    whole = bytearray(small[name])
    for _ in range(data.draw(st.integers(0, 4))):
        whole[data.draw(st.integers(0, min(len(whole) - 1, 4000)))] = data.draw(st.integers(0, 255))
    cut = bytes(whole[: data.draw(st.integers(0, len(whole)))])
    assert isinstance(read_reference(Memory(cut)), Reference)
    try:
        pieces = put_back(cut, read_reference(Memory(reference())), slices=3)
    except CannotPutBack:
        return
    assert len(b"".join(pieces)) > 0


@pytest.mark.parametrize("order", [b"MM", b"II", b"M\x80"])
@pytest.mark.parametrize("name", ["with_exif.jpg", "with_exif.png"])
@pytest.mark.parametrize(("count", "refused"), [(2**31, True), (4, False)])
def test_an_entry_of_more_values_than_bytes_is_refused_before_room_is_made(
    name: str, order: bytes, count: int, refused: bool, small: dict[str, bytes]
) -> None:
    """TIFF 6.0: a count of 4 bytes may say anything. The library would make gigabytes of it, for one bit."""
    big: Literal["little", "big"] = "little" if order == b"II" else "big"
    entry = (0x0100).to_bytes(2, big) + (4).to_bytes(2, big)
    entry += count.to_bytes(4, big) + (8).to_bytes(4, big)
    own = order + (42).to_bytes(2, big) + (8).to_bytes(4, big)
    own += (1).to_bytes(2, big) + entry + bytes(4)
    data = small[name]
    if name.endswith("jpg"):
        content = b"Exif\0\0" + own
        data = data[:2] + b"\xff\xe1" + (len(content) + 2).to_bytes(2) + content + data[2:]
    else:
        chunk = b"eXIf" + own
        at = data.index(b"eXIf") - 4
        behind = at + 12 + int.from_bytes(data[at : at + 4])
        whole = len(own).to_bytes(4) + chunk + zlib.crc32(chunk).to_bytes(4)
        data = data[:at] + whole + data[behind:]
    tracemalloc.start()
    try:
        if refused:
            with pytest.raises(CannotPutBack, match="its own Exif cannot be read"):
                put_back(data, read_reference(Memory(reference())), slices=3)
        else:
            assert put_back(data, read_reference(Memory(reference())), slices=3)
        assert tracemalloc.get_traced_memory()[1] < 50e6
    finally:
        tracemalloc.stop()


def test_no_exif_is_invented(tmp_path: Path) -> None:
    by_pillow(tmp_path / "merged.jpg")
    there = told(finished(tmp_path / "merged.jpg", b"no picture"))
    assert there["ExifIFD:CompositeImage"] == 2
    assert not {"ExifIFD:DateTimeOriginal", "IFD0:Make", "ExifIFD:FNumber"} & there.keys()


def test_the_slice_itself_is_a_good_reference(tmp_path: Path) -> None:
    data = picture(tmp_path / "slice.jpg", 12.25).read_bytes()
    by_pillow(tmp_path / "merged.jpg")
    assert told(finished(tmp_path / "merged.jpg", data))["ExifIFD:SubSecTimeOriginal"] == 25
