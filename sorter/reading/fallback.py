"""Where our own walk finds no Exif, a general-purpose library looks for the standard tags.

It is given at most the first MiB, in memory, and asked for no details. It bounds no list by itself
(hostile bytes keep it busy for minutes), so that what it may read of those bytes is counted.
"""

from __future__ import annotations

import io
import logging
from typing import Any, Final

from sorter.model.borrowed import Borrowed, Restore
from sorter.reading import standard
from sorter.reading.builder import FactsBuilder
from sorter.reading.directories import printable
from sorter.reading.source import Source

MOST_BYTES: Final = 1 << 20
MOST_READS: Final = 4000
"""It reads field by field: ordinary pictures take it some hundred reads, the richest about 1000."""
BY_LIBRARY: Final = "a format of which only the standard Exif is read"


def read(source: Source, builder: FactsBuilder) -> bool:
    """Whether the library found a camera or a time; the draft then holds what it found."""
    tags = _tags(source.read(0, min(MOST_BYTES, source.size)))
    if "Image Make" not in tags and "EXIF DateTimeOriginal" not in tags:
        return False
    facts = builder.facts
    facts["make"], facts["model"] = _text(tags, "Image Make"), _text(tags, "Image Model")
    builder.lens(_text(tags, "EXIF LensModel"))
    builder.serial(_text(tags, "EXIF BodySerialNumber"))
    facts["exposure_time_s"] = standard.within(
        _ratio(tags, "EXIF ExposureTime"), standard.LONGEST_EXPOSURE_S
    )
    facts["f_number"] = standard.within(_ratio(tags, "EXIF FNumber"), standard.LARGEST_F_NUMBER)
    facts["focal_length_mm"] = standard.within(
        _ratio(tags, "EXIF FocalLength"), standard.LONGEST_LENS_MM
    )
    facts["iso"] = standard.within(_ratio(tags, "EXIF ISOSpeedRatings"), standard.LARGEST_ISO)
    facts["width"] = _whole(tags, "EXIF ExifImageWidth")
    facts["height"] = _whole(tags, "EXIF ExifImageLength")
    _time(tags, builder)
    builder.notes.append(BY_LIBRARY)
    return True


def _silence() -> Restore:
    """The library tells of failures on stderr, which are not ours to print."""
    logger = logging.getLogger("exifread")
    level = logger.level
    logger.setLevel(logging.CRITICAL)
    return lambda: logger.setLevel(level)


_QUIET: Final = Borrowed(_silence)


def _tags(head: bytes) -> dict[str, Any]:
    """What the library makes of these bytes; nothing where it fails in whatever way."""
    import exifread  # noqa: PLC0415 - it is needed for few cards and costs start-up time

    try:
        with _QUIET:
            found: dict[str, Any] = exifread.process_file(
                _Counted(head), details=False, extract_thumbnail=False
            )
    except Exception:  # noqa: BLE001 - it raises many kinds on damaged bytes; all mean: no Exif
        return {}
    return found


class _Counted(io.BytesIO):
    """Bytes as a file that raises once too many reads, or too many bytes in all, were asked of it."""

    def __init__(self, data: bytes) -> None:
        super().__init__(data)
        self.reads_left = MOST_READS
        self.bytes_left = MOST_BYTES

    def read(self, size: int | None = -1, /) -> bytes:
        """The next bytes."""
        data = super().read(size)
        self.reads_left -= 1
        self.bytes_left -= len(data)
        if self.reads_left < 0 or self.bytes_left < 0:
            raise _TooMuchError
        return data


class _TooMuchError(Exception):
    """The library read more than it may."""


def _time(tags: dict[str, Any], builder: FactsBuilder) -> None:
    for name, fraction, offset in (
        ("EXIF DateTimeOriginal", "EXIF SubSecTimeOriginal", "EXIF OffsetTimeOriginal"),
        ("EXIF DateTimeDigitized", "EXIF SubSecTimeDigitized", "EXIF OffsetTimeDigitized"),
    ):
        texts = _text(tags, name), _text(tags, fraction), _text(tags, offset)
        if standard.take_time(*texts, builder):
            return


def _text(tags: dict[str, Any], name: str) -> str:
    return printable(str(tags[name])) if name in tags else ""


def _ratio(tags: dict[str, Any], name: str) -> tuple[int, int] | None:
    """The first value as numerator and denominator."""
    values = getattr(tags.get(name), "values", None)
    value = values[0] if isinstance(values, list) and values else None
    if isinstance(value, int):
        return value, 1
    above, under = getattr(value, "num", None), getattr(value, "den", None)
    return (above, under) if isinstance(above, int) and isinstance(under, int) else None


def _whole(tags: dict[str, Any], name: str) -> int | None:
    ratio = _ratio(tags, name)
    return ratio[0] if ratio is not None and ratio[1] == 1 and ratio[0] > 0 else None
