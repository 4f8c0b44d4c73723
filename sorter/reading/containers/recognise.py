"""What a file is, by its first bytes; its name is asked only where the content cannot tell."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from sorter.model.kinds import PICTURE_ROLES, Role
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import cr3, crw, heif, jpeg, raf, rw2, tiff, wrapped, x3f
from sorter.reading.source import Source

Reader = Callable[[Source, FactsBuilder], None]


@dataclass(frozen=True, slots=True)
class Container:
    """A format: its name, the part that its files play, and the reader for its facts."""

    name: str
    role: Role = Role.IMAGE
    read: Reader | None = None

    @property
    def is_picture(self) -> bool:
        """Whether files of this format are pictures."""
        return self.role in PICTURE_ROLES


_JPEG: Final = Container("jpeg", read=jpeg.read)
_TIFF: Final = Container("", read=tiff.read)  # names itself when it is read
_ORF: Final = Container("orf", Role.RAW, tiff.read)
_RW2: Final = Container("rw2", Role.RAW, rw2.read)
_CR3: Final = Container("cr3", Role.RAW, cr3.read)
_HEIF: Final = Container("heif", read=heif.read)
_MOVIE: Final = Container("mp4", Role.CLIP)
_TRANSPORT: Final = Container("mts", Role.CLIP)
_MP3: Final = Container("mp3", Role.SOUND)

_MAGICS: Final = (
    (jpeg.START, _JPEG),
    (b"II*\0", _TIFF),
    (b"MM\0*", _TIFF),
    (b"IIRO", _ORF),
    (b"IIRS", _ORF),
    (b"MMOR", _ORF),
    (b"IIU\0", _RW2),
    (raf.MAGIC, Container("raf", Role.RAW, raf.read)),
    (b"\x89PNG\r\n\x1a\n", Container("png", read=wrapped.read_png)),
    (b"\0\0\0\x0cJXL \r\n\x87\n", Container("jxl", read=wrapped.read_boxes)),
    (b"\xff\x0a", Container("jxl", read=wrapped.read_bare)),
    (b"\0\0\0\x0cjP  ", Container("jp2", read=wrapped.read_boxes)),
    (b"GIF8", Container("gif")),
    (b"\xff\x4f\xff\x51", Container("jp2", read=wrapped.read_bare)),
    (crw.MAGIC, Container("crw", Role.RAW, crw.read)),
    (x3f.MAGIC, Container("x3f", Role.RAW, x3f.read)),
    (b"\0MRM", Container("mrw", Role.RAW, wrapped.read_mrw)),
    (b"ID3", _MP3),
    (b"\xff\xfb", _MP3),
    (b"\xff\xf3", _MP3),
    (b"fLaC", Container("flac", Role.SOUND)),
    (b"OggS", Container("ogg", Role.SOUND)),
    (b"\x1aE\xdf\xa3", Container("mkv", Role.CLIP)),
    (b"\0\0\1\xba", Container("mpg", Role.CLIP)),  # a pack header: ISO/IEC 11172-1, 13818-1
    (b"\x06\x0e\x2b\x34\x02\x05\x01\x01", Container("mxf", Role.CLIP)),
)
_BY_FIRST: Final = {
    magic[:1]: [one for one in _MAGICS if one[0][:1] == magic[:1]] for magic, _ in _MAGICS
}
_RIFFS: Final = {
    b"AVI ": Container("avi", Role.CLIP),
    b"WAVE": Container("wav", Role.SOUND),
    b"WEBP": Container("webp", read=wrapped.read_webp),
}
_STILL_BRANDS: Final = frozenset({b"heic", b"heix", b"heim", b"heis", b"mif1", b"msf1", b"avif"})
_MOVIE_STARTS: Final = frozenset({b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot"})
_PACKET: Final = b"G"
_PACKETS: Final = ((0, 188), (4, 192))


def recognise(source: Source) -> Container | None:
    """The container by content; None where it is none that we know."""
    head = source.head[:16]
    for magic, container in _BY_FIRST.get(head[:1], ()):
        if head.startswith(magic):
            return container
    if head[4:8] == b"ftyp":
        return _by_brand(head[8:12], source)
    if head[:4] == b"RIFF":
        return _RIFFS.get(head[8:12])
    if head[4:8] in _MOVIE_STARTS:
        return _MOVIE
    return _TRANSPORT if _is_transport(source) else None


def _by_brand(brand: bytes, source: Source) -> Container:
    if brand == b"crx ":
        return _CR3
    listed = source.head[16 : min(int.from_bytes(source.head[:4]), 128)]
    if brand in _STILL_BRANDS or (brand == b"hevc" and b"mif1" in listed):
        return _HEIF
    return _MOVIE


def _is_transport(source: Source) -> bool:
    """Whether packets of an MPEG transport stream begin where they should, three in a row."""
    return any(
        all(source.head[first + n * step : first + n * step + 1] == _PACKET for n in range(3))
        for first, step in _PACKETS
    )
