"""The standard's own tags (CIPA DC-008, TIFF 6.0) to facts."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from sorter.model.kinds import ExposureProgram
from sorter.reading import stray
from sorter.reading.builder import FactsBuilder, FoundFacts
from sorter.reading.directories import Directory
from sorter.reading.moments import SUSPECT, moment_of

MAKE: Final = 0x010F
MODEL: Final = 0x0110
ORIENTATION: Final = 0x0112
EXIF_POINTER: Final = 0x8769
FILE_CHANGE_TIME: Final = 0x0132
UNKNOWN_ISO: Final = 65535
ISO_KIND: Final = 0x8830
ISO_PLACES: Final = {
    1: (0x8831,),
    2: (0x8832,),
    3: (0x8833,),
    4: (0x8832, 0x8831),
    5: (0x8833, 0x8831),
    6: (0x8833, 0x8832),
    7: (0x8833, 0x8832, 0x8831),
}
ISO_ANY: Final = (0x8831, 0x8832, 0x8833)
"""By SensitivityType: which of standard output sensitivity, exposure index, ISO speed are there."""
ALL_ONES: Final = 0xFFFFFFFF
SIGN_BIT: Final = 0x80000000
NOT_SET: Final = "the camera's clock was not set"
OUTSIDE: Final = "outside"

PROGRAMS: Final = {
    1: ExposureProgram.MANUAL,
    2: ExposureProgram.NORMAL,
    3: ExposureProgram.APERTURE,
    4: ExposureProgram.SHUTTER,
    **dict.fromkeys((5, 6, 7, 8), ExposureProgram.SCENE),
}
"""Exif ExposureProgram; 0 is not defined."""

SMALLEST: Final = 1e-6
"""No exposure in seconds, opening, lens in mm, sensitivity or distance in metres is below it."""
LONGEST_EXPOSURE_S: Final = 86_400.0
LARGEST_F_NUMBER: Final = 1_000.0
LARGEST_ISO: Final = 1e8
LONGEST_LENS_MM: Final = 100_000.0
LARGEST_EV: Final = 64.0

_OF_EXIF: Final = frozenset(
    (0x829A, 0x829D, 0x8827, 0x9201, 0x9202, 0x9204, 0x9206, 0x9209, 0x920A, 0xA431, 0xA434)
)
"""Tags of the Exif directory that are looked for in IFD0 too: exposure, distance, flash, identity."""

CAPTURED: Final = 0x9003
TIME_ZONE: Final = 0x882A
FARTHEST_ZONE_H: Final = 14
_TIMES: Final = (
    (CAPTURED, 0x9291, 0x9011),  # DateTimeOriginal, SubSecTimeOriginal, OffsetTimeOriginal
    (0x9004, 0x9292, 0x9012),  # the same of DateTimeDigitized
)


def read(main: Directory | None, exif: Directory | None, builder: FactsBuilder) -> None:
    """Fills the draft with what IFD0 and the Exif directory say."""
    if main is not None:
        _main(main, builder.facts)
    place = _exif_of(main, exif)
    builder.main, builder.exif = main, place
    if place is not None:
        _exposure(place, builder.facts)
        _circumstances(place, builder.facts)
        _identity(place, builder.facts)
    time(main, exif, builder)


def _exif_of(main: Directory | None, exif: Directory | None) -> Directory | None:
    """The Exif directory with what of it stands in IFD0 alone: TIFF/EP and some writers put it there."""
    if exif is None or main is None or _OF_EXIF.isdisjoint(main.entries):
        return main if exif is None else exif
    if main.tiff != exif.tiff:  # offsets of the one mean nothing in the other
        return exif
    strays = {tag: entry for tag, entry in main.entries.items() if tag in _OF_EXIF}
    return replace(exif, entries=strays | exif.entries)


def _main(main: Directory, facts: FoundFacts) -> None:
    facts["make"] = main.text(MAKE)
    facts["model"] = main.text(MODEL)
    orientation = main.number(ORIENTATION)
    if orientation is not None and 1 <= orientation <= 8:
        facts["orientation"] = orientation


def _exposure(exif: Directory, facts: FoundFacts) -> None:
    time_s = within(exif.ratio(0x829A), LONGEST_EXPOSURE_S)
    facts["exposure_time_s"] = time_s or apex_time(exif.ratio(0x9201))
    f_number = within(exif.ratio(0x829D), LARGEST_F_NUMBER)
    facts["f_number"] = f_number or apex_f_number(exif.ratio(0x9202))
    facts["iso"] = iso(exif)
    facts["exposure_bias_ev"] = signed_ev(exif.ratio(0x9204))
    facts["focal_length_mm"] = within(exif.ratio(0x920A), LONGEST_LENS_MM)


def _circumstances(exif: Directory, facts: FoundFacts) -> None:
    flash = exif.number(0x9209)
    if flash is not None:
        facts["flash_fired"] = bool(flash & 1)
    mode = exif.number(0xA402)
    if mode in {0, 1, 2}:
        facts["auto_bracket"] = mode == 2
        facts["exposure_by_hand"] = mode == 1 if mode != 2 else None
    program = PROGRAMS.get(exif.number(0x8822) or 0)
    if program is not None:
        facts["exposure_program"] = program
    distance = subject_distance(exif.ratio(0x9206))
    if distance is not None:
        facts["focus_near_m"] = facts["focus_far_m"] = distance
    if exif.number(0xA460) == 3:
        facts["merged"] = "other"
        sources = exif.number(0xA461)
        facts["merged_from"] = sources or None


def _identity(exif: Directory, facts: FoundFacts) -> None:
    facts["serial"] = stray.serial(exif.text(0xA431))
    facts["lens"] = exif.text(0xA434)  # as written: "----" is what some bodies call any other lens
    facts["width"] = exif.number(0xA002) or None
    facts["height"] = exif.number(0xA003) or None


def time(main: Directory | None, exif: Directory | None, builder: FactsBuilder) -> None:
    """The time of capture, or why there is none.

    Rule: DateTimeOriginal, else DateTimeDigitized; the file-change time (DateTime) only where
    neither of them exists, and with a note.
    """
    stated: list[str] = []
    for tag, fraction, offset in _TIMES:
        # TIFF/EP puts the times into IFD0.
        where = exif if exif is not None and tag in exif else main
        if where is None or tag not in where:
            continue
        zone = where.text(offset) if offset in where else _zone(where, tag)
        if take_time(where.text(tag), where.text(fraction), zone, builder):
            return
        stated.append(where.text(tag) if where.raw(tag) else OUTSIDE)
    if not stated and main is not None:
        _change_time(main, exif, builder)
    elif stated:
        builder.notes.append(_why(stated[0]))


def _zone(where: Directory, tag: int) -> str:
    """The offset in whole hours by which TIFF/EP (ISO 12234-2) tells it, for the time of capture."""
    hours = where.numbers(TIME_ZONE) if tag == CAPTURED else ()
    return f"{hours[0]:+03d}:00" if hours and abs(hours[0]) <= FARTHEST_ZONE_H else ""


def _why(stated: str) -> str:
    """Why a stated time is none."""
    if stated == OUTSIDE:
        return "the capture time cannot be read: it lies outside the file"
    if stated.strip(" :0"):
        return f"the capture time cannot be read: {stated[:40]!r}"
    return NOT_SET


def _change_time(main: Directory, exif: Directory | None, builder: FactsBuilder) -> None:
    fraction, offset = (exif.text(0x9290), exif.text(0x9010)) if exif is not None else ("", "")
    if take_time(main.text(FILE_CHANGE_TIME), fraction, offset, builder):
        builder.notes.append("no capture time: the time of the file's last change stands for it")


def take_time(text: str, fraction: str, offset: str, builder: FactsBuilder) -> bool:
    """Puts the moment into the draft; False where the text tells none."""
    moment = moment_of(text, fraction, offset)
    if moment is None:
        return False
    builder.facts["moment"] = moment
    if len(text) == 18:
        builder.notes.append(SUSPECT)
    return True


def within(ratio: tuple[int, int] | None, largest: float) -> float | None:
    """The quotient where it is neither absurdly small nor absurdly large."""
    if ratio is None or not ratio[1]:
        return None
    value = ratio[0] / ratio[1]
    return value if SMALLEST <= value <= largest else None


def signed(ratio: tuple[int, int] | None) -> float | None:
    """The quotient, with the sign put back that was stored as an unsigned number."""
    if ratio is None or not ratio[1]:
        return None
    above, under = (part - (1 << 32) if part >= SIGN_BIT else part for part in ratio)
    return above / under


def signed_ev(ratio: tuple[int, int] | None) -> float | None:
    """An exposure value that may be negative; None where it is absurd."""
    value = signed(ratio)
    return value if value is not None and abs(value) <= LARGEST_EV else None


def apex_time(ratio: tuple[int, int] | None) -> float | None:
    """Seconds from the APEX time value: t = 2^-Tv (DC-008, annex on APEX)."""
    value = signed_ev(ratio)
    return None if value is None or not -16.5 <= value < 20 else 2.0**-value


def apex_f_number(ratio: tuple[int, int] | None) -> float | None:
    """The f-number from the APEX aperture value: N = 2^(Av/2) (DC-008, annex on APEX)."""
    value = signed_ev(ratio)
    return None if value is None or not 0 < value < 20 else 2.0 ** (value / 2)


def iso(exif: Directory) -> float | None:
    """The sensitivity; 65535 means that it stands in the tags for larger numbers."""
    stated = next((number for number in exif.numbers(0x8827) if number), None)
    if stated is not None and stated != UNKNOWN_ISO:
        return float(stated) if 0 < stated <= LARGEST_ISO else None
    kind = exif.number(ISO_KIND)
    for tag in ISO_PLACES.get(kind or 0, ISO_ANY):
        number = exif.number(tag)
        if number and number <= LARGEST_ISO:
            return float(number)
    return None


def subject_distance(ratio: tuple[int, int] | None) -> float | None:
    """Metres; a numerator of all ones means infinity, zero means unknown (DC-008)."""
    if ratio is None:
        return None
    if ratio[0] in {ALL_ONES, -1}:
        return math.inf
    return within(ratio, 1e6)
