"""Maker notes as bytes: Canon, Olympus and OM SYSTEM, Panasonic, Nikon, Sony, Fujifilm, Pentax.

Each maker counts its offsets from another place: Canon, Panasonic and Sony from the start of the
TIFF around the note, the others from the note's own first byte or from a TIFF header within it. So
a note is a function from its position in that TIFF to its bytes.
"""

from __future__ import annotations

import math
import struct
from fractions import Fraction
from typing import TYPE_CHECKING

from cardmaking.tiff import (
    IFD,
    RAT,
    S32,
    SRAT,
    U8,
    U32,
    Block,
    ByteOrder,
    Entry,
    Writer,
    directory,
    tiff,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from datetime import datetime

    from cardmaking.shots import Shot

CM = 100
MM = 1000
FAR_AWAY_CM = 65535
FAR_AWAY_MM = 0xFFFFFFFF


def note(shot: Shot, order: ByteOrder, *, recorded: int = 1) -> Block | None:
    """The maker note that fits the shot's make, or None for a make that is not known here.

    order is that of the TIFF around it (Olympus and OM SYSTEM state their own). recorded is
    Canon's code for the files written: 1 JPEG, 12 CR3, 13 both.
    """
    make = shot.make.upper()
    if make.startswith("CANON"):
        return lambda at: directory(order, canon(shot, order, recorded), at)
    if make.startswith(("OLYMPUS", "OM DIGITAL")):
        return olympus(shot)
    if make.startswith("PANASONIC"):
        return lambda at: panasonic(shot, order, at)
    if make.startswith("SONY"):
        return lambda at: sony(shot, order, at)
    whole = next((own for name, own in PLACELESS.items() if make.startswith(name)), None)
    return None if whole is None else _placeless(whole(shot, order))


def _placeless(data: bytes) -> Block:
    """A note whose bytes are the same wherever it lies."""
    return lambda _at: data


# ---- Canon ----------------------------------------------------------------------------------


def canon(shot: Shot, order: ByteOrder, recorded: int) -> list[Entry]:
    """The entries of a Canon note."""
    w = Writer(order)
    entries = [
        w.words(0x0001, _sized(56, 2, _settings(shot, recorded))),
        w.words(0x0004, _sized(34, 2, _shot_info(shot))),
        w.text(0x0006, shot.model, 32),
        w.text(0x0007, f"Firmware Version {shot.firmware}", 24),
        w.raw(0x0028, shot.identity(), U8),
        w.words(0x0093, _sized(66, 2, _file_info(shot))),
        w.raw(0x0095, _littered(shot.lens), 2),
        w.numbers(0x4053, S32, *_sized(9, 4, _focus_record(shot))),
    ]
    if shot.offset is not None and shot.offset.strip(" :"):
        entries.append(w.numbers(0x0035, S32, *_sized(4, 4, {1: minutes(shot.offset)})))
    return entries


def _sized(count: int, width: int, filled: Mapping[int, int]) -> list[int]:
    """An array whose first word is its own length in bytes, zero where nothing is filled in."""
    return [count * width, *(filled.get(index, 0) for index in range(1, count))]


def _settings(shot: Shot, recorded: int) -> dict[int, int]:
    return {
        1: 2,
        2: 100 if shot.drive == "timer" else 0,
        3: 3 if recorded == 1 else 4,
        4: 16 if shot.flash == "fired" else 0,
        5: 5 if shot.drive == "continuous" else 0,
        7: {"manual": 3, "servo": 1}.get(shot.focus_mode, 0),
        9: recorded,
        18: 2,
        20: 4 if shot.manual_exposure else 3,
        22: 61182,
        23: shot.focal_mm,
        24: shot.focal_mm,
        25: 1,
        29: 1 << 14 if shot.flash == "fired" else 0,
        32: {"manual": 8, "servo": 1}.get(shot.focus_mode, 0),
        50: 1 if shot.bracket == "focus" else 0,
    }


def _shot_info(shot: Shot) -> dict[int, int]:
    aperture = Fraction(round(6 * math.log2(shot.f_number or 1)), 3)
    speed = Fraction(round(-3 * math.log2(shot.exposure)), 3)
    return {
        4: ev_code(aperture),
        5: ev_code(speed),
        6: ev_code(shot.bias),
        16: _aeb_state(shot),
        17: ev_code(shot.aeb_offset),
        21: ev_code(aperture),
        22: ev_code(speed),
        29: 100 if shot.drive == "timer" else 0,
    }


def _aeb_state(shot: Shot) -> int:
    """0 off, 1 to 3 the first three frames, -1 on."""
    if shot.bracket != "exposure":
        return 0
    last_numbered = 3
    return shot.shot_number if 1 <= shot.shot_number <= last_numbered else -1


def _file_info(shot: Shot) -> dict[int, int]:
    by_exposure = shot.bracket == "exposure"
    return {
        3: 1 if by_exposure else 0,
        4: ev_code(shot.aeb_offset),
        5: shot.shot_number if by_exposure else 0,
        19: 1,
        20: _centimetres(shot.far_m),
        21: _centimetres(shot.near_m),
    }


def _focus_record(shot: Shot) -> dict[int, int]:
    if shot.bracket != "focus":
        return {}
    return {
        1: 1,
        2: shot.planned or 0,
        3: shot.step_width,
        5: 1 if shot.result or shot.composite else 0,
        7: shot.flash_interval_s,
    }


def _centimetres(metres: float | None) -> int:
    if metres is None:
        return 0
    return FAR_AWAY_CM if math.isinf(metres) else round(metres * CM)


def _littered(text: str) -> bytes:
    """Text, NUL and what was left in the buffer behind it, 74 bytes in all."""
    return (text.encode()[:72] + b"\0" + b"\x9d\x13\xe8\x41\x07" * 15)[:74]


def ev_code(ev: Fraction) -> int:
    """Canon's number for an EV: 32 a stop, with thirds stored as 12 and 20, halves as 16."""
    whole, rest = divmod(abs(ev), 1)
    part = {Fraction(1, 3): 12, Fraction(2, 3): 20}.get(rest, round(rest * 32))
    return int(math.copysign(1, ev)) * (int(whole) * 32 + part)


def minutes(offset: str) -> int:
    """Minutes east of UTC from text such as ``+01:00``."""
    east = int(offset[1:3]) * 60 + int(offset[4:6])
    return -east if offset.startswith("-") else east


# ---- Olympus, OM SYSTEM ---------------------------------------------------------------------

OLYMPUS_HEAD = b"OLYMPUS\0II\3\0"
OM_HEAD = b"OM SYSTEM\0\0\0II\4\0"
MANUAL_FOCUS = (10, 81)
SINGLE_AF = (0, 65)
CONTINUOUS_AF = (2, 68)


def olympus(shot: Shot, preview: Callable[[int], tuple[int, int]] | None = None) -> Block:
    """An Olympus or OM SYSTEM note, little-endian, with offsets from its own first byte.

    preview tells where the preview lies: from the note's position to (offset from the note,
    bytes).
    """
    head = OLYMPUS_HEAD if shot.make.upper().startswith("OLYMPUS") else OM_HEAD

    def block(at: int) -> bytes:
        shown = preview(at) if preview else None
        return head + directory("<", _olympus_main(shot, shown), len(head))

    return block


def _olympus_main(shot: Shot, shown: tuple[int, int] | None) -> list[Entry]:
    w = Writer("<")
    running = shot.drive == "continuous" or shot.bracket != "off"
    special = (2, shot.shot_number, 0) if running else (0, 0, 0)
    return [
        w.numbers(0x0200, U32, *special),
        w.below(0x2010, _equipment(w, shot), IFD),
        w.below(0x2020, _camera_settings(w, shot, shown), IFD),
        w.below(0x2050, _focus_info(w, shot), IFD),
    ]


def _equipment(w: Writer, shot: Shot) -> list[Entry]:
    return [
        w.raw(0x0000, b"0100"),
        w.text(0x0101, shot.serial.ljust(31)),
        w.numbers(0x0201, U8, 0, 0, 0, 0, 0, 0),
        w.text(0x0203, shot.lens.ljust(31)),
    ]


_MERGES = {"focus": 9, "other": 8}
"""Codes of stacked images: 9 out of a focus bracket, 8 out of shots with a shifted sensor."""


def _camera_settings(w: Writer, shot: Shot, shown: tuple[int, int] | None) -> list[Entry]:
    modes = {"manual": MANUAL_FOCUS, "servo": CONTINUOUS_AF}
    entries = [
        w.raw(0x0000, b"0100"),
        w.words(0x0300, [0]),
        w.words(0x0301, modes.get(shot.focus_mode, SINGLE_AF)),
        w.numbers(0x0308, U8, shot.step_width if shot.bracket == "focus" else 0),
        w.words(0x0600, olympus_drive(shot)),
        w.numbers(0x0804, U32, _MERGES[shot.merging] if shot.result else 0, shot.merged_frames),
    ]
    if shown is not None:
        for tag, number in zip((0x0100, 0x0101, 0x0102), (1, *shown), strict=True):
            entries.append(w.numbers(tag, U32, number))
    return entries


def olympus_drive(shot: Shot) -> list[int]:
    """The six words of the drive array: kind, shot number, bracket bits, 0, shutter, mode code."""
    electronic = 4
    bits = {"off": 0, "exposure": 1 << 0, "focus": 1 << 6}[shot.bracket]
    kind = 5 if bits else int(shot.drive == "continuous")
    mode = {"single": 0x21, "continuous": 0x27, "timer": 0x24}[shot.drive]
    return [kind, shot.shot_number if kind else 0, bits, 0, electronic, mode]


def _focus_info(w: Writer, shot: Shot) -> list[Entry]:
    infinity, nearest = shot.step_limits
    entries = [
        w.raw(0x0000, b"0100"),
        w.words(0x0303, [infinity]),
        w.words(0x0304, [nearest]),
        w.ratios(0x0305, (_millimetres(shot), 10), kind=RAT),
        w.words(0x1201, [int(shot.flash == "fired"), 0]),
    ]
    if shot.focus_step is not None:
        entries.append(w.words(0x0301, [shot.focus_step]))
    return entries


def _millimetres(shot: Shot) -> int:
    """The numerator of the distance: millimetres, whatever the denominator."""
    known = [metres for metres in (shot.near_m, shot.far_m) if metres is not None]
    if not known:
        return 0
    mean = sum(known) / len(known)
    return FAR_AWAY_MM if math.isinf(mean) else round(mean * MM)


# ---- Panasonic ------------------------------------------------------------------------------

PANASONIC_HEAD = b"Panasonic\0\0\0"


def panasonic(shot: Shot, order: ByteOrder, at: int) -> bytes:
    """A Panasonic note for the position at in its TIFF, without a next-directory field."""
    w = Writer(order)
    focus = shot.bracket == "focus"
    entries = [
        w.words(0x0007, [{"manual": 2, "servo": 7}.get(shot.focus_mode, 1)]),
        w.words(0x001C, [2]),
        w.numbers(0x0029, U32, round(shot.uptime_s * 100)),
        w.words(0x002A, [panasonic_burst(shot)]),
        w.numbers(0x002B, U32, shot.shot_number),
        w.words(0x002E, [2 if shot.drive == "timer" else 0]),
        w.words(0x0045, [panasonic_pattern(shot)]),
        w.text(0x0051, shot.lens, 34),
        w.words(0x0076, [shot.merged_frames]),
        w.numbers(0x0096, U8, 3 if focus else 0),
        w.words(0x00BD, [(shot.focus_step or 0) if focus else 0]),
        w.words(0x8007, [2 if shot.flash == "fired" else 1]),
    ]
    head = PANASONIC_HEAD
    return head + directory(order, entries, at + len(head), ended=False)


def panasonic_pattern(shot: Shot) -> int:
    """Panasonic's pattern of an exposure bracket: 1, 3, 5 for 3, 5, 7 frames from the middle.

    One more for those that begin with the darkest frame.
    """
    if shot.bracket != "exposure":
        return 0
    return (shot.aeb_frames or 3) - 2 + shot.aeb_rising


def panasonic_burst(shot: Shot) -> int:
    """Panasonic's burst mode: 0 off, 1 burst, 2 exposure, 3 focus bracket, 17 flash burst."""
    if shot.bracket != "off":
        return {"exposure": 2, "focus": 3}[shot.bracket]
    if shot.drive != "continuous":
        return 0
    return 17 if shot.flash == "fired" else 1


# ---- Nikon ----------------------------------------------------------------------------------

NIKON_HEAD = b"Nikon\0\2\x10\0\0"
ELECTRONIC_SHUTTER = 16
BURST_SLOT = 1 << 29


def nikon(shot: Shot, order: ByteOrder) -> bytes:
    """A Nikon note: behind ten bytes a TIFF of its own. A focus shift leaves no plain mark."""
    w = Writer(order)
    entries = [
        w.raw(0x0001, b"0211"),
        w.words(0x0002, [0, shot.iso]),
        w.text(0x0007, {"manual": "MANUAL", "servo": "AF-C  "}.get(shot.focus_mode, "AF-S  ")),
        w.ratios(0x0019, (round(shot.aeb_offset * 6), 6), kind=SRAT),
        w.text(0x001D, shot.serial),
        w.words(0x0034, [ELECTRONIC_SHUTTER if shot.flash != "fired" else 0]),
        w.ratios(0x0084, *[(shot.focal_mm, 1)] * 2, *[(28, 10)] * 2),
        w.numbers(0x0087, U8, 9 if shot.flash == "fired" else 0),
        w.words(0x0089, [nikon_mode(shot)]),
    ]
    if shot.released:
        entries.append(w.numbers(0x00A7, U32, shot.released))
    if shot.switched_on is not None:
        entries.append(w.raw(0x00B6, _nikon_time(shot.switched_on, order)))
    if shot.burst_first is not None:
        entries.append(w.raw(0x0056, nikon_burst(shot.burst_first, shot.shot_number)))
    return NIKON_HEAD + tiff(order, [entries])


def nikon_mode(shot: Shot) -> int:
    """Nikon's shooting mode: bit 0 continuous, bit 3 self-timer, bit 4 exposure bracketing."""
    running = {"single": 0, "continuous": 1 << 0, "timer": 1 << 3}[shot.drive]
    return running | (1 << 4 if shot.bracket == "exposure" else 0)


def nikon_burst(first: tuple[int, int], number: int) -> bytes:
    """The burst record: version, address of the burst's first file, shot number.

    The address is zero outside a burst; no general-purpose library that is at hand reads more.
    """
    folder, file = first
    address = BURST_SLOT | folder << 19 | file << 5 if number else 0
    return b"0100" + struct.pack("<II", address, number) + b"\0" * 4


def _nikon_time(when: datetime, order: ByteOrder) -> bytes:
    rest = (when.month, when.day, when.hour, when.minute, when.second, 0)
    return struct.pack(f"{order}H6B", when.year, *rest)


# ---- Sony -----------------------------------------------------------------------------------

SONY_HEAD = b"SONY DSC \0\0\0"
NO_LENS_NUMBER = 65535


def sony(shot: Shot, order: ByteOrder, at: int) -> bytes:
    """A Sony note for the position at in its TIFF, without a next-directory field.

    Only the plain tags: no flag of a focus bracket and no distance are known.
    """
    w = Writer(order)
    entries = [
        w.numbers(0x2017, U32, 2 if shot.flash == "fired" else 0),
        w.numbers(0x201B, U8, {"manual": 0, "servo": 3}.get(shot.focus_mode, 2)),
        w.raw(0x202F, b"\0" * 6),
        w.numbers(0xB027, U32, NO_LENS_NUMBER),
        w.words(0xB049, [sony_mode(shot)]),
        w.words(0xB04A, [shot.shot_number]),
    ]
    return SONY_HEAD + directory(order, entries, at + len(SONY_HEAD), ended=False)


def sony_mode(shot: Shot) -> int:
    """Sony's release mode: 0 normal, 2 continuous, 5 exposure bracketing."""
    if shot.bracket == "exposure":
        return 5
    return 2 if shot.drive == "continuous" else 0


# ---- Fujifilm -------------------------------------------------------------------------------

FUJI_HEAD = b"FUJIFILM\x0c\0\0\0"


def fujifilm(shot: Shot, _order: ByteOrder) -> bytes:
    """A Fujifilm note, always little-endian. It tells no focus and no focus bracket."""
    w = Writer("<")
    entries = [
        w.raw(0x0000, b"0130"),
        w.text(0x0010, shot.serial),
        w.words(0x1010, [4 if shot.flash == "fired" else 2]),
        w.words(0x1021, [int(shot.focus_mode == "manual")]),
        w.words(0x1031, [0x300 if shot.manual_exposure else 0x100]),
        w.words(0x1032, [1]),
        w.words(0x1100, [int(shot.bracket == "exposure")]),
        w.words(0x1101, [shot.shot_number]),
        w.numbers(0x1103, U32, 2 if shot.drive == "continuous" else 0),
        w.words(0x1438, [shot.released & 0x7FFF]),
    ]
    return FUJI_HEAD + directory("<", entries, len(FUJI_HEAD))


# ---- Pentax ---------------------------------------------------------------------------------

PENTAX_HEAD = b"PENTAX \0"


def pentax(shot: Shot, order: ByteOrder) -> bytes:
    """A Pentax note in the newer form, with offsets from its own first byte."""
    w = Writer(order)
    head = PENTAX_HEAD + (b"II" if order == "<" else b"MM")
    drive = {"single": (0, 0), "continuous": (1, 0), "timer": (0, 2)}[shot.drive]
    thirds = 3 if shot.bracket == "exposure" else 0
    entries = [
        w.raw(0x0000, bytes((12, 0, 0, 0)), U8),
        w.words(0x000D, [{"manual": 3, "servo": 0x11}.get(shot.focus_mode, 0x10)]),
        w.words(0x0018, [thirds]),
        w.numbers(0x0034, U8, *drive, 0, 0),
        w.text(0x0229, shot.serial),
    ]
    return head + directory(order, entries, len(head))


PLACELESS: Mapping[str, Callable[[Shot, ByteOrder], bytes]] = {
    "NIKON": nikon,
    "FUJIFILM": fujifilm,
    "RICOH": pentax,
    "PENTAX": pentax,
}
"""Notes that carry the place from which their offsets count, by how the make begins."""
