"""Samsung: a directory without a header; no drive mode and no distance of it is known.

Source: general-purpose metadata libraries' tag tables. Some bodies write offsets from the TIFF,
others from the note.
"""

from __future__ import annotations

import re
from typing import Final

from sorter.reading.builder import FactsBuilder
from sorter.reading.makers.form import Note

VERSION: Final = 0x0001
SERIAL: Final = 0xA002
LENS: Final = 0xA003
_VERSION: Final = b"0100"
_SERIAL: Final = re.compile(r"\w{5}.*")
"""What is shorter is no serial number but something else under its tag."""


PADS_MILLISECONDS: Final = "samsung"
"""The make whose fractions of four digits are milliseconds wherever all of a body's begin with 0
(pictures of an SM-G925I, SM-G935L and SM-J327T1)."""


def read(note: Note, builder: FactsBuilder) -> None:
    """Serial number, and the lens's number where no name is written."""
    found = note.from_tiff(0)
    if found is None or found.raw(VERSION) != _VERSION:
        return
    serial, lens = found.text(SERIAL), found.number(LENS)
    builder.serial(serial if _SERIAL.fullmatch(serial) else "")
    builder.lens(f"lens {lens}" if lens else "")
