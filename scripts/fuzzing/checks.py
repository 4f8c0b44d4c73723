"""What must hold for whatever bytes: no exception, bounded work, and nothing but sane facts."""

from __future__ import annotations

import math
import traceback
from collections.abc import Iterator
from contextlib import AbstractContextManager
from typing import Final
from unittest.mock import patch

from sorter.model.allowance import MOST_HANDED, MOST_STEPS
from sorter.model.card import CardFile
from sorter.model.values import Moment, Preview
from sorter.reading import cards, fallback
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers.recognise import recognise
from sorter.reading.source import Memory

MOST_READS: Final = 4 * MOST_STEPS
"""Reads of one file: a step costs its walk four at most."""
MOST_READ: Final = MOST_HANDED + fallback.MOST_BYTES + MOST_STEPS * 64
"""Bytes of one file: long values, what the library is given, and a step's own fields."""
MOST_NOTES: Final = 12
LONGEST_NOTE: Final = 200
LONGEST_TEXT: Final = 200
_FIRST_S: Final = -62135596800
_LAST_S: Final = 253402300799
"""The years 1 to 9999, which are all that four digits can tell, in seconds from 1970."""
_RANGES: Final[dict[str, tuple[float, float]]] = {
    "focal_length_mm": (1e-6, 1e5),
    "f_number": (1e-6, 1100),
    "exposure_time_s": (9e-7, 1e5),
    "iso": (1e-6, 1e8),
    "exposure_bias_ev": (-64, 64),
    "bracket_offset_ev": (-64, 64),
    "shot_number": (1, 0xFFFFFFFF),
    "planned": (1, 0xFFFFFFFF),
    "counter": (1, 0xFFFFFFFF),
    "focus_near_m": (1e-6, math.inf),
    "focus_far_m": (1e-6, math.inf),
    "focus_step": (-0x80000000, 0xFFFFFFFF),
    "merged_from": (1, 0xFFFFFFFF),
    "orientation": (1, 8),
    "width": (1, 0xFFFFFFFF),
    "height": (1, 0xFFFFFFFF),
}
_TEXTS: Final = frozenset({"make", "model", "serial", "lens", "burst_id", "merged"})


class Counted(Memory):
    """Bytes that count what is asked of them."""

    __slots__ = ("reads", "taken")

    def __init__(self, data: bytes, head_size: int | None) -> None:
        super().__init__(data, head_size)
        self.reads = self.taken = 0

    def read(self, offset: int, length: int) -> bytes:
        """The bytes from offset on, at most length of them."""
        self.reads += 1
        found = super().read(offset, length)
        self.taken += len(found)
        return found


def read(source: Memory, name: str) -> FactsBuilder:
    """What the reader makes of the file, by the way that a card's files go."""
    return cards.read_source(source, CardFile(path=name, size=source.size))


def faults(source: Counted, name: str, draft: FactsBuilder) -> Iterator[str]:
    """Everything that must not be so."""
    if cards.NOT_UNDERSTOOD in draft.notes:
        yield _caught(source, name)
    if source.reads > MOST_READS or source.taken > MOST_READ:
        yield f"{source.reads} reads of {source.taken} bytes"
    said = draft.facts
    for field, value in said.items():
        if value is not None and not _is_sane(field, value):
            yield f"{field} is {value!r}"
    near, far = said.get("focus_near_m"), said.get("focus_far_m")
    if (near is None) != (far is None) or (near is not None and far is not None and near > far):
        yield f"near is {near!r}, far is {far!r}"
    if len(draft.notes) > MOST_NOTES or not all(map(_is_note, draft.notes)):
        yield f"notes are {draft.notes!r}"
    for preview in draft.previews:
        if not _lies_within(preview, source.size):
            yield f"a preview is {preview!r} of {source.size} bytes"


def _caught(source: Counted, name: str) -> str:
    """What the card's loop caught as a last resort: the reader is asked again, without the net."""
    again = Memory(source.read(0, source.size))
    found = recognise(again)
    try:
        if found is not None and found.read is not None:
            found.read(again, FactsBuilder(container=found.name))
    except Exception as error:  # noqa: BLE001 - whatever it is, it is what we look for
        return said_of(error)
    return f"{name}: an exception that does not come again"


def said_of(error: Exception) -> str:
    """An exception and where it was raised."""
    last = traceback.extract_tb(error.__traceback__)[-1]
    return f"{type(error).__name__}: {error} ({last.filename.rpartition('/')[2]}:{last.lineno})"


def _is_sane(field: str, value: object) -> bool:
    if field in _TEXTS:
        return isinstance(value, str) and value.isprintable() and len(value) <= LONGEST_TEXT
    bounds = _RANGES.get(field)
    if bounds is not None:
        return isinstance(value, (int, float)) and bounds[0] <= value <= bounds[1]
    return not isinstance(value, Moment) or _is_moment(value)


def _is_moment(moment: Moment) -> bool:
    digits, offset = moment.digits, moment.offset_min
    plain = digits is None or (digits.isascii() and digits.isdigit())
    within = _FIRST_S <= moment.local_s <= _LAST_S
    return plain and within and (offset is None or abs(offset) <= 15 * 60)


def _is_note(note: object) -> bool:
    return isinstance(note, str) and 0 < len(note) <= LONGEST_NOTE and note.isprintable()


def _lies_within(preview: Preview, size: int) -> bool:
    start, length = preview.offset, preview.length
    return start >= 0 and 0 < length <= size - start and preview.width >= 0 <= preview.height


def without_library() -> AbstractContextManager[object]:
    """As long as this lasts, the general-purpose library is not asked: it is slow."""
    return patch.object(fallback, "read", _nothing)


def _nothing(_source: Memory, _draft: FactsBuilder) -> bool:
    return False
