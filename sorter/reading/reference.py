"""A slice's standard tags, as they are put back into what was merged from it.

Tags and types: CIPA DC-008-2019 (Exif 2.32), tables 4 to 8 and 15. Only these are taken: what tells of
the camera, the lens, the exposure, the time, the place and who took it. Not the maker's note, not the
thumbnail, and nothing that differs from slice to slice, such as the distance.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Final

from sorter.model.card import CardFile
from sorter.model.frame import Facts
from sorter.model.reference import Reference, Value
from sorter.reading.cards import read_source
from sorter.reading.directories import Directory, below
from sorter.reading.source import Source

ASCII: Final = 2
SHORT: Final = 3
LONG: Final = 4
RATIONAL: Final = 5
UNDEFINED: Final = 7
SIGNED_RATIONAL: Final = 10
BYTE: Final = 1
_WIDTHS: Final = {
    BYTE: 1,
    ASCII: 1,
    SHORT: 2,
    LONG: 4,
    RATIONAL: 4,
    UNDEFINED: 1,
    SIGNED_RATIONAL: 4,
}
_MOST_BYTES: Final = (
    2_000  # of one value: a copyright is no novel, and a JPEG's segment holds 64 KiB
)
_GPS: Final = 0x8825

_MAIN: Final = {
    0x010E: ASCII,  # ImageDescription
    0x010F: ASCII,  # Make
    0x0110: ASCII,  # Model
    0x013B: ASCII,  # Artist
    0x8298: ASCII,  # Copyright
}
_EXIF: Final = {
    0x829A: RATIONAL,  # ExposureTime
    0x829D: RATIONAL,  # FNumber
    0x8822: SHORT,  # ExposureProgram
    0x8827: SHORT,  # PhotographicSensitivity
    0x8830: SHORT,  # SensitivityType
    0x8831: LONG,  # StandardOutputSensitivity
    0x8832: LONG,  # RecommendedExposureIndex
    0x8833: LONG,  # ISOSpeed
    0x9003: ASCII,  # DateTimeOriginal
    0x9004: ASCII,  # DateTimeDigitized
    0x9010: ASCII,  # OffsetTime
    0x9011: ASCII,  # OffsetTimeOriginal
    0x9012: ASCII,  # OffsetTimeDigitized
    0x9201: SIGNED_RATIONAL,  # ShutterSpeedValue
    0x9202: RATIONAL,  # ApertureValue
    0x9204: SIGNED_RATIONAL,  # ExposureBiasValue
    0x9205: RATIONAL,  # MaxApertureValue
    0x9207: SHORT,  # MeteringMode
    0x9208: SHORT,  # LightSource
    0x9209: SHORT,  # Flash
    0x920A: RATIONAL,  # FocalLength
    0x9291: ASCII,  # SubSecTimeOriginal
    0x9292: ASCII,  # SubSecTimeDigitized
    0xA402: SHORT,  # ExposureMode
    0xA403: SHORT,  # WhiteBalance
    0xA405: SHORT,  # FocalLengthIn35mmFilm
    0xA430: ASCII,  # CameraOwnerName
    0xA431: ASCII,  # BodySerialNumber
    0xA432: RATIONAL,  # LensSpecification
    0xA433: ASCII,  # LensMake
    0xA434: ASCII,  # LensModel
    0xA435: ASCII,  # LensSerialNumber
}
_PLACE: Final = {
    0x0000: BYTE,
    0x0001: ASCII,
    0x0002: RATIONAL,
    0x0003: ASCII,
    0x0004: RATIONAL,
    0x0005: BYTE,
    0x0006: RATIONAL,
    0x0007: RATIONAL,
    0x0012: ASCII,
    0x001D: ASCII,
}
_TIMES: Final = frozenset({0x9003, 0x9004})
_CLOCK: Final = "0000:00:00 00:00:00"


def read_reference(source: Source) -> Reference:
    """What the picture says, of whatever form it is; empty where it says nothing.

    Where it has no Exif directories that we can walk, what was read of it otherwise stands in. It
    never raises, and takes no more of the file than reading it does.
    """
    builder = read_source(source, CardFile(path="", size=source.size))
    main, exif = builder.main, builder.exif
    facts = _of_facts(builder.built())
    place = builder.gps or (below(main, _GPS) if main is not None else None)
    return Reference(
        main={**facts.main, **_taken(main, _MAIN)},
        exif={**facts.exif, **_taken(exif, _EXIF)},
        gps=_taken(place, _PLACE),
    )


def _taken(found: Directory | None, wanted: dict[int, int]) -> dict[int, Value]:
    """The wanted values that are there in their proper type, and not empty."""
    if found is None:
        return {}
    values = ((tag, _value(found, tag, kind)) for tag, kind in wanted.items())
    return {tag: value for tag, value in values if value is not None}


def _value(found: Directory, tag: int, kind: int) -> Value | None:
    entry = found.entries.get(tag)
    if entry is None or entry[0] != kind or not 0 < entry[2] <= _MOST_BYTES:
        return None
    data = found.raw(tag)
    if kind == ASCII:
        return _text_value(tag, data)
    return (kind, _turned(data, _WIDTHS[kind], found.tiff.order)) if data else None


def _text_value(tag: int, data: bytes) -> Value | None:
    """A text up to its first NUL; none where it says nothing (also `   :  `), or a time that is none."""
    text = data.split(b"\0", 1)[0]
    if not text.strip(b" :") or (tag in _TIMES and not _is_time(text)):
        return None
    return ASCII, text + b"\0"


def _is_time(text: bytes) -> bool:
    """Whether it has the form that the standard gives to times, and is not the empty one."""
    form = text.decode("latin-1")
    same = all(a.isdigit() if b == "0" else a == b for a, b in zip(form, _CLOCK, strict=False))
    return len(form) == len(_CLOCK) and same and any(sign in "123456789" for sign in form)


def _turned(data: bytes, width: int, order: str) -> bytes:
    """The value's numbers with their highest bytes first."""
    if order == ">" or width == 1:
        return data
    return b"".join(data[at : at + width][::-1] for at in range(0, len(data), width))


# ---- out of what was read ---------------------------------------------------------------------


def _of_facts(facts: Facts) -> Reference:
    """The facts as standard tags."""
    exif: dict[int, Value] = {}
    if facts.moment is not None:
        exif |= _of_time(facts.moment.iso())
    ratios = {0x829A: facts.exposure_time_s, 0x829D: facts.f_number, 0x920A: facts.focal_length_mm}
    for tag, number in ratios.items():
        if number is not None and 0 < number < 2**31:
            exif[tag] = (RATIONAL, _ratio(number))
    if facts.iso is not None and 0 < facts.iso < 2**16:
        exif[0x8827] = (SHORT, round(facts.iso).to_bytes(2))
    exif |= _texts({0xA431: facts.serial, 0xA434: facts.lens})
    return Reference(main=_texts({0x010F: facts.make, 0x0110: facts.model}), exif=exif)


def _of_time(iso: str) -> dict[int, Value]:
    """Time, fraction and offset out of ISO 8601."""
    clock = iso[:19].replace("-", ":").replace("T", " ")
    rest = iso[19:]
    fraction = rest[1:].split("+")[0].split("-")[0].rstrip("Z") if rest.startswith(".") else ""
    offset = rest[len(fraction) + 1 if fraction else 0 :]
    return _texts({0x9003: clock, 0x9291: fraction, 0x9011: offset if ":" in offset else ""})


def _texts(texts: dict[int, str]) -> dict[int, Value]:
    return {tag: (ASCII, text.encode() + b"\0") for tag, text in texts.items() if text}


def _ratio(number: float) -> bytes:
    ratio = Fraction(number).limit_denominator(1_000_000)
    if not 0 < ratio.numerator < 2**32:
        ratio = Fraction(max(1, round(number)))
    return ratio.numerator.to_bytes(4) + ratio.denominator.to_bytes(4)
