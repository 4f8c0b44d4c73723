"""Where our own walk finds no Exif, a general-purpose library looks for the standard tags.

It is given at most the first MiB, in memory, and asked for no details.
"""

from __future__ import annotations

import io
import logging
from typing import Any, Final

from sorter.reading import standard
from sorter.reading.draft import Draft
from sorter.reading.source import Source

MOST_BYTES: Final = 1 << 20
BY_LIBRARY: Final = "a format of which only the standard Exif is read"


def read(source: Source, draft: Draft) -> bool:
    """Whether the library found a camera or a time; the draft then holds what it found."""
    tags = _tags(source.read(0, min(MOST_BYTES, source.size)))
    if "Image Make" not in tags and "EXIF DateTimeOriginal" not in tags:
        return False
    said = draft.said
    said["make"], said["model"] = _text(tags, "Image Make"), _text(tags, "Image Model")
    draft.lens(_text(tags, "EXIF LensModel"))
    draft.serial(_text(tags, "EXIF BodySerialNumber"))
    said["exposure_time_s"] = standard.within(
        _ratio(tags, "EXIF ExposureTime"), standard.LONGEST_EXPOSURE_S
    )
    said["f_number"] = standard.within(_ratio(tags, "EXIF FNumber"), standard.LARGEST_F_NUMBER)
    said["focal_length_mm"] = standard.within(
        _ratio(tags, "EXIF FocalLength"), standard.LONGEST_LENS_MM
    )
    said["iso"] = standard.within(_ratio(tags, "EXIF ISOSpeedRatings"), standard.LARGEST_ISO)
    said["width"] = _whole(tags, "EXIF ExifImageWidth")
    said["height"] = _whole(tags, "EXIF ExifImageLength")
    _time(tags, draft)
    draft.notes.append(BY_LIBRARY)
    return True


def _tags(head: bytes) -> dict[str, Any]:
    """What the library makes of these bytes; nothing where it fails in whatever way."""
    import exifread  # noqa: PLC0415 - it is needed for few cards and costs start-up time

    logging.getLogger("exifread").setLevel(logging.CRITICAL)  # it tells of failures on stderr
    try:
        found: dict[str, Any] = exifread.process_file(io.BytesIO(head), details=False)
    except Exception:  # noqa: BLE001 - it raises many kinds on damaged bytes; all mean: no Exif
        return {}
    return found


def _time(tags: dict[str, Any], draft: Draft) -> None:
    for name, fraction, offset in (
        ("EXIF DateTimeOriginal", "EXIF SubSecTimeOriginal", "EXIF OffsetTimeOriginal"),
        ("EXIF DateTimeDigitized", "EXIF SubSecTimeDigitized", "EXIF OffsetTimeDigitized"),
    ):
        texts = _text(tags, name), _text(tags, fraction), _text(tags, offset)
        if standard.take_time(*texts, draft):
            return


def _text(tags: dict[str, Any], name: str) -> str:
    return str(tags[name]).strip() if name in tags else ""


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
