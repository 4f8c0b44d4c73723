"""Boxes of the ISO base media format (ISO/IEC 14496-12), and Canon's own among them."""

from __future__ import annotations

import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

if TYPE_CHECKING:
    from fractions import Fraction

FromPlaces = Callable[[Sequence[tuple[int, int]]], bytes]

HEADER = 8
WIDE_HEADER = 16
TIME_SCALE = 1000
EPOCH = datetime(1904, 1, 1)  # noqa: DTZ001  the format's clock has no zone here either

CANON_ID = UUID("85c0b687-820f-11e0-8111-f4ce462b6a48")
XMP_ID = UUID("be7acfcb-97a9-42e8-9c71-999491e3afac")
PREVIEW_ID = UUID("eaf42b5e-1c98-4b88-b9fb-b7dc406e4d16")

UNITY = struct.pack(">9I", 1 << 16, 0, 0, 0, 1 << 16, 0, 0, 0, 1 << 30)


def box(name: bytes, *parts: bytes) -> bytes:
    """One box with a 32-bit size."""
    body = b"".join(parts)
    return struct.pack(">I", HEADER + len(body)) + name + body


def wide_box(name: bytes, *parts: bytes) -> bytes:
    """One box with a 64-bit size."""
    body = b"".join(parts)
    return struct.pack(">I4sQ", 1, name, WIDE_HEADER + len(body)) + body


def full_box(name: bytes, *parts: bytes, flags: int = 0) -> bytes:
    """One box of version 0 with flags."""
    return box(name, struct.pack(">I", flags), *parts)


def uuid(number: UUID, *parts: bytes) -> bytes:
    """One box of a private kind."""
    return box(b"uuid", number.bytes, *parts)


def ftyp(major: bytes, minor: int, compatible: Sequence[bytes]) -> bytes:
    """The box that names the format."""
    return box(b"ftyp", major, struct.pack(">I", minor), *compatible)


# ---- Canon's boxes --------------------------------------------------------------------------


def cctp(tracks: int) -> bytes:
    """Canon's table of tracks."""
    rows = [box(b"CCDT", struct.pack(">QII", 16, 0, number + 1)) for number in range(tracks)]
    return box(b"CCTP", struct.pack(">III", 0, 1, tracks), *rows)


def ctbo(places: Sequence[tuple[int, int]]) -> bytes:
    """Canon's table of top-level boxes: file offset and size of XMP, preview and mdat."""
    rows = [struct.pack(">IQQ", number, *place) for number, place in enumerate(places, start=1)]
    return box(b"CTBO", struct.pack(">I", len(rows)), *rows)


def thmb(picture: bytes, size: tuple[int, int]) -> bytes:
    """Canon's thumbnail box."""
    return box(b"THMB", struct.pack(">IHHIHH", 0, *size, len(picture), 1, 0), picture)


def preview(picture: bytes, size: tuple[int, int]) -> bytes:
    """Canon's preview: a private box with eight bytes and a PRVW box in it."""
    head = struct.pack(">IHHHHI", 0, 1, *size, 1, len(picture))
    return uuid(PREVIEW_ID, struct.pack(">II", 0, 1), box(b"PRVW", head, picture))


# ---- movie and tracks -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Stream:
    """The samples of one track: codec, picture size, bytes of each, file offset of the first.

    mark is an empty box inside the sample entry, by which Canon tells a JPEG track.
    """

    codec: bytes
    size: tuple[int, int]
    lengths: tuple[int, ...]
    at: int
    mark: bytes = b""


def _clock(when: datetime | None) -> int:
    return 0 if when is None else int((when - EPOCH).total_seconds())


def mvhd(when: datetime | None, seconds: Fraction | int, next_track: int) -> bytes:
    """The movie's head."""
    time = struct.pack(">IIII", _clock(when), _clock(when), TIME_SCALE, int(seconds * TIME_SCALE))
    rest = struct.pack(">IH10x", 1 << 16, 1 << 8) + UNITY + b"\0" * 24
    return full_box(b"mvhd", time, rest, struct.pack(">I", next_track))


def trak(number: int, stream: Stream, seconds: Fraction | int = 1) -> bytes:
    """One picture track with all its samples in one chunk."""
    width, height = stream.size
    duration = int(seconds * TIME_SCALE)
    tkhd = struct.pack(">IIIII8xHHHH", 0, 0, number, 0, duration, 0, 0, 0, 0)
    sides = struct.pack(">II", width << 16, height << 16)
    mdhd = struct.pack(">IIIIHH", 0, 0, TIME_SCALE, duration, 0x55C4, 0)
    hdlr = struct.pack(">I4s12x", 0, b"vide") + b"\0"
    dref = full_box(b"dref", struct.pack(">I", 1), full_box(b"url ", flags=1))
    media = box(
        b"minf",
        full_box(b"vmhd", b"\0" * 8, flags=1),
        box(b"dinf", dref),
        _sample_table(stream, duration),
    )
    return box(
        b"trak",
        full_box(b"tkhd", tkhd, UNITY, sides, flags=7),
        box(b"mdia", full_box(b"mdhd", mdhd), full_box(b"hdlr", hdlr), media),
    )


def _sample_table(stream: Stream, duration: int) -> bytes:
    count = len(stream.lengths)
    lengths = struct.pack(f">{count}I", *stream.lengths)
    each = duration // count
    return box(
        b"stbl",
        full_box(b"stsd", struct.pack(">I", 1), _sample_entry(stream)),
        full_box(b"stts", struct.pack(">III", 1, count, each)),
        full_box(b"stsc", struct.pack(">IIII", 1, 1, count, 1)),
        full_box(b"stsz", struct.pack(">II", 0, count), lengths),
        full_box(b"co64", struct.pack(">IQ", 1, stream.at)),
    )


def _sample_entry(stream: Stream) -> bytes:
    dpi = 72 << 16
    head = struct.pack(">6xH16xHHIIIH32xHh", 1, *stream.size, dpi, dpi, 0, 1, 24, -1)
    if stream.codec != b"CRAW":
        return box(stream.codec, head)
    kind = struct.pack(">HH", 3 if stream.mark else 1, 0)
    inner = box(stream.mark, b"\0" * 4) if stream.mark else b""
    return box(stream.codec, head, kind, inner)
