"""Names for TIFF-like raws, which nothing in the container itself tells apart."""

from __future__ import annotations

from typing import Final

_BY_MAKE: Final = (
    ("nikon", "nef"),
    ("sony", "arw"),
    ("pentax", "pef"),
    ("ricoh", "pef"),
    ("samsung", "srw"),
    ("hasselblad", "3fr"),
    ("phase one", "iiq"),
    ("leica", "rwl"),
    ("olympus", "orf"),
    ("canon", "cr2"),
)


def raw_name(make: str) -> str:
    """What raws of this make are called; "raw" for other makes."""
    lowered = make.lower()
    return next((name for start, name in _BY_MAKE if lowered.startswith(start)), "raw")
