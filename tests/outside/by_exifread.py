"""What exifread says of a file, brought to our fields: the standard's tags alone."""

from __future__ import annotations

import logging
from functools import cache
from pathlib import Path
from typing import Any

import exifread

from outside import fields
from outside.fields import Value, Values, known
from outside.standard_tags import standard


@cache
def tells(path: Path) -> Values:
    """What exifread knows; nothing where it fails, in whatever way."""
    logging.getLogger("exifread").setLevel(logging.CRITICAL)  # it tells of failures on stderr
    try:
        with path.open("rb") as file:
            tags = exifread.process_file(file, details=False)
    except Exception:  # noqa: BLE001 - it raises many kinds on what it does not understand
        return {}
    return known(_values(tags))


def _values(tags: dict[str, Any]) -> dict[str, Value | None]:
    def get(name: str) -> str:
        found = tags.get(f"EXIF {name}") or tags.get(f"Image {name}")
        return "" if found is None else _text(found.values)

    found = standard(get)
    known_camera = found[fields.MAKE] or found.get(fields.TIME)
    return found if known_camera else {}


def _text(values: Any) -> str:  # noqa: ANN401 - whatever type the tag has
    """The first value, rationals as they stand."""
    if isinstance(values, str):
        return values.strip()
    first = values[0] if values else ""
    above, under = getattr(first, "num", None), getattr(first, "den", None)
    return str(first).strip() if above is None else f"{above}/{under}"
