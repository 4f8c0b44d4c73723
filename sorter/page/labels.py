"""Figures and times as people write them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from typing import Final

from sorter.model.kinds import Kind
from sorter.model.row import Row

_UNITS: Final = ("B", "kB", "MB", "GB", "TB")
_SHORT: Final = 0.4
"""Seconds below which an exposure is written as a fraction, as cameras do it."""


def label(kind: Kind) -> str:
    """A kind in words."""
    return str(kind).replace("-", " ")


def counted(count: int, one: str, more: str = "") -> str:
    """1 frame, 2 frames."""
    return f"{count:,} {one if count == 1 else more or one + 's'}"


def moment(row: Row) -> datetime | None:
    """When a frame was taken, by the camera's clock; None where that is not known."""
    try:
        return datetime.fromisoformat(row.captured)
    except ValueError:
        return None


def comparable(moments: Iterable[datetime | None]) -> list[datetime | None]:
    """The moments so that they can be compared: without their offsets where one of them has none."""
    every = list(moments)
    if all(each is None or each.tzinfo for each in every):
        return [None if each is None else each.astimezone(UTC) for each in every]
    return [None if each is None else each.replace(tzinfo=None) for each in every]


def clock(when: datetime | None) -> str:
    """The time of day, with tenths where the camera gave a fraction."""
    if when is None:
        return ""
    tenths = f".{when.microsecond // 100_000}" if when.microsecond else ""
    return f"{when:%H:%M:%S}{tenths}"


def span(first: datetime | None, last: datetime | None) -> str:
    """From when to when: the day once, and the times of day."""
    if first is None or last is None:
        return ""
    if first.date() != last.date():
        return f"{first:%Y-%m-%d %H:%M:%S} to {last:%Y-%m-%d %H:%M:%S}"
    start = f"{first:%Y-%m-%d %H:%M:%S}"
    return start if f"{last:%H:%M:%S}" == f"{first:%H:%M:%S}" else f"{start} to {last:%H:%M:%S}"


def metres(value: float) -> str:
    """A distance in metres, to the centimetre below ten."""
    if math.isinf(value):
        return "∞"
    return f"{value:.2f}" if value < 10 else f"{value:.3g}"  # noqa: PLR2004  metres


def focus(row: Row) -> str:
    """Where a frame is focused, as far as the camera told."""
    near, far = row.focus_near_m, row.focus_far_m
    if near is None or far is None:
        return ""
    one, two = metres(near), metres(far)
    return f"{one} m" if one == two else f"{one} to {two} m"


def exposure(seconds: float) -> str:
    """An exposure time."""
    return f"1/{round(1 / seconds)} s" if 0 < seconds < _SHORT else f"{seconds:.3g} s"


def size(count: int) -> str:
    """Bytes in decimal units."""
    value, unit = float(count), 0
    while value >= 999.5 and unit < len(_UNITS) - 1:  # noqa: PLR2004  rounds to a thousand
        value, unit = value / 1000, unit + 1
    return f"{value:.3g} {_UNITS[unit]}"


def setting(rows: Iterable[Row]) -> tuple[str, ...]:
    """Camera, lens and exposure of frames; what differs between them is said as from and to."""
    every = list(rows)
    first = every[0]
    known = [
        " ".join(part for part in (first.camera, first.serial) if part),
        first.lens,
        _range([row.focal_length_mm for row in every], lambda v: f"{v:g} mm"),
        _range([row.f_number for row in every], lambda v: f"f/{v:g}"),
        _range([row.exposure_time_s for row in every], exposure),
        _range([row.iso for row in every], lambda v: f"ISO {v:g}"),
        {"fired": "flash fired", "off": ""}.get(first.flash, ""),
        f"{first.focus_mode} focus" if first.focus_mode else "",
    ]
    return tuple(part for part in known if part)


def _range(values: list[float | None], write: Callable[[float], str]) -> str:
    known = [value for value in values if value is not None]
    if not known:
        return ""
    low, high = write(min(known)), write(max(known))
    return low if low == high else f"{low} to {high}"
