"""A host program has its own settings of the libraries that are used here: they are left alone."""

from __future__ import annotations

import copy
import logging
from pathlib import Path
from typing import Any

import cv2
import piexif
import pillow_heif
from PIL import Image

import sorter
from handoff.tidal import stand_in, tidal_card
from writing.cards import picture


def settings() -> dict[str, Any]:
    """All that the work might change of other libraries, and of the process."""
    return {
        "threads": cv2.getNumThreads(),
        "pixels": Image.MAX_IMAGE_PIXELS,
        "formats": (
            list(Image.ID),
            sorted(Image.OPEN),
            sorted(Image.EXTENSION),
            sorted(Image.MIME),
        ),
        "tags": copy.deepcopy(piexif.TAGS),
        "loggers": {name: logging.getLogger(name).level for name in ("exifread", "tifffile")},
        "place": Path.cwd(),
    }


def test_a_whole_evening_changes_nothing_for_its_host(tmp_path: Path) -> None:
    card, shoot = tidal_card(tmp_path / "card"), tmp_path / "shoot"
    still = Image.open(picture(tmp_path / "one.jpg", 5000, side=64))
    pillow_heif.from_pillow(still).save(card / "DCIM/100TIDES/IMG_0090.HEIC")
    (card / "DCIM/100TIDES/IMG_0091.JPG").write_bytes(b"\xff\xd8\xff\xe1\x00\x10Exif\0\0MM\0*junk")
    (card / "DCIM/100TIDES/IMG_0092.3FR").write_bytes(b"II*\0\x08\0\0\0\x01\0" + b"\1" * 40)
    Image.init()
    before = settings()
    sorter.ingest(card, shoot, look=True)
    sorter.check(shoot)
    sorter.hand_off(shoot, run=stand_in("average"), kind="burst")
    sorter.report(shoot)
    sorter.verify(shoot)
    sorter.tally(shoot).to_pandas()
    assert settings() == before
