"""Small whole files of every container, with a preview wherever the container has room for one."""

from __future__ import annotations

import io
import struct
from collections.abc import Callable, Sequence
from datetime import datetime
from functools import cache

from PIL import Image

from cardmaking import containers
from cardmaking.shots import Shot
from cardmaking.tiff import U16, U32, Entry, Writer, chained, directory, tiff
from reading.builders import EXIF_POINTER, FRAME_HEADER, LITTLE, NOTE, SCAN, TIME, app1, exif_tiff

BIG = Writer(">")
EXPOSURE = [LITTLE.ratios(0x829A, (1, 160)), LITTLE.ratios(0x829D, (28, 5))]
HEAP_START = 26


@cache
def picture(width: int, height: int) -> bytes:
    """A JPEG of this size, as few bytes as may be."""
    out = io.BytesIO()
    Image.new("L", (width, height), 90).save(out, "JPEG", quality=20)
    return out.getvalue()


def shot(make: str) -> Shot:
    """A shot of the rock pool by a body of this make."""
    captured = datetime(2026, 5, 17, 13, 2, 3)  # noqa: DTZ001  a camera's clock has no zone
    return Shot(make=make, model=f"{make} X", captured=captured)


def thumbnailed(picture_bytes: bytes, make: str = "Limpet") -> bytes:
    """An Exif block whose second directory holds a thumbnail."""
    main = [LITTLE.text(0x010F, make), LITTLE.below(EXIF_POINTER, [*EXPOSURE, TIME])]
    return tiff("<", [main, placed_jpeg(picture_bytes)])


def placed_jpeg(data: bytes, writer: Writer = LITTLE) -> list[Entry]:
    """The two tags of a JPEG that lies right behind its directory."""
    return [Entry(0x0201, U32, 1, lambda _: data), writer.numbers(0x0202, U32, len(data))]


def multi_picture(*others: bytes) -> bytes:
    """A JPEG with an index of pictures (CIPA DC-007), which stand behind its end."""
    exif = app1(exif_tiff([], [*EXPOSURE, TIME]))
    own = picture(64, 48)

    def front(rows: bytes) -> bytes:
        index = tiff(
            "<", [[LITTLE.numbers(0xB001, U32, len(rows) // 16), LITTLE.raw(0xB002, rows)]]
        )
        segment = b"\xff\xe2" + (len(index) + 6).to_bytes(2) + b"MPF\0" + index
        return b"\xff\xd8" + exif + segment + own[2:]

    base = 2 + len(exif) + 8
    at = len(front(b"\0" * 16 * (len(others) + 1)))
    rows = struct.pack("<IIIHH", 0x20030000, at, 0, 0, 0)
    for other in others:
        rows += struct.pack("<IIIHH", 0x00010001, len(other), at - base, 0, 0)
        at += len(other)
    return front(rows) + b"".join(others)


# ---- CRW and X3F ----------------------------------------------------------------------------


def heap(*records: tuple[int, bytes]) -> bytes:
    """A CIFF heap: the values, its directory, and where that begins."""
    body, rows = b"", b""
    for tag, value in records:
        if tag & 0x4000:
            rows += struct.pack("<H", tag) + value.ljust(8, b"\0")
        else:
            rows += struct.pack("<HII", tag, len(value), len(body))
            body += value + b"\0" * (len(value) % 2)
    return body + struct.pack("<H", len(records)) + rows + struct.pack("<I", len(body))


def sized(words: dict[int, int], count: int) -> bytes:
    """An array of words whose first is its length in bytes."""
    return struct.pack(f"<{count}H", 2 * count, *(words.get(at, 0) for at in range(1, count)))


def crw(*exposure: tuple[int, bytes], extra: Sequence[tuple[int, bytes]] = ()) -> bytes:
    """A CRW of an EOS with aperture 8, 1/125 s and a bracketed frame, by words or as given."""
    shot_words = {2: 160, 6: 32, 16: 2, 17: 0xFFE0, 19: 142, 20: 119, 21: 192, 22: 224}
    inner = heap(
        (0x102A, sized(shot_words, 33)),
        (0x102D, sized({5: 1, 7: 3, 25: 1}, 46)),
        (0x1093, sized({3: 1, 5: 2}, 9)),
        (0x5029, struct.pack("<4H", 2, 24, 0, 0)),
        (0x10B5, sized({3: 32, 4: 24}, 5)),
        *exposure,
    )
    camera = heap((0x080A, b"Canon\0Canon EOS 300D\0"), (0x580B, struct.pack("<I", 560018150)))
    properties = heap(
        (0x1810, struct.pack("<IIfiIII", 3072, 2048, 1.0, 270, 8, 24, 257)),
        (0x180E, struct.pack("<III", 1068485966, 0, 0)),
        (0x2807, camera),
        (0x300B, inner),
        *extra,
    )
    root = heap((0x2007, picture(32, 24)), (0x2008, picture(16, 12)), (0x300A, properties))
    return b"II" + struct.pack("<I", HEAP_START) + b"HEAPCCDR" + b"\0" * 12 + root


def x3f(*sections: tuple[bytes, bytes], version: int = 0x20002) -> bytes:
    """An X3F of these sections."""
    data = struct.pack("<4sI16sIIII", b"FOVb", version, b"\0" * 16, 0, 2268, 1512, 0)
    data = data.ljust(64, b"\0")
    rows = b""
    for name, content in sections:
        rows += struct.pack("<II4s", len(data), len(content), name)
        data += content
    head = struct.pack("<4sII", b"SECd", 0x20000, len(sections))
    return data + head + rows + struct.pack("<I", len(data))


def shown(data: bytes, size: tuple[int, int], form: int = 18) -> bytes:
    """The content of a section with a picture."""
    return struct.pack("<4s6I", b"SECi", 0x20000, 2, form, *size, 0) + data


def listed(pairs: dict[str, str]) -> bytes:
    """The content of a section with a list of properties."""
    places, texts = b"", ""
    for name, value in pairs.items():
        places += struct.pack("<II", len(texts), len(texts) + len(name) + 1)
        texts += f"{name}\0{value}\0"
    head = struct.pack("<4s5I", b"SECp", 0x20000, len(pairs), 0, 0, len(texts))
    return head + places + texts.encode("utf-16-le")


PROPERTIES = {
    "CAMMANUF": "SIGMA",
    "CAMMODEL": "SIGMA SD10",
    "CAMSERIAL": "02001234",
    "TIME": "1259413520",
    "SHUTTER": "0.0125",
    "APERTURE": "5.6",
    "ISO": "100",
    "FLENGTH": "50",
    "EXPCOMP": "-0.5",
    "DRIVE": "MULTI",
    "FOCUS": "M",
}


def old_x3f() -> bytes:
    """An X3F whose facts are words."""
    bitmap = shown(b"\1" * 40, (4, 4), form=3)
    small = shown(picture(16, 12), (16, 12))
    return x3f((b"IMAG", bitmap), (b"IMA2", small), (b"PROP", listed(PROPERTIES)))


def new_x3f() -> bytes:
    """An X3F whose JPEG holds Exif."""
    full = b"\xff\xd8" + app1(thumbnailed(picture(16, 12))) + picture(48, 32)[2:]
    return x3f((b"IMA2", shown(full, (48, 32))), (b"PROP", listed({"TIME": "1"})), version=0x20003)


# ---- HEIF -----------------------------------------------------------------------------------


def box(kind: bytes, *content: bytes) -> bytes:
    body = b"".join(content)
    return struct.pack(">I4s", len(body) + 8, kind) + body


def heif(*, version: int = 0, method: int = 0, info: int = 2, parts: int = 1) -> bytes:
    """A HEIF of an Exif item and a JPEG item of 16 x 12 pixels.

    version: of the iloc box. method: where the items lie (0 in the file, 1 in the idat box). info:
    version of the infe boxes. parts: of the Exif item, apart from each other.
    """
    exif = b"\0\0\0\6Exif\0\0" + exif_tiff([LITTLE.text(0x010F, "Limpet")], [*EXPOSURE, TIME])
    step = -(-len(exif) // parts)
    pieces = [exif[at : at + step] for at in range(0, len(exif), step)]
    data = b"~~".join(pieces) + picture(16, 12)
    starts = [number * (step + 2) for number in range(len(pieces))]
    front = box(b"ftyp", b"heic", b"\0\0\0\0", b"mif1", b"heic")
    number = ">I" if info == 3 else ">H"
    entries = [
        box(b"infe", bytes([info, 0, 0, 0]), struct.pack(number, item), b"\0\0", kind, b"\0")
        for item, kind in ((1, b"hvc1"), (7, b"Exif"), (8, b"jpeg"))
    ]
    listing = box(b"iinf", b"\0\0\0\0", struct.pack(">H", len(entries)), *entries)
    size = box(b"ispe", b"\0\0\0\0", struct.pack(">II", 16, 12))
    linked = box(b"ipma", b"\0\0\0\0", struct.pack(">IHBB", 1, 8, 1, 0x81))
    properties = box(b"iprp", box(b"ipco", size), linked)

    def item(one: int, extents: Sequence[tuple[int, int]]) -> bytes:
        wide = ">I" if version == 2 else ">H"
        how = struct.pack(">H", method) if version else b""
        rows = b"".join(struct.pack(">II", *extent) for extent in extents)
        return struct.pack(wide, one) + how + struct.pack(">HH", 0, len(extents)) + rows

    def meta(at: int) -> bytes:
        own = [(at + start, len(piece)) for start, piece in zip(starts, pieces, strict=True)]
        jpeg_at = len(data) - len(picture(16, 12))
        count = struct.pack(">I" if version == 2 else ">H", 2)
        places = item(7, own) + item(8, [(at + jpeg_at, len(picture(16, 12)))])
        table = box(b"iloc", bytes([version, 0, 0, 0]), b"\x44\x00", count, places)
        inside = [box(b"idat", data)] if method else []
        return box(b"meta", b"\0\0\0\0", listing, table, properties, *inside)

    if method:
        return front + meta(0)
    return front + meta(len(front) + len(meta(0)) + 8) + box(b"mdat", data)


# ---- others ---------------------------------------------------------------------------------


def raf() -> bytes:
    """A RAF: header, JPEG with Exif and thumbnail, raw data."""
    inner = b"\xff\xd8" + app1(thumbnailed(picture(16, 12))) + picture(48, 32)[2:]
    header = b"FUJIFILMCCD-RAW 0201".ljust(0x54, b"\0") + struct.pack(">II", 0x94, len(inner))
    header = header.ljust(0x64, b"\0") + struct.pack(">II", 0x94 + len(inner), 40)
    return header.ljust(0x94, b"\0") + inner + b"\1" * 40


def rw2() -> bytes:
    """An RW2 with both embedded JPEGs."""
    inner = b"\xff\xd8" + app1(thumbnailed(picture(16, 12))) + picture(48, 32)[2:]
    outer = [
        LITTLE.raw(0x002E, inner),
        LITTLE.text(0x010F, "Panasonic"),
        LITTLE.numbers(0x0118, U32, 2048),
        LITTLE.raw(0x0127, picture(64, 48)),
    ]
    return tiff("<", [outer], magic=0x55).ljust(2048, b"\0") + b"\1" * 200


def old_rw2() -> bytes:
    """A shell that holds all Exif itself, with a thumbnail behind it."""
    note = LITTLE.placed(NOTE, lambda at: _flat_note(at + 12))
    exif = LITTLE.below(EXIF_POINTER, [*EXPOSURE, TIME, note])
    main = [LITTLE.text(0x010F, "Panasonic"), exif, LITTLE.numbers(0x0118, U32, 900)]
    return tiff("<", [main, placed_jpeg(picture(16, 12))], magic=0x55).ljust(1000, b"\1")


def _flat_note(at: int) -> bytes:
    return b"Panasonic\0\0\0" + directory("<", [LITTLE.words(0x002A, [3])], at)


def mrw() -> bytes:
    """An MRW: header block, the block that is a TIFF, raw data."""

    def note(at: int) -> bytes:
        below = at + 2 + 2 * 12 + 4
        pair = (0x0088, below), (0x0089, len(picture(32, 24)))
        return directory(">", [BIG.numbers(tag, U32, one) for tag, one in pair], at) + picture(
            32, 24
        )

    times = [BIG.text(0x9003, "2026:05:17 13:02:03"), BIG.placed(NOTE, note)]
    main = [BIG.text(0x010F, "Minolta Co., Ltd."), BIG.below(EXIF_POINTER, times)]
    block = tiff(">", [main])
    head = b"\0PRD\0\0\0\x04abcd" + b"\0TTW" + len(block).to_bytes(4) + block
    return b"\0MRM" + len(head).to_bytes(4) + head + b"\1" * 40


def srw() -> bytes:
    """A raw whose preview stands in a directory below the first."""
    preview = [LITTLE.words(0x0103, [6]), *placed_jpeg(picture(48, 32))]
    main = [
        LITTLE.text(0x010F, "SAMSUNG"),
        LITTLE.below(EXIF_POINTER, [*EXPOSURE, TIME]),
        LITTLE.below(0x014A, preview),
        LITTLE.words(0x0106, [32803]),
    ]
    return tiff("<", [main])


def nikon_jpeg() -> bytes:
    """A JPEG whose note describes a preview in a directory of its own."""
    inner = [LITTLE.below(0x0011, placed_jpeg(picture(32, 24)))]
    # Places count from the TIFF within the note, and the room behind is the rest of the note.
    note = b"Nikon\0\2\x10\0\0" + tiff("<", [inner]) + b"\0" * 1200
    main = [LITTLE.text(0x010F, "NIKON CORPORATION")]
    block = exif_tiff(main, [*EXPOSURE, TIME, LITTLE.raw(NOTE, note)])
    return b"\xff\xd8" + app1(block) + picture(64, 48)[2:]


def plain_cr2() -> bytes:
    """A CR2 of four pictures: a JPEG, a thumbnail, one not compressed, a lossless JPEG."""
    lossless = FRAME_HEADER.replace(b"\xff\xc0", b"\xff\xc3")
    raw = b"\xff\xd8" + lossless + SCAN + b"\xff\xd9"

    def strip(data: bytes, *more: Entry) -> list[Entry]:
        size = LITTLE.numbers(0x0117, U32, len(data))
        return [LITTLE.words(0x0103, [6]), Entry(0x0111, U32, 1, lambda _: data), size, *more]

    sizes = [LITTLE.words(tag, [one]) for tag, one in ((0x0100, 8), (0x0101, 4))]
    bits = LITTLE.words(0x0102, [8, 8, 8])
    main = [
        LITTLE.text(0x010F, "Canon"),
        LITTLE.below(EXIF_POINTER, [*EXPOSURE, TIME]),
        *strip(picture(64, 48)),
    ]
    small = strip(b"\xff\xd8\xff" + b"\1" * 93, *sizes, bits)
    parts = [main, placed_jpeg(picture(16, 12)), small, strip(raw, LITTLE.numbers(0xC640, U16, 1))]
    return LITTLE.header(16) + b"CR\2\0" + b"\0" * 4 + chained("<", parts, 16)


def chunk(kind: bytes, content: bytes) -> bytes:
    return len(content).to_bytes(4) + kind + content + b"\0\0\0\0"


def riff(kind: bytes, content: bytes) -> bytes:
    return kind + len(content).to_bytes(4, "little") + content + b"\0" * (len(content) % 2)


BLOCK = thumbnailed(picture(16, 12))
SMALL: dict[str, Callable[[], bytes]] = {
    "P.JPG": lambda: b"\xff\xd8" + app1(BLOCK) + picture(64, 48)[2:],
    "MULTI.JPG": lambda: multi_picture(picture(32, 24), picture(48, 32)),
    "BIG.JPG": lambda: containers.jpeg(shot("Limpet"), picture(64, 48), order=">"),
    "NOTE.JPG": nikon_jpeg,
    "P.CRW": crw,
    "OLD.X3F": old_x3f,
    "NEW.X3F": new_x3f,
    "P.HIF": heif,
    "ONE.HIF": lambda: heif(version=1, method=1),
    "TWO.HIF": lambda: heif(version=2, info=3),
    "PARTS.HIF": lambda: heif(parts=3),
    "P.RAF": raf,
    "P.RW2": rw2,
    "OLD.RW2": old_rw2,
    "P.MRW": mrw,
    "P.SRW": srw,
    "P.CR2": plain_cr2,
    "P.NEF": lambda: containers.tiff_raw(shot("NIKON CORPORATION"), "nef", picture(48, 32), 256),
    "P.ARW": lambda: containers.tiff_raw(shot("SONY"), "arw", picture(48, 32), 256),
    "P.PEF": lambda: containers.tiff_raw(shot("PENTAX"), "pef", picture(48, 32), 256),
    "P.DNG": lambda: containers.tiff_raw(shot("Leica"), "dng", picture(48, 32), 256),
    "P.ORF": lambda: containers.orf(shot("OLYMPUS"), picture(48, 32), 256),
    "P.CR3": lambda: containers.cr3(
        shot("Canon"), picture(48, 32), picture(16, 12), picture(64, 48), 256
    ),
    "P.PNG": lambda: (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", b"\0" * 13)
        + chunk(b"eXIf", BLOCK)
        + chunk(b"IEND", b"")
    ),
    "P.WEBP": lambda: riff(b"RIFF", b"WEBP" + riff(b"VP8 ", b"odd") + riff(b"EXIF", BLOCK)),
    "P.JXL": lambda: (
        b"\0\0\0\x0cJXL \r\n\x87\n"
        + box(b"ftyp", b"jxl ")
        + box(b"Exif", b"\0\0\0\0", BLOCK)
        + box(b"jxlc", b"\1" * 20)
    ),
    "P.JP2": lambda: (
        b"\0\0\0\x0cjP  \r\n\x87\n"
        + box(b"uuid", b"JpgTiffExif->JP2", BLOCK)
        + box(b"jp2c", b"\1" * 20)
    ),
}
