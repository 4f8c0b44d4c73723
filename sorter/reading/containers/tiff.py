"""TIFF and the raws that are TIFFs: CR2, NEF, ARW, DNG, PEF, ORF and their like (TIFF 6.0, DNG)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from sorter.model.kinds import Role
from sorter.reading import previews, standard
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import block
from sorter.reading.directories import Directory, below_all, chain
from sorter.reading.makers import formats
from sorter.reading.source import Source

CR2_MARK: Final = b"CR"
DNG_VERSION: Final = 0xC612
SUB_DIRECTORIES: Final = 0x014A
WIDTH: Final = 0x0100
HEIGHT: Final = 0x0101
BITS: Final = 0x0102
COMPRESSION: Final = 0x0103
PHOTOMETRY: Final = 0x0106
STRIP_PLACES: Final = 0x0111
STRIP_SIZES: Final = 0x0117
TILE_PLACES: Final = 0x0144
TILE_SIZES: Final = 0x0145
JPEG_PLACE: Final = 0x0201
JPEG_SIZE: Final = 0x0202
TABLES: Final = 0x015B
"""What the JPEGs of the strips have in common: none of them is whole without it."""
SLICES: Final = 0xC640
SENSOR_PHOTOMETRIES: Final = frozenset({32803, 34892})  # colour filter array, linear raw (TIFF/EP)
UNSEEN_PHOTOMETRIES: Final = frozenset({4, 51177, 52527})  # masks and depth maps (TIFF 6.0, DNG)
JPEG_COMPRESSIONS: Final = frozenset({6, 7})
NOWHERE: Final = 0xFFFFFFFF


def read(source: Source, builder: FactsBuilder) -> None:
    """The facts and previews of a TIFF-like file, and a note where it is cut."""
    main = block.read(source, 0, source.size, builder)
    if main is None:
        builder.notes.append(block.UNREADABLE)
        builder.container = "cr2" if source.read(8, 2) == CR2_MARK else "tiff"
        builder.role = Role.RAW if builder.container == "cr2" else Role.IMAGE
        return
    parts = list(pictures(main))
    _name(source, main, parts, builder)
    for part in parts:
        _preview(part, source, builder)
    _size(parts, builder)
    end = max((_end(part) for part in parts), default=0)
    if end > source.size:
        builder.notes.append(block.ends_early(source, end))


def pictures(main: Directory) -> Iterator[Directory]:
    """The directories that describe pictures: the chain from IFD0, each with those below it."""
    for part in chain(main):
        yield part
        yield from below_all(part, SUB_DIRECTORIES)


def _name(source: Source, main: Directory, parts: list[Directory], builder: FactsBuilder) -> None:
    """What container it is, and whether it holds what the sensor saw."""
    if builder.container:  # its first bytes said so
        builder.role = Role.RAW
    elif source.read(8, 2) == CR2_MARK:
        builder.container, builder.role = "cr2", Role.RAW
    elif DNG_VERSION in main:
        builder.container, builder.role = "dng", Role.RAW
    elif any(part.number(PHOTOMETRY) in SENSOR_PHOTOMETRIES for part in parts):
        builder.container, builder.role = formats.raw_name(main.text(standard.MAKE)), Role.RAW
    else:
        builder.container, builder.role = "tiff", Role.IMAGE


def _preview(part: Directory, source: Source, builder: FactsBuilder) -> None:
    """The JPEG that this directory describes, where it describes one."""
    if JPEG_PLACE in part:
        places, sizes = part.numbers(JPEG_PLACE), part.numbers(JPEG_SIZE)
    elif _is_shown(part):
        places, sizes = part.numbers(STRIP_PLACES), part.numbers(STRIP_SIZES)
    else:
        return
    if len(places) == len(sizes) == 1:
        size = part.number(WIDTH) or 0, part.number(HEIGHT) or 0
        if JPEG_PLACE in part and (STRIP_PLACES in part or TILE_PLACES in part):
            size = previews.UNKNOWN  # that of the other picture
        previews.take(source, builder, places[0], sizes[0], size)


def _is_shown(part: Directory) -> bool:
    """Whether the strips are a JPEG to be looked at: neither sensor data, nor a mask or depth map.

    The raw picture of a CR2 is a lossless JPEG, and its small one is not compressed, although both
    say what previews say: the first has slices, the second as many bytes as its samples take.
    """
    if part.number(COMPRESSION) not in JPEG_COMPRESSIONS or SLICES in part or TABLES in part:
        return False
    if part.number(PHOTOMETRY) in SENSOR_PHOTOMETRIES | UNSEEN_PHOTOMETRIES:
        return False
    samples = (part.number(WIDTH) or 0) * (part.number(HEIGHT) or 0) * sum(part.numbers(BITS))
    return part.number(STRIP_SIZES) != samples // 8


def _size(parts: list[Directory], builder: FactsBuilder) -> None:
    """The largest picture's size, where Exif tells none."""
    if builder.facts.get("width"):
        return
    sizes = [(part.number(WIDTH) or 0, part.number(HEIGHT) or 0) for part in parts]
    width, height = max(sizes, default=(0, 0))
    builder.facts["width"], builder.facts["height"] = width or None, height or None


def _end(part: Directory) -> int:
    """Where the last byte of the pictures of this directory should lie."""
    ends = [0]
    for place, size in (
        (STRIP_PLACES, STRIP_SIZES),
        (TILE_PLACES, TILE_SIZES),
        (JPEG_PLACE, JPEG_SIZE),
    ):
        pairs = zip(part.numbers(place), part.numbers(size), strict=False)
        ends.extend(at + length for at, length in pairs if at != NOWHERE)
    return max(ends)
