"""Whole files as bytes: JPEG, CR3, ORF, TIFF-like raws, a clip, an XMP sidecar.

The raw image data inside is filler: these files carry what a reader of metadata and previews
needs, and no sensor picture.
"""

from __future__ import annotations

import hashlib
import struct
from fractions import Fraction
from functools import lru_cache
from io import BytesIO
from typing import TYPE_CHECKING, Literal
from xml.sax.saxutils import escape, quoteattr

import piexif
from PIL import Image

from cardmaking import boxes, notes, standard
from cardmaking.tiff import (
    UNDEF,
    Block,
    ByteOrder,
    Entry,
    Writer,
    chained,
    directory,
    tiff,
    with_bulk,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from cardmaking.shots import Shot

RawKind = Literal["cr2", "nef", "arw", "dng", "pef"]

EXIF_POINTER = 0x8769
MAKER_NOTE = 0x927C
THUMB_SIZE = (160, 120)
INTEROP = [(0x0001, b"R98\0", 2), (0x0002, b"0100", UNDEF)]
CR3_ONLY = 12
PICTURES_KEPT = 4
"""A random card holds the same small picture in every file: it is looked at once."""


def filler(shot: Shot, size: int) -> bytes:
    """Bytes that stand for sensor data: no two shots have the same, one shot always has."""
    return hashlib.shake_128(shot.identity() + b"raw").digest(size)


@lru_cache(maxsize=PICTURES_KEPT)
def dimensions(picture: bytes) -> tuple[int, int]:
    """Width and height of a JPEG in pixels."""
    with Image.open(BytesIO(picture)) as image:
        return image.size


@lru_cache(maxsize=PICTURES_KEPT)
def thumbnail(picture: bytes, size: tuple[int, int] = THUMB_SIZE) -> bytes:
    """The picture as a small JPEG, fitted into size with black edges, as cameras store it."""
    with Image.open(BytesIO(picture)) as image:
        image.draft("RGB", (size[0] * 2, size[1] * 2))
        image.thumbnail(size, Image.Resampling.BILINEAR)
        framed = Image.new("RGB", size)
        framed.paste(image, ((size[0] - image.width) // 2, (size[1] - image.height) // 2))
    out = BytesIO()
    framed.save(out, "JPEG", quality=60)
    return out.getvalue()


# ---- JPEG -----------------------------------------------------------------------------------


def jpeg(shot: Shot, picture: bytes, *, order: ByteOrder = "<", recorded: int = 1) -> bytes:
    """The picture (a JPEG) with the shot's Exif before it: tags, note, thumbnail.

    Little-endian Exif, which today's bodies write, comes from the builder here; big-endian Exif
    from piexif, which writes no other. recorded is Canon's code for the files written (13: with
    a CR3 beside).
    """
    note = notes.note(shot, order, recorded=recorded)
    thumb = thumbnail(picture)
    make = _exif_here if order == "<" else _exif_by_piexif
    exif = make(shot, dimensions(picture), note, thumb)
    payload = b"Exif\0\0" + exif
    segment = b"\xff\xe1" + struct.pack(">H", len(payload) + 2) + payload
    return b"\xff\xd8" + segment + without_app0(picture)[2:]


def without_app0(picture: bytes) -> bytes:
    """The JPEG without its JFIF segment."""
    if picture[2:4] != b"\xff\xe0":
        return picture
    length = int.from_bytes(picture[4:6])
    return picture[:2] + picture[4 + length :]


def _exif_here(shot: Shot, size: tuple[int, int], note: Block | None, thumb: bytes) -> bytes:
    w = Writer("<")
    interop = [w.raw(tag, data, kind) for tag, data, kind in INTEROP]
    below = [*_exif_entries(w, shot, size, note), w.below(0xA005, interop)]
    rows = [*standard.main_rows(shot), *standard.JPEG_ROWS]
    main = [*standard.entries(w, rows), w.below(EXIF_POINTER, below)]
    return tiff("<", [main, _thumbnail_entries(w, thumb)])


def _exif_entries(w: Writer, shot: Shot, size: tuple[int, int], note: Block | None) -> list[Entry]:
    entries = standard.entries(w, standard.exif_rows(shot, size))
    return entries if note is None else [*entries, w.placed(MAKER_NOTE, note)]


def _thumbnail_entries(w: Writer, thumb: bytes) -> list[Entry]:
    return [
        *standard.entries(w, standard.THUMB_ROWS),
        Entry(0x0201, 4, 1, lambda _at: thumb),
        w.numbers(0x0202, 4, len(thumb)),
    ]


def _exif_by_piexif(shot: Shot, size: tuple[int, int], note: Block | None, thumb: bytes) -> bytes:
    """Exif by piexif; the note goes in twice, first to learn where it will lie."""
    below = {row.tag: row.value for row in standard.exif_rows(shot, size)}
    main = [*standard.main_rows(shot), *standard.JPEG_ROWS]
    parts: dict[str, object] = {
        "0th": {row.tag: row.value for row in main},
        "Exif": below,
        "1st": {row.tag: row.value for row in standard.THUMB_ROWS},
        "thumbnail": thumb,
    }
    if note is None:
        return _dumped(parts)
    mark = hashlib.shake_128(b"note").digest(len(note(0)))
    at = _dumped(parts | {"Exif": below | {MAKER_NOTE: mark}}).index(mark)
    return _dumped(parts | {"Exif": below | {MAKER_NOTE: note(at)}})


def _dumped(parts: dict[str, object]) -> bytes:
    """The TIFF that piexif makes, without the six bytes before it."""
    return bytes(piexif.dump(parts))[6:]


# ---- CR3 ------------------------------------------------------------------------------------


def cr3(
    shot: Shot,
    preview: bytes,
    thumb: bytes,
    full: bytes,
    raw_size: int,
    *,
    recorded: int = CR3_ONLY,
) -> bytes:
    """A CR3: preview, thumb and full are JPEGs, raw_size the bytes of filler for the raw track."""
    raw = filler(shot, raw_size)
    front = boxes.ftyp(b"crx ", 1, [b"crx ", b"isom"])
    xmp = boxes.uuid(boxes.XMP_ID, xmp_packet(shot, padding=2048))
    shown = boxes.preview(preview, dimensions(preview))
    own = _canon_boxes(shot, dimensions(full), thumb, recorded)

    def moov(places: Sequence[tuple[int, int]], full_at: int) -> bytes:
        stream = [
            boxes.Stream(b"CRAW", dimensions(full), (len(full),), full_at, b"JPEG"),
            boxes.Stream(b"CRAW", dimensions(full), (len(raw),), full_at + len(full)),
        ]
        inner = boxes.uuid(boxes.CANON_ID, own(places))
        tracks = [boxes.trak(number, one) for number, one in enumerate(stream, start=1)]
        return boxes.box(b"moov", inner, boxes.mvhd(shot.captured, 1, len(stream) + 1), *tracks)

    nowhere = [(0, 0)] * 3
    xmp_at = len(front) + len(moov(nowhere, 0))
    shown_at = xmp_at + len(xmp)
    data_at = shown_at + len(shown)
    data = boxes.wide_box(b"mdat", full + raw)
    places = [(xmp_at, len(xmp)), (shown_at, len(shown)), (data_at, len(data))]
    return front + moov(places, data_at + boxes.WIDE_HEADER) + xmp + shown + data


def _canon_boxes(
    shot: Shot, size: tuple[int, int], thumb: bytes, recorded: int
) -> boxes.FromPlaces:
    w = Writer("<")
    note = notes.canon(shot, "<", recorded)
    described = [
        (b"CMT1", standard.entries(w, standard.main_rows(shot))),
        (b"CMT2", standard.entries(w, standard.exif_rows(shot, size))),
        (b"CMT3", note),
        (b"CMT4", [w.numbers(0x0000, 1, 2, 3, 0, 0)]),
    ]
    blocks = [boxes.box(name, tiff("<", [entries])) for name, entries in described]

    def build(places: Sequence[tuple[int, int]]) -> bytes:
        head = [boxes.box(b"CNCV", b"CanonCR3_001/00.11.00/00.00.00"), boxes.cctp(2)]
        tail = [boxes.box(b"free", b"\0" * 8), *blocks, boxes.thmb(thumb, dimensions(thumb))]
        return b"".join([*head, boxes.ctbo(places), *tail])

    return build


# ---- ORF and other TIFF-like raws -----------------------------------------------------------

RAW_WIDTH = 64
RAW_ROW = RAW_WIDTH * 2
ORF_MAGIC = int.from_bytes(b"RO", "little")


def _rows(raw_size: int) -> int:
    """How many rows of 16-bit samples the filler makes."""
    return max(1, raw_size // RAW_ROW)


def _raw_picture(w: Writer, rows: int, at: int) -> list[Entry]:
    """The tags of an uncompressed 16-bit picture whose one strip lies at the given position."""
    return [
        w.numbers(0x0100, 4, RAW_WIDTH),
        w.numbers(0x0101, 4, rows),
        w.words(0x0102, [16]),
        w.words(0x0103, [1]),
        w.words(0x0106, [32803]),
        w.numbers(0x0111, 4, at),
        w.words(0x0115, [1]),
        w.numbers(0x0116, 4, rows),
        w.numbers(0x0117, 4, rows * RAW_ROW),
    ]


def orf(shot: Shot, preview: bytes, raw_size: int) -> bytes:
    """An ORF (magic ``IIRO``): Exif and note first, then the preview JPEG, then filler.

    raw_size is rounded down to whole rows of 128 bytes.
    """
    w = Writer("<")
    rows = _rows(raw_size)
    size = dimensions(preview)

    def build(at: Sequence[int]) -> bytes:
        note = notes.olympus(shot, lambda here: (max(0, at[0] - here), len(preview)))
        below = w.below(EXIF_POINTER, _exif_entries(w, shot, size, note))
        main = standard.entries(w, standard.main_rows(shot))
        return tiff("<", [[*main, *_raw_picture(w, rows, at[1]), below]], ORF_MAGIC)

    return with_bulk(build, [preview, filler(shot, rows * RAW_ROW)])


def tiff_raw(shot: Shot, kind: RawKind, preview: bytes, raw_size: int = 4096) -> bytes:
    """A raw file in the manner of CR2, NEF, ARW, DNG or PEF, with standard Exif and a preview.

    NEF and PEF are big-endian. A note is written where notes knows the make.
    """
    w = Writer(">" if kind in {"nef", "pef"} else "<")
    rows = _rows(raw_size)

    def build(at: Sequence[int]) -> bytes:
        shown, raw = _preview_entries(w, kind, at[0], len(preview)), _raw_picture(w, rows, at[1])
        note = notes.note(shot, w.order)
        below = w.below(EXIF_POINTER, _exif_entries(w, shot, dimensions(preview), note))
        main = [*standard.entries(w, standard.main_rows(shot)), below]
        if kind == "cr2":
            return _cr2(w, [[*main, *shown], [], raw])
        return tiff(w.order, _directories(w, kind, main, shown, raw))

    return with_bulk(build, [preview, filler(shot, rows * RAW_ROW)])


def _preview_entries(w: Writer, kind: RawKind, at: int, length: int) -> list[Entry]:
    """Where the preview lies: as a strip in CR2 and DNG, by the thumbnail tags elsewhere."""
    places = (0x0111, 0x0117) if kind in {"cr2", "dng"} else (0x0201, 0x0202)
    compression = 7 if kind == "dng" else 6
    reduced = [w.numbers(0x00FE, 4, 1)] if kind in {"dng", "nef"} else []
    numbers = zip(places, (at, length), strict=True)
    placed = [w.numbers(tag, 4, number) for tag, number in numbers]
    return [*reduced, w.words(0x0103, [compression]), *placed]


def _directories(
    w: Writer, kind: RawKind, main: list[Entry], shown: list[Entry], raw: list[Entry]
) -> list[list[Entry]]:
    """Which directory holds what, in each maker's manner."""
    if kind == "nef":
        return [[*main, _sub_directories(w, [shown, raw])]]
    if kind == "dng":
        version = w.numbers(0xC612, 1, 1, 4, 0, 0)
        return [[*main, *raw, version, _sub_directories(w, [shown])]]
    if kind == "arw":
        return [[*main, *shown, _sub_directories(w, [raw])]]
    return [[*main, *raw], [], shown]


def _sub_directories(w: Writer, many: Sequence[Sequence[Entry]]) -> Entry:
    """The SubIFDs entry: one pointer stands in the entry itself, several out of line."""
    if len(many) == 1:
        return w.below(0x014A, many[0])

    def block(at: int) -> bytes:
        pointers, parts = [], b""
        for entries in many:
            pointers.append(at + 4 * len(many) + len(parts))
            parts += directory(w.order, entries, pointers[-1])
        return struct.pack(f"{w.order}{len(many)}I", *pointers) + parts

    return Entry(0x014A, 4, len(many), block)


def _cr2(w: Writer, directories: Sequence[Sequence[Entry]]) -> bytes:
    """A CR2: sixteen bytes of head, which also names the raw picture's directory (the last)."""
    first = 16
    before_raw = chained(w.order, directories[:-1], first)
    body = chained(w.order, directories, first)
    raw_at = first + len(before_raw)
    return w.header(first) + b"CR\2\0" + struct.pack("<I", raw_at) + body


# ---- clip and sidecar -----------------------------------------------------------------------


def mp4(pictures: Sequence[bytes], captured: datetime | None, rate: int = 25) -> bytes:
    """A silent clip of JPEG pictures (motion JPEG in an MP4), rate pictures a second."""
    front = boxes.ftyp(b"mp42", 1, [b"mp42", b"isom"])
    data = boxes.box(b"mdat", *pictures)
    sizes = tuple(len(picture) for picture in pictures)
    first = len(front) + boxes.HEADER
    stream = boxes.Stream(b"jpeg", dimensions(pictures[0]), sizes, first)
    duration = Fraction(len(pictures), rate)
    head = boxes.mvhd(captured, duration, 2)
    return front + data + boxes.box(b"moov", head, boxes.trak(1, stream, duration))


def xmp_packet(shot: Shot, *, rating: int = 0, label: str = "", padding: int = 0) -> bytes:
    """An XMP packet (ISO 16684-1) with rating, label, camera and time, padded with spaces."""
    time = "" if shot.captured is None else shot.captured.strftime("%Y-%m-%dT%H:%M:%S")
    fraction = f".{shot.subsec}" if time and shot.subsec else ""
    marks = f"xmp:Rating={quoteattr(str(rating))}"
    if label:
        marks += f" xmp:Label={quoteattr(label)}"
    return f"""<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
 <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
  <rdf:Description rdf:about="" xmlns:xmp="http://ns.adobe.com/xap/1.0/"
    xmlns:tiff="http://ns.adobe.com/tiff/1.0/" {marks}>
   <xmp:CreateDate>{time}{fraction}</xmp:CreateDate>
   <tiff:Model>{escape(shot.model)}</tiff:Model>
  </rdf:Description>
 </rdf:RDF>
</x:xmpmeta>
{" " * padding}<?xpacket end="w"?>
""".encode()


def xmp_sidecar(shot: Shot, *, rating: int = 0, label: str = "") -> bytes:
    """A sidecar file: the XMP packet without padding."""
    return xmp_packet(shot, rating=rating, label=label)
