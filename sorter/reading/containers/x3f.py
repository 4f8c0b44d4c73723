"""X3F: sections, listed by a directory whose place stands in the last four bytes.

Newer bodies put a JPEG with all Exif into one section; older ones only a list of properties.
Source: general-purpose metadata libraries; held against raws of an SD10 and a DP2.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from functools import partial
from typing import Final, NamedTuple

from sorter.model.kinds import Role
from sorter.reading import previews
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import block, jpeg
from sorter.reading.directories import printable
from sorter.reading.makers import properties
from sorter.reading.source import Source

MAGIC: Final = b"FOVb"
DIRECTORY: Final = b"SECd"
PICTURE: Final = b"SECi"
LIST: Final = b"SECp"
PICTURES: Final = frozenset({b"IMAG", b"IMA2"})
PROPERTIES: Final = b"PROP"
MOST_SECTIONS: Final = 64
MOST_LETTERS: Final = 64
MOST_LIST: Final = 1 << 16
FOOT: Final = 4
TAIL: Final = 4 * 1024
"""Asked for at once: the directory is short and stands before the last four bytes."""
_PICTURE_HEAD: Final = struct.Struct("<4s6I")
_LIST_HEAD: Final = struct.Struct("<4s5I")
_ROW: Final = struct.Struct("<II4s")
_SHOWN: Final = 2
_JPEG: Final = 18
_WIDE: Final = 0
"""The one form of text that is known: sixteen bits a letter."""
_SIZES: Final = {2: 28, 3: 28, 4: 40}
"""Where width and height stand in the file's head, by its major version."""


class _Section(NamedTuple):
    """A section of the file: its name, where it begins, its bytes."""

    name: bytes
    offset: int
    length: int


def read(source: Source, builder: FactsBuilder) -> None:
    """The facts of the JPEG in it, else those of the list of properties; and the previews."""
    builder.role = Role.RAW
    sections = list(_sections(source))
    if not sections:
        builder.notes.append(f"{block.UNREADABLE}: the directory at its end is missing")
    pictures = [one for one in map(partial(_picture, source), sections) if one is not None]
    full = next((one for one in pictures if one.begins_with_exif), None)
    if full is not None:
        jpeg.embedded(source, full.offset, full.offset + full.length, builder)
    elif sections:
        _by_list(source, sections, builder)
    for one in pictures:
        previews.take(source, builder, one.offset, one.length, one.size)
    if not builder.facts.get("width"):
        _stated_size(source, builder)


def _sections(source: Source) -> Iterator[_Section]:
    """The sections that the directory lists; none where it does not stand where it should."""
    source.read(max(0, source.size - TAIL), TAIL)
    foot = source.read(source.size - FOOT, FOOT)
    at = int.from_bytes(foot, "little")
    head = source.read(at, 12)
    count = int.from_bytes(head[8:], "little")
    end = at + 12 + count * _ROW.size
    if head[:4] != DIRECTORY or count > MOST_SECTIONS or end != source.size - FOOT:
        return
    for offset, length, name in _ROW.iter_unpack(source.read(at + 12, end - at - 12)):
        if offset + length <= at:
            yield _Section(name, offset, length)


class _Picture(NamedTuple):
    """A JPEG in a section."""

    offset: int
    length: int
    size: tuple[int, int]
    begins_with_exif: bool


def _picture(source: Source, section: _Section) -> _Picture | None:
    """The section's JPEG; None where it holds something else."""
    if section.name not in PICTURES:
        return None
    skip = _PICTURE_HEAD.size
    data = source.read(section.offset, skip + 4)
    if len(data) < skip + 4 or section.length <= skip:
        return None
    mark, _, use, form, width, height, _ = _PICTURE_HEAD.unpack_from(data)
    if (mark, use, form) != (PICTURE, _SHOWN, _JPEG) or not data.startswith(jpeg.START, skip):
        return None
    exif = data[skip + 3] == jpeg.APP1
    return _Picture(section.offset + skip, section.length - skip, (width, height), exif)


def _by_list(source: Source, sections: list[_Section], builder: FactsBuilder) -> None:
    """The facts of the list of properties."""
    section = next((one for one in sections if one.name == PROPERTIES), None)
    if section is None:
        builder.notes.append(block.NONE)
        return
    pairs = dict(_pairs(source.read(section.offset, min(section.length, MOST_LIST))))
    if not pairs:
        builder.notes.append(block.UNREADABLE)
    properties.read(pairs, builder)


def _pairs(data: bytes) -> Iterator[tuple[str, str]]:
    """Names and values, of which the list holds the places among its letters."""
    if len(data) < _LIST_HEAD.size:
        return
    mark, _, count, form, _, letters = _LIST_HEAD.unpack_from(data)
    texts_at = _LIST_HEAD.size + 8 * count
    if mark != LIST or form != _WIDE or texts_at + 2 * letters > len(data):
        return
    texts = data[texts_at : texts_at + 2 * letters]
    for name, value in struct.iter_unpack("<II", data[_LIST_HEAD.size : texts_at]):
        yield _text(texts, name), _text(texts, value)


def _text(texts: bytes, letter: int) -> str:
    """The text that begins at this letter, up to its NUL; empty where none ends there."""
    rest = texts[2 * letter : 2 * (letter + MOST_LETTERS)].decode("utf-16-le", "replace")
    text, end, _ = rest.partition("\0")
    return printable(text) if end else ""


def _stated_size(source: Source, builder: FactsBuilder) -> None:
    """The picture's size out of the file's head."""
    major = int.from_bytes(source.read(6, 2), "little")
    fields = source.read(_SIZES.get(major, source.size), 8)
    width, height = int.from_bytes(fields[:4], "little"), int.from_bytes(fields[4:], "little")
    if len(fields) == 8 and width and height:
        builder.facts["width"], builder.facts["height"] = width, height
