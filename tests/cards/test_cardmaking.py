"""The card maker's files are right by readers and rules that nobody here made."""

from __future__ import annotations

import csv
import io
import re
import struct
import warnings
from collections import Counter
from dataclasses import replace
from datetime import datetime
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree as ET

import exifread
import piexif
import pytest
from PIL import Image, TiffImagePlugin

from cardmaking import card, clearing, containers, draw, naming, notes, pictures, rockpool
from cardmaking.placing import as_csv
from cardmaking.shots import Shot

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from cardmaking.tiff import ByteOrder

CANON = Shot(
    make="Canon",
    model="Canon EOS R8",
    serial="083021004417",
    lens="100mm F2.8 Macro",
    captured=datetime(2026, 5, 17, 13, 2, 3),  # noqa: DTZ001  a camera's clock has no zone
    subsec="07",
    offset="+01:00",
    exposure=Fraction(1, 160),
    f_number=5.6,
    iso=400,
    bias=Fraction(-4, 3),
    flash="fired",
    drive="continuous",
    bracket="focus",
    planned=48,
    step_width=4,
    near_m=0.31,
    far_m=0.33,
)
OM = replace(
    CANON,
    make="OM Digital Solutions",
    model="OM-1",
    serial="BJ7A60417",
    subsec=None,
    lens="60mm F2.8 Macro",
    focal_mm=60,
    shot_number=4,
    focus_step=8123,
    step_limits=(1500, 9800),
    near_m=0.231,
    far_m=0.231,
)
PANASONIC = replace(
    CANON, make="Panasonic", model="DC-G9", shot_number=3, focus_step=-2, uptime_s=633.08
)
OLYMPUS = replace(OM, make="OLYMPUS CORPORATION", model="E-M5MarkIII", merged_frames=8)
ORDERS: tuple[ByteOrder, ...] = ("<", ">")


def picture(width: int = 96, height: int = 64, red: int = 90) -> bytes:
    """A plain JPEG of the given size."""
    out = io.BytesIO()
    Image.new("RGB", (width, height), (red, 120, 60)).save(out, "JPEG")
    return out.getvalue()


@pytest.fixture(scope="module")
def made(demo_card: Path) -> Path:
    """The demo card. To be read, never changed."""
    return demo_card


@pytest.fixture(scope="module")
def rows(made: Path) -> list[dict[str, str]]:
    """The truth table of the demo card."""
    with made.with_name("card-truth.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# ---- standard tags --------------------------------------------------------------------------


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("shot", [CANON, OM, OLYMPUS, PANASONIC], ids=lambda shot: str(shot.model))
def test_pillow_reads_the_standard_tags_of_a_jpeg(shot: Shot, order: ByteOrder) -> None:
    data = containers.jpeg(shot, picture(), order=order)
    with Image.open(io.BytesIO(data)) as image:
        exif = image.getexif()
        below = exif.get_ifd(0x8769)
        image.load()
    assert (exif[0x010F], exif[0x0110]) == (shot.make, shot.model)
    assert below[0x9003] == "2026:05:17 13:02:03"
    assert below.get(0x9291) == shot.subsec
    assert below[0x9011] == "+01:00"
    assert Fraction(below[0x829A]).limit_denominator(9999) == Fraction(1, 160)
    assert float(below[0x829D]) == pytest.approx(5.6)
    assert float(below[0x9204]) == pytest.approx(-4 / 3)
    assert (below[0x8827], below[0x9209], below[0xA434]) == (400, 9, shot.lens)


def test_both_byte_orders_say_the_same_to_piexif() -> None:
    little, big = (piexif.load(containers.jpeg(CANON, picture(), order=order)) for order in ORDERS)
    for parts in (little, big):
        for name, tag in (("0th", 0x8769), ("Exif", 0xA005), ("Exif", 0x927C)):
            parts[name].pop(tag, None)
    assert little["0th"] == big["0th"]
    assert little["Exif"] == big["Exif"]
    # piexif leaves out the thumbnail's JFIF segment.
    assert little["thumbnail"].endswith(big["thumbnail"][2:])


@pytest.mark.parametrize("kind", ["cr2", "nef", "arw", "dng", "pef"])
def test_exifread_reads_raws_that_are_tiffs(kind: containers.RawKind) -> None:
    tags = read(containers.tiff_raw(CANON, kind, picture()))
    assert str(tags["Image Model"]) == "Canon EOS R8"
    assert str(tags["EXIF DateTimeOriginal"]) == "2026:05:17 13:02:03"
    assert str(tags["EXIF FNumber"]) == "28/5"


def test_a_clock_that_was_never_set_is_written_as_zeros() -> None:
    tags = read(containers.jpeg(replace(CANON, captured=None), picture()))
    assert str(tags["EXIF DateTimeOriginal"]) == "0000:00:00 00:00:00"


def read(data: bytes) -> dict[str, Any]:
    """All tags that exifread finds."""
    return dict(exifread.process_file(io.BytesIO(data), details=True))


# ---- maker notes ----------------------------------------------------------------------------


@pytest.mark.parametrize("order", ORDERS)
def test_exifread_decodes_the_canon_note(order: ByteOrder) -> None:
    shot = replace(CANON, bracket="exposure", shot_number=2, focus_mode="manual", drive="timer")
    tags = read(containers.jpeg(shot, picture(), order=order))
    wanted = {
        "ImageType": "Canon EOS R8",
        "LensModel": "100mm F2.8 Macro",
        "FocusMode": "Manual",
        "SelfTimer": "100",
        "FlashMode": "external flash",
        "AutoExposureBracketing": "On (shot 2)",
        "BracketMode": "AEB",
        "BracketShotNumber": "2",
    }
    assert {name: str(tags[f"MakerNote {name}"]) for name in wanted} == wanted


@pytest.mark.parametrize("order", ORDERS)
def test_pillow_walks_the_canon_note(order: ByteOrder) -> None:
    tiff, at = note_in(containers.jpeg(CANON, picture(), order=order))
    tags = walked(tiff, order, at)
    assert tags[0x4053] == (36, 1, 48, 4, 0, 0, 0, 0, 0)
    assert (tags[0x0001][0], tags[0x0001][5], tags[0x0001][50]) == (112, 5, 1)
    assert tags[0x0093][20:22] == (33, 31)


def test_pillow_walks_the_canon_note_of_a_cr3() -> None:
    tags = walked(part(cr3()[0], b"CMT3"), "<", 8)
    assert tags[0x4053][:4] == (36, 1, 48, 4)
    assert tags[0x0093][20:22] == (33, 31)


@pytest.mark.parametrize("order", ORDERS)
def test_pillow_walks_the_panasonic_note(order: ByteOrder) -> None:
    tiff, at = note_in(containers.jpeg(PANASONIC, picture(), order=order))
    assert tiff[at : at + 12] == b"Panasonic\0\0\0"
    tags = walked(tiff, order, at + 12)
    wanted = {0x0007: 1, 0x0029: 63308, 0x002A: 3, 0x002B: 3, 0x00BD: 65534}
    assert {tag: tags[tag] for tag in wanted} == wanted
    assert tags[0x0096] == bytes([3])
    assert tags[0x0051].strip("\0") == "100mm F2.8 Macro"


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize(
    ("shot", "head"), [(OM, b"OM SYSTEM\0\0\0II\4\0"), (OLYMPUS, b"OLYMPUS\0II\3\0")]
)
def test_pillow_walks_the_olympus_note(shot: Shot, head: bytes, order: ByteOrder) -> None:
    tiff, at = note_in(containers.jpeg(shot, picture(), order=order))
    note = tiff[at:]
    assert note.startswith(head)
    main = walked(note, "<", len(head))
    equipment, settings, focus = (walked(note, "<", main[tag]) for tag in (0x2010, 0x2020, 0x2050))
    assert equipment[0x0101].strip() == "BJ7A60417"
    assert equipment[0x0203].strip() == "60mm F2.8 Macro"
    assert settings[0x0600] == (5, 4, 64, 0, 4, 0x27)
    assert settings[0x0804] == ((0, 0) if shot is OM else (9, 8))
    assert (focus[0x0301], focus[0x0303], focus[0x0304]) == (8123, 1500, 9800)
    assert float(focus[0x0305]) == pytest.approx(23.1)


def note_in(data: bytes) -> tuple[bytes, int]:
    """The TIFF inside a JPEG, and where Pillow says that its maker note lies."""
    tiff = data[data.index(b"Exif\0\0") + 6 :]
    with Image.open(io.BytesIO(data)) as image:
        note = image.getexif().get_ifd(0x8769)[0x927C]
    assert tiff.count(note) == 1
    return tiff, tiff.index(note)


def walked(data: bytes, order: ByteOrder, at: int) -> dict[int, Any]:
    """The directory at a position, as Pillow's own TIFF reader takes it apart."""
    mark = b"II*\0" if order == "<" else b"MM\0*"
    found = TiffImagePlugin.ImageFileDirectory_v2(mark + b"\0" * 4)
    stream = io.BytesIO(data)
    stream.seek(at)
    with warnings.catch_warnings():
        # Some numbers have another meaning in a plain TIFF, and Pillow says so.
        warnings.simplefilter("ignore", UserWarning)
        found.load(stream)
        return dict(found)


@pytest.mark.parametrize(
    ("ev", "code"),
    [
        (Fraction(1, 3), 12),
        (Fraction(1, 2), 16),
        (Fraction(2, 3), 20),
        (Fraction(1), 32),
        (Fraction(-4, 3), -44),
    ],
)
def test_canon_ev_codes_are_the_published_ones(ev: Fraction, code: int) -> None:
    assert notes.ev_code(ev) == code


# ---- containers -----------------------------------------------------------------------------

HOLDERS = {b"moov", b"trak", b"mdia", b"minf", b"stbl"}


def boxes(data: bytes, start: int, end: int) -> Iterator[tuple[bytes, int, int]]:
    """Name, start and end of the payload of each box; the sizes must fill the span exactly."""
    at = start
    while at < end:
        size, name = struct.unpack_from(">I4s", data, at)
        head = 8
        if size == 1:
            size, head = struct.unpack_from(">Q", data, at + 8)[0], 16
        assert head <= size <= end - at, (name, size, at)
        yield name, at + head, at + size
        if name in HOLDERS:
            yield from boxes(data, at + head, at + size)
        at += size
    assert at == end


def cr3() -> tuple[bytes, bytes, bytes, bytes]:
    """A CR3 and the three JPEGs in it: preview, thumbnail, full."""
    shown, full = picture(162, 108, 1), picture(300, 200, 3)
    thumb = containers.thumbnail(picture(red=2))
    return containers.cr3(CANON, shown, thumb, full, 512), shown, thumb, full


def test_the_boxes_of_a_cr3_fill_the_file() -> None:
    data, *_ = cr3()
    names = [name for name, _, _ in boxes(data, 0, len(data))]
    assert names[:3] == [b"ftyp", b"moov", b"uuid"]
    assert data[8:12] == b"crx "
    assert Counter(names)[b"trak"] == 2
    assert names[-1] == b"mdat"


def test_the_tracks_and_tables_of_a_cr3_point_at_what_they_name() -> None:
    data, shown, thumb, full = cr3()
    found = list(boxes(data, 0, len(data)))
    offsets = [
        struct.unpack_from(">Q", data, at + 8)[0] for name, at, _ in found if name == b"co64"
    ]
    sizes = [struct.unpack_from(">I", data, at + 12)[0] for name, at, _ in found if name == b"stsz"]
    assert data[offsets[0] : offsets[0] + sizes[0]] == full
    assert offsets[1] + sizes[1] == len(data)
    assert sizes[1] == 512
    canon = next(at for name, at, _ in found if name == b"uuid") + 16
    inner = {name: at for name, at, _ in boxes(data, canon, found[2][2])}
    assert data[inner[b"THMB"] + 16 :].startswith(thumb)
    table = [struct.unpack_from(">IQQ", data, inner[b"CTBO"] + 4 + 20 * row) for row in range(3)]
    tops = {at: (name, data[at + 8 : at + 12]) for at, name in starts(data)}
    assert [tops[at][0] for _, at, _ in table] == [b"uuid", b"uuid", b"mdat"]
    assert b"<x:xmpmeta" in data[table[0][1] : table[0][1] + table[0][2]]
    assert shown in data[table[1][1] : table[1][1] + table[1][2]]
    assert table[2][1] + table[2][2] == len(data)


def starts(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Where each top-level box starts, and its name."""
    at = 0
    while at < len(data):
        size, name = struct.unpack_from(">I4s", data, at)
        yield at, name
        at += struct.unpack_from(">Q", data, at + 8)[0] if size == 1 else size


def test_each_part_of_a_cr3_is_a_tiff_that_exifread_knows() -> None:
    data, *_ = cr3()
    assert str(read(part(data, b"CMT1"))["Image Model"]) == "Canon EOS R8"
    second = read(part(data, b"CMT2"))
    assert "2026:05:17 13:02:03" in [str(value) for value in second.values()]
    for name in (b"CMT1", b"CMT2", b"CMT3", b"CMT4"):
        assert part(data, name)[:8] == b"II*\0\x08\0\0\0"


def part(data: bytes, wanted: bytes) -> bytes:
    """The payload of a box among Canon's own."""
    found = list(boxes(data, 0, len(data)))
    start, end = next((at + 16, end) for name, at, end in found if name == b"uuid")
    return next(data[at:stop] for name, at, stop in boxes(data, start, end) if name == wanted)


@pytest.mark.parametrize("shot", [OM, OLYMPUS], ids=lambda shot: str(shot.model))
def test_an_orf_has_its_magic_its_exif_and_its_preview(shot: Shot) -> None:
    shown = picture()
    data = containers.orf(shot, shown, 512)
    assert data[:8] == b"IIRO\x08\0\0\0"
    tags = read(b"II*\0" + data[4:])
    assert str(tags["Image Make"]) == shot.make
    assert str(tags["EXIF LensModel"]) == "60mm F2.8 Macro"
    head = notes.OM_HEAD if shot is OM else notes.OLYMPUS_HEAD
    note = data.index(head)
    wanted = struct.pack("<HHII", 0x0101, 4, 1, data.index(shown) - note)
    assert data.count(wanted) == 1


def test_a_clip_is_a_movie_with_one_track_of_jpegs() -> None:
    shown = [picture(red=red) for red in (1, 2, 3)]
    data = containers.mp4(shown, CANON.captured)
    found = {name: at for name, at, _ in boxes(data, 0, len(data))}
    at = struct.unpack_from(">Q", data, found[b"co64"] + 8)[0]
    assert data[at:].startswith(b"".join(shown))


def test_a_sidecar_is_well_formed_and_carries_its_rating() -> None:
    text = containers.xmp_sidecar(CANON, rating=4, label='a "b" & <c>').decode()
    root = ET.fromstring(text)  # noqa: S314  our own text
    described = next(iter(root.iter("{http://www.w3.org/1999/02/22-rdf-syntax-ns#}Description")))
    assert described.get("{http://ns.adobe.com/xap/1.0/}Rating") == "4"
    assert described.get("{http://ns.adobe.com/xap/1.0/}Label") == 'a "b" & <c>'


# ---- pictures -------------------------------------------------------------------------------


def test_the_plane_of_focus_moves_through_the_scene() -> None:
    scene = draw.scene("barnacles", 1, (810, 540))
    near, far = (draw.picture(scene, depth) for depth in (0.1, 0.9))
    low, high = (0, 420, 810, 540), (0, 0, 810, 100)
    assert detail(near.crop(low)) > 2 * detail(far.crop(low))
    assert detail(far.crop(high)) > 2 * detail(near.crop(high))


def detail(image: Image.Image) -> float:
    """How much grey values change from pixel to pixel, on average."""
    grey = image.convert("L")
    values = grey.tobytes()
    return sum(abs(one - two) for one, two in pairwise(values)) / len(values)


def test_a_cap_is_darker_than_a_misfire_and_both_are_dark() -> None:
    size = (240, 160)
    lit = draw.picture(draw.scene("splash", 1, size), 0.5)
    means = [
        sum(image.convert("L").tobytes()) / (size[0] * size[1])
        for image in (draw.capped(1, size), draw.misfired(lit), lit)
    ]
    assert means[0] < means[1] < means[2] / 5


# ---- the card -------------------------------------------------------------------------------


def test_names_on_the_card_follow_dcf(rows: list[dict[str, str]]) -> None:
    paths = [row["source"].split("/") for row in rows if row["source"].startswith("DCIM/")]
    for _, folder, name in paths:
        assert re.fullmatch(r"[1-9][0-9]{2}[A-Z0-9_]{5}", folder)
        stem = re.fullmatch(r"[A-Z0-9_]{4}([0-9]{4})\.(CR3|ORF|JPG|MP4|THM|xmp|CR3\.xmp)", name)
        assert stem
        assert 1 <= int(stem[1]) <= 9999


def test_the_table_has_each_file_of_the_card_once(made: Path, rows: list[dict[str, str]]) -> None:
    files = [path.relative_to(made).as_posix() for path in made.rglob("*") if path.is_file()]
    kept = [name for name in files if not name.startswith(".Trashes") and "/._" not in name]
    assert sorted(kept) == sorted(row["source"] for row in rows)
    assert len(files) == len(kept) + 7


def test_frames_are_numbered_by_the_clocks_as_written(
    made: Path, rows: list[dict[str, str]]
) -> None:
    times: dict[int, tuple[str, str]] = {}
    for row in rows:
        if row["frame"] and row["role"] == "image":
            tags = read((made / row["source"]).read_bytes())
            subsec = str(tags.get("EXIF SubSecTimeOriginal", ""))
            times[int(row["frame"])] = (str(tags["EXIF DateTimeOriginal"]), subsec)
    assert len(times) > 100
    assert [times[frame] for frame in sorted(times)] == sorted(times.values())


def test_no_two_bodies_share_a_second() -> None:
    seconds: dict[str, set[datetime | None]] = {"EOS R8": set(), "OM-1": set()}
    for series in rockpool.shoot():
        seconds[series.body.name] |= {one.shot.captured for one in series.pictures}
    assert not seconds["EOS R8"] & seconds["OM-1"]


def test_numbers_count_in_order_of_capture() -> None:
    shoot = rockpool.shoot()
    names = naming.named(shoot)
    for body in (rockpool.CANON, rockpool.OM):
        many = [
            one
            for series, some in zip(shoot, names, strict=True)
            for one in some
            if series.body is body
        ]
        keys = [(one.folder, one.stem[4:]) for one in many]
        assert keys == sorted(keys)
        assert [one.picture.taken for one in many] == sorted(one.picture.taken for one in many)


def test_the_counter_runs_over_inside_the_wide_bracket(rows: list[dict[str, str]]) -> None:
    ends = [row for row in rows if row["source"].endswith(("_9999.CR3", "_0001.CR3"))]
    assert [row["source"] for row in ends] == [
        "DCIM/100CANON/IMG_9999.CR3",
        "DCIM/101CANON/IMG_0001.CR3",
    ]
    assert [row["position"] for row in ends] == ["10", "11"]
    assert len({row["sequence"] for row in ends}) == 1


def test_sequences_have_the_lengths_they_claim(rows: list[dict[str, str]]) -> None:
    for number in {row["sequence"] for row in rows if row["sequence"]}:
        own = [row for row in rows if row["sequence"] == number]
        positions = {int(row["position"]) for row in own}
        assert positions == set(range(1, int(own[0]["frames"]) + 1))
        assert len({(row["kind"], row["frames"], row["planned"]) for row in own}) == 1


def test_back_to_back_brackets_lie_within_three_seconds() -> None:
    first, second = [s for s in rockpool.shoot() if "back to back" in s.about]
    gap = second.pictures[0].taken - first.pictures[-1].taken
    assert 0 < gap.total_seconds() <= 3
    assert (len(first.pictures), len(second.pictures)) == (30, 30)


def test_the_half_written_jpeg_has_good_exif_and_no_end(
    made: Path, rows: list[dict[str, str]]
) -> None:
    source = next(row["source"] for row in rows if "only by half" in row["about"])
    data = (made / source).read_bytes()
    assert str(read(data)["EXIF DateTimeOriginal"]).startswith("2026:05:17")
    assert not data.endswith(b"\xff\xd9")
    with Image.open(io.BytesIO(data)) as image, pytest.raises(OSError, match="truncated"):
        image.load()


def test_every_other_jpeg_on_the_card_is_whole(made: Path, rows: list[dict[str, str]]) -> None:
    sources = [
        r["source"] for r in rows if r["role"] == "image" and "only by half" not in r["about"]
    ]
    for source in sources[::7]:
        with Image.open(made / source) as image:
            image.load()
            assert image.size == (960, 640)


def test_undated_and_unreadable_files_are_so(made: Path, rows: list[dict[str, str]]) -> None:
    by_kind = {row["kind"]: row for row in rows}
    assert read((made / by_kind["undated"]["source"]).read_bytes()) == {}
    assert (made / by_kind["unreadable"]["source"]).stat().st_size == 0
    assert by_kind["undated"]["frame"] == by_kind["unreadable"]["frame"] == ""


def test_the_card_stays_small(made: Path) -> None:
    sizes = [path.stat().st_size for path in made.rglob("*") if path.is_file()]
    assert sum(sizes) < 60_000_000


def test_one_series_is_drawn_alike_each_time(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pictures, "encoded", lambda *_, make: make())  # none that was kept
    shoot = rockpool.shoot()
    names = naming.named(shoot)
    burst = next(i for i, series in enumerate(shoot) if "second body" in series.about)
    card.write_series(tmp_path, shoot[burst], names[burst])
    for one in names[burst]:
        for source, _ in one.files:
            assert (tmp_path / source).read_bytes() == (made / source).read_bytes()
            assert (tmp_path / source).stat().st_mtime == (made / source).stat().st_mtime


# ---- not over other people's work -----------------------------------------------------------


def test_a_folder_of_others_is_refused_and_left_alone(tmp_path: Path) -> None:
    folder = tmp_path / "card"
    folder.mkdir()
    (folder / "mine.txt").write_text("keep")
    assert card.main([str(folder)]) == 2
    assert [path.name for path in tmp_path.rglob("*")] == ["card", "mine.txt"]


def test_a_card_with_one_foreign_file_is_refused(tmp_path: Path) -> None:
    folder, truth = tmp_path / "card", tmp_path / "card-truth.csv"
    truth.write_bytes(as_csv([], naming.COLUMNS))
    (folder / "MISC").mkdir(parents=True)
    (folder / "MISC/LENSDATA.BIN").write_bytes(b"own")
    (folder / "MISC/mine.txt").write_text("keep")
    with pytest.raises(clearing.RefusedError, match=r"mine\.txt"):
        clearing.clear(folder, truth, {"MISC/LENSDATA.BIN"}, naming.COLUMNS)
    assert (folder / "MISC/LENSDATA.BIN").read_bytes() == b"own"


def test_own_files_are_cleared_only_with_the_table_beside(tmp_path: Path) -> None:
    folder, truth = tmp_path / "card", tmp_path / "card-truth.csv"
    (folder / "MISC").mkdir(parents=True)
    (folder / "MISC/LENSDATA.BIN").write_bytes(b"own")
    with pytest.raises(clearing.RefusedError, match="card-truth"):
        clearing.clear(folder, truth, {"MISC/LENSDATA.BIN"}, naming.COLUMNS)
    truth.write_bytes(as_csv([], naming.COLUMNS))
    clearing.clear(folder, truth, {"MISC/LENSDATA.BIN"}, naming.COLUMNS)
    assert not folder.exists()


def test_the_table_must_not_lie_in_the_card(tmp_path: Path) -> None:
    folder = tmp_path / "card"
    assert card.main([str(folder), "--truth", str(folder / "truth.csv")]) == 2
    assert not folder.exists()
