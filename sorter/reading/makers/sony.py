"""Sony: drive and number plain, more behind a substitution that needs no key.

Numbers are those of general-purpose metadata libraries' tag tables. Which mark a focus bracket
leaves is not known. What several records say of drive and number agrees in real files; the plain
tags are asked first, the records where they say nothing.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final, NamedTuple

from sorter.model.kinds import Bracketing, DriveMode, FocusMode
from sorter.reading.builder import FactsBuilder, FoundFacts
from sorter.reading.directories import Directory
from sorter.reading.makers.form import Note, in_life, in_series

SETTINGS: Final = 0x2010
HDR: Final = 0x200A
BODY_BLOCK: Final = 0x3000
FLASH: Final = 0x2017
FOCUS_MODE: Final = 0x201B
PIXEL_SHIFT: Final = 0x202F
COUNTS: Final = 0x9050
SEQUENCE: Final = 0x9400
FOCUS: Final = 0x9402
NEW_SEQUENCE: Final = 0x9416
LENS_NUMBER: Final = 0xB027
OLD_FOCUS_MODE: Final = 0xB042
RELEASE_MODE: Final = 0xB049
SHOT_NUMBER: Final = 0xB04A
COMPACT_FOCUS_MODE: Final = 0xB04E

META_VERSION_AT: Final = 0x34  # in BODY_BLOCK, as text
FOCUS_MODE_AT, AREA_AT, POSITION_AT = 0x16, 0x17, 0x2D  # in FOCUS
_FOCUS_MODE_BITS: Final = 0x7F
_BY_HAND: Final = 255
_NO_FOCUS_RECORDS: Final = frozenset({b"\x05", b"\xff"})
_OTHER_MOUNT: Final = ("DSLR-", "SLT-", "ILCA-", "HV")
_DRIVES: Final = {0: DriveMode.SINGLE, 2: DriveMode.CONTINUOUS}
_BRACKETS: Final = {5: Bracketing.EXPOSURE, 6: Bracketing.OTHER, 8: Bracketing.OTHER}
_FOCUS_MODES: Final = {
    0: FocusMode.MANUAL,
    **dict.fromkeys((2, 3, 4, 6, 7), FocusMode.AUTO),
}
_FOLLOWS: Final = {2: False, 3: True, 7: True}
_OLD_FOLLOWS: Final = {1: False, 2: True, 4: True}
"""Codes of autofocus alone; 4 never rests."""
_OLD_COMPACT: Final = re.compile(
    r"DSC-(?!RX10M4|RX100M5A|RX100M6|RX100M7|RX0M2|RX1RM3|HX9[59])|HDR-AS"
)
"""Compacts until 2018, and action cams, write no focus mode where the other bodies write theirs."""
_NEWER_COMPACT: Final = b"DC7303320222000"
"""What newer compacts name their form of metadata; older ones write 0 for the newer focus mode,
which is none (pictures of a G1, W55, H9 and HX5V in autofocus)."""

# The codes of the records' release mode.
_SINGLE_CODES: Final = frozenset({0, 18})
_CONTINUOUS_CODES: Final = frozenset({1, 5, 17, 19, 26, 27, 29})
_BRACKET_CODES: Final = {
    2: Bracketing.EXPOSURE,
    3: Bracketing.OTHER,
    23: Bracketing.EXPOSURE,
}
_FIXED_BURSTS: Final = frozenset({5, 17})

_TIMER_PLACES: Final = (
    (
        re.compile(
            r"ILCE-(6100|6400|6600|7C|7M3|7RM3A?|7RM4A?|9|9M2)|ZV-1|ZV-E10"
            r"|DSC-(RX0M2|RX10M4|RX100M5A|RX100M6|RX100M7|HX9[59])"
        ),
        0x210,
    ),
    (
        re.compile(
            r"ILCE-(7|7R|7S|7M2|7RM2|7SM2|5000|5100|6000|6300|6500|QX1)|ILCA-(68|77M2|99M2)"
            r"|DSC-(RX0|RX1RM2|RX10|RX10M2|RX10M3|RX100M3|RX100M4|RX100M5|HX[6-9]0V?)"
        ),
        0x218,
    ),
    (re.compile(r"DSC-(RX100M2|QX10|QX100)"), 0x1020),
    (re.compile(r"SLT-A(99|58)V?|ILCE-3[05]00|NEX-(3N|5R|5T|6)|DSC-(RX100|RX1R?)"), 0x1168),
    (re.compile(r"SLT-A(65|77)V?|NEX-(7|VG20E?|5N)"), 0x1134),
    (re.compile(r"SLT-A(37|57)|NEX-F3"), 0x1110),
)
"""Where the self-timer stands in the settings, by model; newer bodies write no such settings.

The release mode stands eight bytes before it, the kind of release twelve.
"""
_MODE_BEFORE, _KIND_BEFORE = 8, 12
_TIMERS: Final = frozenset({1, 2})
_TIMED_KIND: Final = 6
_NOT_AVAILABLE: Final = 65535
_NO_LENS_NUMBERS: Final = frozenset({0, 255, _NOT_AVAILABLE})
_LONGEST_PLAN: Final = 99
_FLASHES: Final = {0: False, 1: True, 2: True, 3: True}

_COUNT_PLACES: Final = (
    (re.compile(r"ILCE-(6700|7CM2|7CR)"), (0x0A, 3)),
    (
        re.compile(
            r"ILCE-(1|6100|6300|6400|6500|6600|7C|7M3|7M4|7RM2|7RM3A?|7RM4A?|7RM5|7SM2|7SM3|9|9M2)"
            r"|ILCA-99M2|ILME-FX3|ZV-E10"
        ),
        (0x3A, 3),
    ),
    (re.compile(r"ILCE-(3[05]00|5000|5100|6000|7|7R|7S|7M2|QX1)|ILCA-(68|77M2)"), (0x32, 2)),
    (re.compile(r"NEX-.*|SLT-.*|HV|Lunar"), (0x32, 3)),
)
"""Where the shutter count stands in its record and in how many bytes, by model.

Little end first. The third byte of the ones with two is none of the count (real pictures of an
ILCE-6000): theirs begins again behind 65535.
"""
_SESSION_COUNTERS: Final = re.compile(
    r"ILCA-(68|77M2|99M2)|ILCE-(5000|5100|6000|6300|6500|7|7M2|7R|7RM2|7S|7SM2|QX1)"
    r"|DSC-(HX350|HX400V|HX60V|HX80|HX90V?|QX30|RX0|RX1RM2|RX10|RX10M2|RX10M3)"
    r"|DSC-(RX100M3|RX100M4|RX100M5|WX220|WX350|WX500)"
)
"""Bodies whose newer sequence record counts the shots since power-up."""
_SHIFTED: Final = re.compile(r"ILCE-7M5")
"""Bodies that write the newer records with other places behind the first fields."""

_MODELS_KEPT: Final = 16
"""A card holds pictures of a few bodies: what is known of each is looked up once."""

_STORED: Final = {plain**3 % 249: plain for plain in range(249)}
PLAIN: Final = bytes(_STORED.get(stored, stored) for stored in range(256))
"""What stands behind each stored byte: the cube modulo 249, turned round."""


class Layout(NamedTuple):
    """Where a sequence record keeps its release mode, frame number, plan and session count."""

    mode: int
    frame: int
    length: int
    session_count: int


_LAYOUTS: Final = {
    **dict.fromkeys((0x07, 0x09, 0x0A), Layout(0x10, 0x08, 0x22, 0x1A)),
    0x0C: Layout(0x10, 0x08, 0x1E, 0x16),
    **dict.fromkeys(
        (0x23, 0x24, 0x26, 0x28, 0x31, 0x32, 0x33, 0x41), Layout(0x09, 0x12, 0x16, 0x0A)
    ),
}
"""By the first byte as stored: bodies of 2011 and 2012, of 2013, and since 2014."""
_NEWER_FROM: Final = 0x23


class Sequence(NamedTuple):
    """What a record says of the series: its release mode, the frame's number, the set length."""

    mode: int | None = None
    frame: int | None = None
    length: int | None = None
    session_count: int | None = None


def read(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from a note with a header of twelve bytes."""
    _fill(note.from_tiff(12), note.model, builder)


def read_bare(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from the note of a raw, which has no header."""
    _fill(note.from_tiff(0), note.model, builder)


def _fill(found: Directory | None, model: str, builder: FactsBuilder) -> None:
    if found is None:
        return
    facts, sequence = builder.facts, _sequence(found, model)
    settings = _Settings(found, model)
    _release(found.number(RELEASE_MODE), sequence, settings, facts)
    facts["shot_number"] = _shot_number(found.number(SHOT_NUMBER), sequence)
    focus = b"" if model.startswith(_OTHER_MOUNT) else found.raw(FOCUS)
    focus = b"" if focus[:1] in _NO_FOCUS_RECORDS else focus
    facts.update(_focused(found, focus, model))
    _position(focus, facts)
    _merged(found, facts)
    facts["counter"] = _count(found, model) or sequence.session_count
    builder.flash(_FLASHES.get(_number(found, FLASH)))
    builder.lens(_lens(_number(found, LENS_NUMBER)))


def _number(found: Directory, tag: int) -> int:
    """The number, or that which stands for none."""
    number = found.number(tag)
    return _NOT_AVAILABLE if number is None else number


def plain(record: bytes, at: int, length: int = 1) -> int | None:
    """The number behind so many stored bytes; None where the record does not reach them."""
    stored = record[at : at + length]
    return int.from_bytes(stored.translate(PLAIN), "little") if len(stored) == length else None


def _sequence(found: Directory, model: str) -> Sequence:
    """What the sequence record says; where its form is unknown, that which newer bodies add."""
    record = found.raw(SEQUENCE)
    layout = _LAYOUTS.get(record[0]) if record else None
    if layout is not None:
        counts = record[0] < _NEWER_FROM or _SESSION_COUNTERS.fullmatch(model)
        return Sequence(
            mode=plain(record, layout.mode),
            frame=plain(record, layout.frame, 4),
            length=plain(record, layout.length),
            session_count=(in_life(plain(record, layout.session_count, 4))) if counts else None,
        )
    if _SHIFTED.fullmatch(model):
        return Sequence()
    record = found.raw(NEW_SEQUENCE)
    return Sequence(mode=plain(record, 0x2B), frame=plain(record, 0x1D, 4))


class _Settings:
    """The settings of a body whose places in them are known; of others nothing is read."""

    def __init__(self, found: Directory, model: str) -> None:
        at = _timer_place(model)
        self._record, self._at = (b"", 0) if at is None else (found.raw(SETTINGS), at)

    @property
    def mode(self) -> int | None:
        """The release mode."""
        return plain(self._record, self._at - _MODE_BEFORE) if self._record else None

    @property
    def is_timed(self) -> bool:
        """Whether the self-timer ran: the plain release mode says single then."""
        if not self._record:
            return False
        kind = plain(self._record, self._at - _KIND_BEFORE)
        return kind == _TIMED_KIND or plain(self._record, self._at) in _TIMERS


def _release(mode: int | None, sequence: Sequence, settings: _Settings, facts: FoundFacts) -> None:
    """Drive and bracketing; a plan only for series whose length is fixed when they begin."""
    code = settings.mode if sequence.mode is None else sequence.mode
    if mode == _NOT_AVAILABLE:
        mode = None
    drive = _DRIVES.get(_by_code(code) if mode is None else mode)
    if drive is DriveMode.SINGLE and settings.is_timed:
        drive = DriveMode.TIMER
    if drive is not None:
        facts["drive_mode"] = drive
    bracket = _BRACKETS.get(-1 if mode is None else mode) or _BRACKET_CODES.get(code or 0)
    if bracket is not None:
        facts["bracketing"] = bracket
    length = sequence.length or 0
    if (bracket is not None or code in _FIXED_BURSTS) and 1 < length <= _LONGEST_PLAN:
        facts["planned"] = length


def _by_code(code: int | None) -> int:
    """The plain release mode of single and continuous shooting by a record's code; -1 for others."""
    if code in _SINGLE_CODES:
        return 0
    return 2 if code in _CONTINUOUS_CODES else -1


def _shot_number(number: int | None, sequence: Sequence) -> int | None:
    """The plain number, else the record's, which counts from zero and says zero of lone frames."""
    if number is not None and number != _NOT_AVAILABLE:
        return in_series(number)
    lone = sequence.length == 1 or sequence.mode in _SINGLE_CODES
    return None if sequence.frame is None or lone else in_series(sequence.frame + 1)


def _focused(found: Directory, focus: bytes, model: str) -> FoundFacts:
    """Who turned the focus, and whether autofocus went on: by its own tag, else by the record."""
    if _OLD_COMPACT.match(model):
        facts = _focused_compact(found)
    else:
        facts = _focused_by(_number(found, FOCUS_MODE))
    if facts:
        return facts
    if plain(focus, AREA_AT) == _BY_HAND:
        return {"focus_mode": FocusMode.MANUAL}
    stated = plain(focus, FOCUS_MODE_AT)
    return {} if stated is None else _focused_by(stated & _FOCUS_MODE_BITS)


def _focused_compact(found: Directory) -> FoundFacts:
    """By the tag of newer compacts where it is one, else by that of older ones."""
    version = found.raw(BODY_BLOCK)[META_VERSION_AT:][: len(_NEWER_COMPACT)]
    if version == _NEWER_COMPACT:
        return _focused_by(_number(found, COMPACT_FOCUS_MODE))
    old = _number(found, OLD_FOCUS_MODE)
    if old not in _OLD_FOLLOWS:
        return {}
    return {"focus_mode": FocusMode.AUTO, "focus_follows": _OLD_FOLLOWS[old]}


def _focused_by(code: int) -> FoundFacts:
    mode = _FOCUS_MODES.get(code)
    return {} if mode is None else {"focus_mode": mode, "focus_follows": _FOLLOWS.get(code)}


def _position(focus: bytes, facts: FoundFacts) -> None:
    """A code in 256 coarse steps that grows toward far. Good for order, not for distance."""
    position = plain(focus, POSITION_AT)
    if position is not None:
        facts["focus_step"] = position
        facts["step_nearward"] = False


def _merged(found: Directory, facts: FoundFacts) -> None:
    hdr, shift = found.number(HDR), found.raw(PIXEL_SHIFT)
    if hdr is not None and hdr >> 16 == 1:
        facts["merged"] = "exposure"
    elif len(shift) == 6 and shift[5]:
        _shifted(shift, facts)


def _shifted(shift: bytes, facts: FoundFacts) -> None:
    """A picture merged out of shots with a shifted sensor (number 0), or one of those shots."""
    group, number, total = shift[:4], shift[4], shift[5]
    if number == 0:
        facts["merged"] = "other"
        facts["merged_from"] = total
    elif number <= total:
        facts["bracketing"] = Bracketing.OTHER
        facts["shot_number"], facts["planned"] = number, total
        facts["burst_id"] = group.hex() if any(group) else ""


def _count(found: Directory, model: str) -> int | None:
    """The shutter count, of which some bodies leave out what is shot without the shutter."""
    place = _count_place(model)
    return None if place is None else in_life(plain(found.raw(COUNTS), *place))


@lru_cache(maxsize=_MODELS_KEPT)
def _timer_place(model: str) -> int | None:
    return next((at for models, at in _TIMER_PLACES if models.fullmatch(model)), None)


@lru_cache(maxsize=_MODELS_KEPT)
def _count_place(model: str) -> tuple[int, int] | None:
    return next((place for models, place in _COUNT_PLACES if models.fullmatch(model)), None)


def _lens(number: int) -> str:
    return "" if number in _NO_LENS_NUMBERS else f"lens {number}"
