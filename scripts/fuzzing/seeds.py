"""What the fuzzer changes: made files of every container and of every maker, and a folder's files."""

from __future__ import annotations

import io
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from PIL import Image

from cardmaking import boxes, containers
from cardmaking.shots import Shot
from cardmaking.tiff import SRAT, U8, U32, UNDEF, Entry, Writer, tiff
from fuzzing.forms import FORMS, Form
from fuzzing.hostile import box, full
from sorter.model.card import CardFile
from sorter.reading.cards import read_source
from sorter.reading.source import Memory

MOST: Final = 256 * 1024
"""Bytes of a corpus file that are taken: what is read of a picture stands before."""
FRONT: Final = 2048
LONGEST_RANGE: Final = 2 + 12 * 400 + 4
Range = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Seed:
    """A file to change: its name, its bytes, and where the reader looked in it, as (from, to).

    tables: those of these ranges that have the length of a directory's entries.
    """

    name: str
    data: bytes
    ranges: tuple[Range, ...]
    tables: tuple[Range, ...]

    @property
    def extension(self) -> str:
        """The part of the name behind its last dot."""
        return self.name.rpartition(".")[2].lower()


class Watched(Memory):
    """Bytes that remember what was asked of them."""

    __slots__ = ("asked",)

    def __init__(self, data: bytes) -> None:
        super().__init__(data, head_size=16)
        self.asked: set[Range] = {(0, len(self.head))}

    def read(self, offset: int, length: int) -> bytes:
        """The bytes from offset on, at most length of them."""
        found = super().read(offset, length)
        if found and length <= LONGEST_RANGE:
            self.asked.add((offset, offset + len(found)))
        return found


def seed(name: str, data: bytes) -> Seed:
    """The seed of these bytes, read once to learn where its directories and boxes are."""
    source = Watched(data)
    read_source(source, CardFile(path=name, size=len(data)))
    ranges = tuple(sorted(source.asked))
    tables = tuple(one for one in ranges if one[1] - one[0] > 12 and (one[1] - one[0]) % 12 == 4)
    return Seed(name, data, ranges, tables)


def of_folder(folder: Path) -> Iterator[Seed]:
    """The files of a folder and of those below it, in the order of their paths."""
    for path in sorted(folder.rglob("*")):
        if path.is_file() and path.stat().st_size:
            with path.open("rb") as file:
                yield seed(path.relative_to(folder).as_posix(), file.read(MOST))


# ---- made files -----------------------------------------------------------------------------

MAKES: Final = ("Canon", "OLYMPUS", "OM Digital Solutions", "Panasonic")
TAKEN: Final = datetime(2026, 5, 17, 13, 2, 3)  # noqa: DTZ001 - a camera's clock has no zone


def shot(make: str) -> Shot:
    """A frame of a bracket on limpets, with everything that our file makers write."""
    return Shot(
        make=make,
        model=f"{make} X",
        captured=TAKEN,
        subsec="13",
        serial="123",
        lens="100mm macro",
        bracket="focus",
        shot_number=3,
        planned=48,
        near_m=0.31,
        far_m=0.33,
        focus_step=812,
    )


def picture() -> bytes:
    """A small JPEG."""
    out = io.BytesIO()
    Image.new("RGB", (32, 24)).save(out, "JPEG")
    return out.getvalue()


def made() -> Iterator[Seed]:
    """Made files: every container, and a JPEG with a note of every form that is known."""
    for name, data in (*_cards_files(), *_wrapped_files(), *_note_files()):
        yield seed(name, data)


def _cards_files() -> Iterator[tuple[str, bytes]]:
    small = picture()
    for make in MAKES:
        yield f"{make}.jpg", containers.jpeg(shot(make), small)
        yield f"{make}-big-endian.jpg", containers.jpeg(shot(make), small, order=">")
    yield "made.cr3", containers.cr3(shot("Canon"), small, small, small, 256)
    yield "made.orf", containers.orf(shot("OM Digital Solutions"), small, 256)
    for kind, make in (("cr2", "Canon"), ("nef", "Nikon"), ("arw", "Sony"), ("pef", "Pentax")):
        yield f"made.{kind}", containers.tiff_raw(shot(make), kind, small, 256)  # type: ignore[arg-type]
    yield "made.dng", containers.tiff_raw(shot("Canon"), "dng", small, 256)
    yield "made.mp4", containers.mp4([small], TAKEN)
    yield "made.xmp", containers.xmp_sidecar(shot("Canon"))


def _exif() -> bytes:
    """A TIFF with the standard tags, as it stands in a made JPEG."""
    data = containers.jpeg(shot("Canon"), picture())
    return data[12 : 4 + int.from_bytes(data[4:6])]


def _wrapped_files() -> Iterator[tuple[str, bytes]]:
    """Containers around one Exif block. Layouts: see the readers' own sources."""
    exif, small = _exif(), containers.jpeg(shot("Canon"), picture())
    yield "made.png", b"\x89PNG\r\n\x1a\n" + _chunk(b"IHDR", b"\0" * 13) + _chunk(b"eXIf", exif)
    chunk = b"EXIF" + struct.pack("<I", len(exif)) + exif
    yield "made.webp", b"RIFF" + struct.pack("<I", len(chunk) + 4) + b"WEBP" + chunk
    item = b"\0\0\0\0" + exif
    yield "made.jxl", box(b"JXL ", b"\r\n\x87\n") + box(b"ftyp", b"jxl ") + box(b"Exif", item)
    own = b"JpgTiffExif->JP2" + exif
    yield "made.jp2", box(b"jP  ", b"\r\n\x87\n") + box(b"ftyp", b"jp2 ") + box(b"uuid", own)
    block = b"\0TTW" + struct.pack(">I", len(exif)) + exif
    yield "made.mrw", b"\0MRM" + struct.pack(">I", len(block)) + block
    front = b"FUJIFILMCCD-RAW ".ljust(0x54, b"0")
    places = struct.pack(">II8xII", 160, len(small), 160, len(small))
    yield "made.raf", (front + places).ljust(160, b"\0") + small
    rows = [Entry(0x2E, UNDEF, len(small), small), Writer().numbers(0x118, U32, 64)]
    yield "made.rw2", tiff("<", [rows], 0x55)
    yield "made.heic", _heif(item)


def _chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + b"\0" * 4


def _heif(item: bytes) -> bytes:
    """A HEIF with two items, of which one is the Exif block, and one picture size."""
    front = boxes.ftyp(b"heic", 0, [b"mif1"])
    infos = [
        full(b"infe", struct.pack(">HH4s", number, 0, kind), b"\0", version=2)
        for number, kind in ((1, b"hvc1"), (2, b"Exif"))
    ]
    sizes = box(b"iprp", box(b"ipco", full(b"ispe", struct.pack(">II", 64, 48))))

    def meta(at: int) -> bytes:
        rows = struct.pack(">HHHHII", 1, 0, 0, 1, at, 4) + struct.pack(
            ">HHHHII", 2, 0, 0, 1, at, len(item)
        )
        places = full(b"iloc", b"\x44\0", struct.pack(">H", 2), rows, version=1)
        return full(b"meta", full(b"iinf", struct.pack(">H", 2), *infos), places, sizes)

    return front + meta(len(front) + len(meta(0)) + 8) + box(b"mdat", item)


# ---- a note of every form -------------------------------------------------------------------

_WORDS: Final = tuple(range(3, 60))


def _note_files() -> Iterator[tuple[str, bytes]]:
    """JPEGs with a note of each form, its tags in turn of every type that cameras write."""
    for number, form in enumerate(FORMS):
        for turn in range(3):
            rows = [_row(tag, place + turn) for place, tag in enumerate(form.tags)]
            yield f"note-{number}-{turn}-{form.name}.jpg", _with_note(form, rows)


def _row(tag: int, turn: int) -> Entry:
    w = Writer("<")
    ways = (
        lambda: w.words(tag, [1]),
        lambda: w.words(tag, _WORDS),
        lambda: w.numbers(tag, U32, 7),
        lambda: w.raw(tag, bytes(_WORDS)),
        lambda: w.ratios(tag, *[(60, 1)] * 4),
        lambda: w.text(tag, "0101 of the rock pool"),
        lambda: w.ratios(tag, (-1, 3), kind=SRAT),
        lambda: w.numbers(tag, U8, 1, 0, 0, 0),
    )
    return ways[turn % len(ways)]()


def _with_note(form: Form, rows: Sequence[Entry]) -> bytes:
    w = Writer("<")
    text = f"{TAKEN:%Y:%m:%d %H:%M:%S}"
    note = w.placed(0x927C, form.block(rows))
    exif = [w.text(0x9003, text), w.ratios(0x829A, (1, 160)), note]
    main = [w.text(0x010F, form.make), w.text(0x0110, f"{form.make} X"), w.below(0x8769, exif)]
    payload = b"Exif\0\0" + tiff("<", [main])
    return b"\xff\xd8\xff\xe1" + struct.pack(">H", len(payload) + 2) + payload + picture()[2:]
