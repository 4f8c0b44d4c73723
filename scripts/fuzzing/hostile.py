"""The costliest files that we know how to build: each asks for far more than it is long.

Layouts: TIFF 6.0 (directories), ISO/IEC 10918-1 (JPEG segments), ISO/IEC 14496-12 and 23008-12
(boxes, items), PNG third edition (chunks).
"""

from __future__ import annotations

import struct
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Final

Row = tuple[int, int, int, int]
"""Tag, type, count, value or offset."""
STANDARD: Final = (
    *(0x010F, 0x0110, 0x0132, 0x0103, 0x0106, 0x0100, 0x0101, 0x829A, 0x829D, 0x8827, 0x8830),
    *(0x9003, 0x9004, 0x9011, 0x9012, 0x9201, 0x9202, 0x9204, 0x9206, 0x9209, 0x920A, 0x9290),
    *(0x9291, 0x9292, 0xA002, 0xA003, 0xA402, 0xA431, 0xA434, 0xA460, 0xA461),
)
PLACES: Final = (0x0111, 0x0117, 0x0144, 0x0145, 0x0201, 0x0202)
LENGTHS: Final = {1: 65536, 2: 65536, 3: 32768, 4: 16384, 5: 8192, 10: 8192, 11: 16384, 12: 8192}
"""By type, how many values make the longest value that is read: 64 KiB."""


def directory(rows: Sequence[Row], following: int = 0) -> bytes:
    """A little-endian directory of these rows as they stand."""
    entries = b"".join(struct.pack("<HHII", *row) for row in rows)
    return struct.pack("<H", len(rows)) + entries + struct.pack("<I", following)


def tiff(*directories: bytes, filling: bytes = b"") -> bytes:
    """A TIFF of these directories, one behind the other from byte 8 on."""
    return b"II*\0\x08\0\0\0" + b"".join(directories) + filling


def box(kind: bytes, *contents: bytes) -> bytes:
    """A box of ISO base media."""
    content = b"".join(contents)
    return struct.pack(">I4s", len(content) + 8, kind) + content


def full(kind: bytes, *contents: bytes, version: int = 0) -> bytes:
    """A box with a version and flags."""
    return box(kind, struct.pack(">I", version << 24), *contents)


def long_values(kind: int) -> bytes:
    """Every tag that is asked for, each with the longest value, in IFD0 and the Exif directory."""
    count = LENGTHS[kind]
    rows = [(tag, kind, count, 4096) for tag in (*STANDARD, *PLACES)]
    exif_at = 8 + len(directory(rows)) + 12
    main = directory([*rows, (0x8769, 4, 1, exif_at)])
    filling = bytes(range(33, 127)) * (MEBIBYTE // 94)
    return tiff(main, directory(rows), filling=filling)


MEBIBYTE: Final = 1 << 20


def many_directories(kind: int) -> bytes:
    """Sixteen in a chain, each with sixteen below it, all with lists of the longest kind."""
    length = 2 + 12 * 400 + 4
    count = LENGTHS[kind]
    lists = [(tag, kind, count, 1 << 20) for tag in PLACES]
    others = [(tag, 3, 1, 0) for tag in range(0x1000, 0x1000 + 400 - len(lists) - 1)]
    parts = []
    for outer in range(16):
        first = 8 + outer * (17 * length + 64)
        below_at = first + length + 64
        row = (0x014A, 4, 16, first + length)
        following = 8 + (outer + 1) * (17 * length + 64)
        pointers = struct.pack("<16I", *(below_at + n * length for n in range(16)))
        inner = directory([*lists, *others, (0x9999, 3, 1, 0)])
        parts += [directory([*lists, *others, row], following), pointers, *[inner] * 16]
    return tiff(*parts, filling=b"\1" * (2 << 20))


def self_pointing() -> bytes:
    """Every pointer leads back to the first directory or to nowhere."""
    rows = [(tag, 4, 1, 8) for tag in (0x8769, 0x8825, 0xA005, 0x927C, 0x014A, 0xC634)]
    return tiff(directory([*rows, (0x0111, 4, 1, 0xFFFFFFFF)], 8), filling=b"\0" * 64)


def broken_exif_segments() -> bytes:
    """Two hundred APP1 segments, each with a directory of 400 entries that comes to nothing."""
    bad = b"".join(struct.pack("<HHII", tag, 99, 1, 0) for tag in range(400))
    exif = b"Exif\0\0II*\0\x08\0\0\0" + struct.pack("<H", 400) + bad
    segment = b"\xff\xe1" + struct.pack(">H", len(exif) + 2) + exif
    return b"\xff\xd8" + segment * 200


def segments_without_end() -> bytes:
    """Empty segments, and no picture behind them."""
    return b"\xff\xd8" + b"\xff\xe5\0\2" * 60_000


def heif(items: int, infos: int) -> bytes:
    """A HEIF of so many item places and item names, of which the last is the Exif block."""
    named = [full(b"infe", struct.pack(">HH4s", n, 0, b"hvc1"), version=2) for n in range(infos)]
    named.append(full(b"infe", struct.pack(">HH4s", infos, 0, b"Exif"), version=2))
    rows = b"".join(struct.pack(">HHHHII", n, 0, 0, 1, 64, 64) for n in range(items))
    places = full(b"iloc", b"\x44\0", struct.pack(">H", items), rows, version=1)
    sizes = [full(b"ispe", struct.pack(">II", n + 1, n + 1)) for n in range(4000)]
    properties = box(b"iprp", box(b"ipco", *sizes))
    names = full(b"iinf", struct.pack(">H", infos + 1), *named)
    return box(b"ftyp", b"heic\0\0\0\0mif1") + full(b"meta", names, places, properties)


def boxes(brand: bytes, start: bytes) -> bytes:
    """Thousands of empty boxes, on every level that is walked."""
    tiny = box(b"free") * 20_000
    inner = box(b"moov", box(b"uuid", start, tiny), box(b"trak", tiny), tiny)
    return box(b"ftyp", brand + b"\0\0\0\0") + inner + tiny


def nested(depth: int) -> bytes:
    """Boxes within boxes."""
    sizes = range(8 * depth, 0, -8)
    inner = b"".join(struct.pack(">I4s", size, b"moov") for size in sizes)
    return box(b"ftyp", b"crx \0\0\0\0") + inner


def far_apart(kind: bytes) -> bytes:
    """Boxes of 5 KiB: each is looked at by a request of its own."""
    front = box(b"ftyp", b"mif1\0\0\0\0") if kind == b"heif" else b"\0\0\0\x0cJXL \r\n\x87\n"
    return front + box(b"free", b"\0" * 5112) * 800


def chunks() -> bytes:
    """A PNG of thousands of empty chunks, none of which is Exif."""
    return b"\x89PNG\r\n\x1a\n" + struct.pack(">I4sI", 0, b"tEXt", 0) * 40_000


def for_the_library(kind: int, count: int) -> bytes:
    """Bytes of no form that we know, with what keeps the general-purpose library busy."""
    rows = [(0x1000 + n % 0x6000, kind, count, 8) for n in range(60_000)]
    return b"II+\0\x08\0\0\0" + directory(rows)


def all_of_them() -> Iterator[tuple[str, Callable[[], bytes], str]]:
    """Name, builder and the extension under which each is read."""
    for kind in LENGTHS:
        yield f"long values of type {kind}", partial(long_values, kind), "jpg"
        yield f"many directories of type {kind}", partial(many_directories, kind), "nef"
        yield f"the library, type {kind}", partial(for_the_library, kind, 999), "crw"
    yield "the library, long texts", lambda: for_the_library(2, MEBIBYTE), "crw"
    yield "pointers to itself", self_pointing, "tif"
    yield "broken Exif segments", broken_exif_segments, "jpg"
    yield "segments without end", segments_without_end, "jpg"
    yield "HEIF of many items", lambda: heif(4096, 4000), "heic"
    yield "HEIF of many boxes", lambda: boxes(b"heic", b""), "heic"
    yield "CR3 of many boxes", lambda: boxes(b"crx ", CR3_ID), "cr3"
    yield "nested boxes", lambda: nested(20_000), "cr3"
    yield "HEIF boxes far apart", lambda: far_apart(b"heif"), "heic"
    yield "JPEG XL boxes far apart", lambda: far_apart(b"jxl"), "jxl"
    yield "PNG chunks", chunks, "png"


CR3_ID: Final = bytes.fromhex("85c0b687820f11e08111f4ce462b6a48")
