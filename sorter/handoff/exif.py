"""Exif put back into a merged picture, whose pixels stay untouched. Pure.

What the picture's own file says stays, but for what tells of a single slice (maker's note, thumbnail)
and what the reference says. Its orientation is its own: the program that merged it has turned the
pixels already, or has said itself that they are to be turned.

Rules: CIPA DC-008-2019 (Exif 2.32) for the tags, CompositeImage among them; TIFF 6.0 and the BigTIFF
design for directories; PNG (third edition, W3C) for the chunk eXIf; JPEG segments by `piexif`.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

import piexif

from sorter.model.borrowed import Borrowed, Restore
from sorter.model.reference import Reference, Value, Values

Pieces: TypeAlias = list[bytes | memoryview]
"""The parts of a file in their order; views are unchanged stretches of what was given."""

GENERAL_COMPOSITE: Final = 2
"""CompositeImage: merged from several pictures, though not in the camera while they were taken."""
VERSION: Final = b"0232"

# Tags that the library has no names for, by the numbers of the standard: 0xA460 and 0xA461.
COMPOSITE: Final = 42080
SOURCES: Final = 42081
_ASCII, _SHORT, _LONG, _RATIONAL, _UNDEFINED, _SIGNED = 2, 3, 4, 5, 7, 10
_LONG8, _IFD8 = 16, 18
_WIDTHS: Final = {1: 1, _ASCII: 1, _SHORT: 2, _LONG: 4, _RATIONAL: 4, _UNDEFINED: 1, _SIGNED: 4}
_EACH: Final = {1: 1, _ASCII: 1, _SHORT: 2, _LONG: 4, _RATIONAL: 8, 6: 1, _UNDEFINED: 1, 8: 2, 9: 4,
                _SIGNED: 8, 11: 4, 12: 8}  # fmt: skip
"""Bytes of a value by its type (TIFF 6.0)."""
_NOTE: Final = piexif.ExifIFD.MakerNote
_EXIF_AT: Final = piexif.ImageIFD.ExifTag
_GPS_AT: Final = piexif.ImageIFD.GPSTag
_POINTERS: Final = frozenset({_EXIF_AT, _GPS_AT, piexif.ExifIFD.InteroperabilityTag})
# What a program wrote of these itself is not replaced: a caption and a name may be its user's.
_OWN_FIRST: Final = frozenset(
    {piexif.ImageIFD.ImageDescription, piexif.ImageIFD.Artist, piexif.ImageIFD.Copyright}
)
_APP0, _APP1 = 0xE0, 0xE1
_JPEG: Final = b"\xff\xd8\xff"
_PNG: Final = b"\x89PNG\r\n\x1a\n"
_EXIF_HEAD: Final = b"Exif\0\0"
_MOST_CLASSIC: Final = 2**32 - 2**20

_UNKNOWN: Final = {
    COMPOSITE: {"name": "CompositeImage", "type": _SHORT},
    SOURCES: {"name": "SourceImageNumberOfCompositeImage", "type": _SHORT},
}
"""Tags of Exif 2.32 that the library does not know."""


def _teach() -> Restore:
    known = piexif.TAGS["Exif"]
    new = {tag: about for tag, about in _UNKNOWN.items() if tag not in known}
    known.update(new)

    def restore() -> None:
        for tag in new:
            del known[tag]

    return restore


_TAUGHT: Final = Borrowed(_teach)


class CannotPutBack(Exception):
    """The picture's form takes no Exif, or its own is broken; the text is the end of a sentence.

    No end of a run: the picture stays as it is.
    """


def put_back(
    data: bytes, reference: Reference, *, slices: int, size: tuple[int, int] | None = None
) -> Pieces:
    """The pieces of a file with the same picture and the reference's Exif.

    slices: of how many it was merged. size: its width and height in pixels, which compressed forms
    are to tell. Raises CannotPutBack.
    """
    exif = {**reference.exif, **_composite(slices)}
    try:
        if data.startswith(_JPEG):
            return _in_jpeg(data, _Wanted(reference.main, exif | _sized(size), reference.gps))
        if data.startswith(_PNG):
            return _in_png(data, _Wanted(reference.main, exif | _sized(size), reference.gps))
        if data[:4] in _ORDERS:
            return _in_tiff(data, _Wanted(reference.main, exif, reference.gps))
    except (struct.error, LookupError, ValueError, TypeError, OverflowError) as error:
        raise CannotPutBack(f"its own Exif cannot be read ({error})") from error
    raise CannotPutBack("it is no JPEG, PNG or TIFF")


@dataclass(frozen=True, slots=True)
class _Wanted:
    """What is to be said, by directories."""

    main: Values
    exif: Values
    gps: Values


def _composite(slices: int) -> dict[int, Value]:
    """That it is a composite, and of how many: so many were taken, and so many used."""
    count = min(slices, 2**16 - 1).to_bytes(2)
    return {
        piexif.ExifIFD.ExifVersion: (_UNDEFINED, VERSION),
        COMPOSITE: (_SHORT, GENERAL_COMPOSITE.to_bytes(2)),
        SOURCES: (_SHORT, count * 2),
    }


def _sized(size: tuple[int, int] | None) -> dict[int, Value]:
    tags = (piexif.ExifIFD.PixelXDimension, piexif.ExifIFD.PixelYDimension)
    return {tag: (_LONG, side.to_bytes(4)) for tag, side in zip(tags, size or (), strict=False)}


# ---- JPEG and PNG: by the library's own form --------------------------------------------------


def _in_jpeg(data: bytes, wanted: _Wanted) -> Pieces:
    """The Exif segment at its place behind the start, and all other segments as they are."""
    start, stop, own = _segment(data)
    content = _EXIF_HEAD + _block(own, wanted)
    if len(content) > 2**16 - 3:
        raise CannotPutBack("it has more Exif of its own than a segment holds")
    segment = b"\xff\xe1" + (len(content) + 2).to_bytes(2) + content
    view = memoryview(data)
    return [view[:start], segment, view[stop:]]


def _segment(data: bytes) -> tuple[int, int, bytes]:
    """Where the Exif segment stands, or is to stand; and its content, a TIFF of its own.

    JFIF has to come first where it is there, so Exif comes right behind it.
    """
    at = behind = 2
    while data[at : at + 1] == b"\xff" and data[at + 1] not in (0xD9, 0xDA):
        stop = at + 2 + int.from_bytes(data[at + 2 : at + 4])
        content = data[at + 4 : stop]
        if data[at + 1] == _APP1 and content.startswith(_EXIF_HEAD):
            return at, stop, content[len(_EXIF_HEAD) :]
        if at == 2 and data[at + 1] == _APP0:  # noqa: PLR2004  right behind the start
            behind = stop
        at = stop
    return behind, behind, b""


def _in_png(data: bytes, wanted: _Wanted) -> Pieces:
    """The chunk eXIf before the picture data, in the place of one that was there."""
    view, parts, own, at = memoryview(data), [memoryview(data)[:8]], b"", 8
    after: list[memoryview] = []
    while at + 12 <= len(data):
        stop = at + 12 + int.from_bytes(data[at : at + 4])
        kind = data[at + 4 : at + 8]
        if kind == b"eXIf":
            own = data[at + 8 : stop - 4]
        elif kind == b"IDAT":
            after = [view[at:]]
            break
        else:
            parts.append(view[at:stop])
        at = stop
    if not after:
        raise CannotPutBack("it holds no picture data")
    return [*parts, _chunk(_block(own, wanted)), *_without_exif(after[0])]


def _without_exif(view: memoryview) -> Iterator[memoryview]:
    """The chunks from the picture data on, without an eXIf among them: there may be one only."""
    at = begun = 0
    while at + 12 <= len(view):
        stop = at + 12 + int.from_bytes(view[at : at + 4])
        if bytes(view[at + 4 : at + 8]) == b"eXIf":
            yield view[begun:at]
            begun = stop
        at = stop
    yield view[begun:]


def _chunk(content: bytes) -> bytes:
    body = b"eXIf" + content
    return len(content).to_bytes(4) + body + zlib.crc32(body).to_bytes(4)


def _block(own: bytes, wanted: _Wanted) -> bytes:
    """A TIFF of Exif with what was there, less what tells of one slice, and what is wanted."""
    _refuse_endless(own)
    with _TAUGHT:
        was: dict[str, Any] = piexif.load(_EXIF_HEAD + own) if own else {}
    main, exif, gps = (dict(was.get(name, {})) for name in ("0th", "Exif", "GPS"))
    exif.pop(_NOTE, None)
    wanted_main = {t: v for t, v in wanted.main.items() if not (t in _OWN_FIRST and main.get(t))}
    main |= _plain(wanted_main)
    exif |= _plain(wanted.exif)
    directories = {"0th": main, "Exif": exif, "GPS": gps or _plain(wanted.gps)}
    with _TAUGHT:
        block: bytes = piexif.dump(directories)
    return block.removeprefix(_EXIF_HEAD)


def _refuse_endless(own: bytes) -> None:
    """Raises ValueError where an entry says that it has more bytes than all of the Exif.

    The library makes room for each before it looks: one damaged byte of a count cost gigabytes.
    """
    order = "<" if own[:2] == b"II" else ">"  # as the library takes it
    ahead, known = [own[4:8]], set[int]()
    while ahead:
        at = int.from_bytes(ahead.pop(), "big" if order == ">" else "little")
        if not at or at in known or at + 2 > len(own):
            continue
        known.add(at)
        (number,) = struct.unpack_from(f"{order}H", own, at)
        end = min(at + 2 + 12 * number, len(own) - 11)
        for place in range(at + 2, end, 12):
            tag, kind, count = struct.unpack_from(f"{order}HHL", own, place)
            if count * _EACH.get(kind, 1) > len(own):
                raise ValueError(f"{count} values of tag {tag} in {len(own)} bytes")
            if tag in _POINTERS:
                ahead.append(own[place + 8 : place + 12])
        if (
            len(known) == 1
        ):  # behind other directories the library looks for no more, and writes no pointer
            ahead.append(own[at + 2 + 12 * number : at + 6 + 12 * number])


def _plain(values: Values) -> dict[int, object]:
    """Values in the form in which the library takes them."""
    return {tag: _as_python(*value) for tag, value in values.items()}


def _as_python(kind: int, data: bytes) -> object:
    if kind in (_ASCII, _UNDEFINED):
        return data.rstrip(b"\0") if kind == _ASCII else data
    letter = {1: "B", _SHORT: "H", _LONG: "L", _RATIONAL: "L", _SIGNED: "l"}[kind]
    flat = struct.unpack(f">{len(data) // _WIDTHS[kind]}{letter}", data)
    if kind in (_RATIONAL, _SIGNED):
        pairs = tuple(zip(flat[::2], flat[1::2], strict=True))
        return pairs[0] if len(pairs) == 1 else pairs
    return flat[0] if len(flat) == 1 else flat


# ---- TIFF: a new first directory behind all that is there --------------------------------------


@dataclass(frozen=True, slots=True)
class _Form:
    """How numbers stand in the file: the byte order, and the widths of classic TIFF or BigTIFF."""

    order: str
    count: str
    offset: str

    @property
    def entry(self) -> struct.Struct:
        """Tag, type, count, and the field that holds the value or its offset."""
        return struct.Struct(f"{self.order}HH{self.offset}{self.field}s")

    @property
    def field(self) -> int:
        """Bytes of the field."""
        return struct.calcsize(self.order + self.offset)

    def packed(self, letter: str, number: int) -> bytes:
        """The number in this form."""
        return struct.pack(self.order + letter, number)


_ORDERS: Final[Mapping[bytes, _Form]] = {
    b"II*\0": _Form("<", "H", "L"),
    b"MM\0*": _Form(">", "H", "L"),
    b"II+\0": _Form("<", "Q", "Q"),
    b"MM\0+": _Form(">", "Q", "Q"),
}
_Rows: TypeAlias = dict[int, bytes]


def _in_tiff(data: bytes, wanted: _Wanted) -> Pieces:
    """The file with its first directory written again at its end; nothing else is moved.

    Old entries keep their bytes, so that whatever they point to stays where it is.
    """
    form = _ORDERS[data[:4]]
    head_at = 4 if form.offset == "L" else 8
    (first,) = struct.unpack_from(form.order + form.offset, data, head_at)
    rows, following = _rows(data, first, form)
    writer = _Writer(form, len(data))
    rows |= writer.rows({t: v for t, v in wanted.main.items() if not _is_own(t, rows)})
    own = _rows_at(data, rows.get(_EXIF_AT), form)
    own.pop(_NOTE, None)
    rows |= writer.pointer(_EXIF_AT, writer.directory(own | writer.rows(wanted.exif)))
    if _GPS_AT not in rows and wanted.gps:
        rows |= writer.pointer(_GPS_AT, writer.directory(writer.rows(wanted.gps)))
    at = writer.directory(rows, following)
    if form.offset == "L" and writer.end > _MOST_CLASSIC:
        raise CannotPutBack("it is as large as a TIFF can be")
    view, head = memoryview(data), form.packed(form.offset, at)
    return [view[:head_at], head, view[head_at + len(head) :], bytes(writer.behind)]


def _is_own(tag: int, rows: _Rows) -> bool:
    return tag in _OWN_FIRST and tag in rows


def _rows(data: bytes, at: int, form: _Form) -> tuple[_Rows, int]:
    """The entries of a directory by their tags, as they stand; and where the next one is."""
    counted = struct.calcsize(form.order + form.count)
    (count,) = struct.unpack_from(form.order + form.count, data, at)
    width, at = form.entry.size, at + counted
    table = data[at : at + width * count]
    _refuse_cut(table, width * count)
    rows = {
        form.entry.unpack_from(table, n * width)[0]: table[n * width : (n + 1) * width]
        for n in range(count)
    }
    (following,) = struct.unpack_from(form.order + form.offset, data, at + width * count)
    return rows, following


def _refuse_cut(table: bytes, length: int) -> None:
    if not length or len(table) < length:
        raise ValueError("a directory is cut short")


def _rows_at(data: bytes, row: bytes | None, form: _Form) -> _Rows:
    """The entries of the directory that an entry points to; none where there is none that is whole."""
    if row is None:
        return {}
    _, kind, _, field = form.entry.unpack(row)
    letter = form.offset if kind in (_LONG8, _IFD8) else "L"
    try:
        return _rows(data, struct.unpack_from(form.order + letter, field)[0], form)[0]
    except (struct.error, ValueError):
        return {}


class _Writer:
    """Puts values and directories behind a file's end. behind: what is to stand there."""

    def __init__(self, form: _Form, size: int) -> None:
        self._form = form
        self._size = size
        self.behind = bytearray(b"\0" * (-size % 8))

    @property
    def end(self) -> int:
        """Where the next byte comes."""
        return self._size + len(self.behind)

    def rows(self, values: Values) -> _Rows:
        """The entries for these values; what is longer than an entry's field is written now."""
        return {tag: self._row(tag, *value) for tag, value in values.items()}

    def pointer(self, tag: int, at: int) -> _Rows:
        """The entry that points to a directory: LONG in a classic TIFF, LONG8 in a BigTIFF."""
        kind = _LONG if self._form.offset == "L" else _LONG8
        return {tag: self._form.entry.pack(tag, kind, 1, self._form.packed(self._form.offset, at))}

    def directory(self, rows: _Rows, following: int = 0) -> int:
        """Where the directory of these entries stands now."""
        at = self._aligned()
        self.behind += self._form.packed(self._form.count, len(rows))
        self.behind += b"".join(rows[tag] for tag in sorted(rows))
        self.behind += self._form.packed(self._form.offset, following)
        return at

    def _row(self, tag: int, kind: int, data: bytes) -> bytes:
        count = len(data) // _EACH[kind]
        if self._form.order == "<":
            width = _WIDTHS[kind]
            data = b"".join(data[at : at + width][::-1] for at in range(0, len(data), width))
        if len(data) > self._form.field:
            at = self._aligned()
            self.behind += data
            data = self._form.packed(self._form.offset, at)
        return self._form.entry.pack(tag, kind, count, data.ljust(self._form.field, b"\0"))

    def _aligned(self) -> int:
        self.behind += b"\0" * (-self.end % 8)
        return self.end
