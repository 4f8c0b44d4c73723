"""Values in the words of the table: times, pauses, exposures, distances. Pure."""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable
from typing import Final

from sorter.model.frame import Facts, Frame
from sorter.model.kinds import Kind

ARROW: Final = " \N{RIGHTWARDS ARROW} "
DASH: Final = "\N{EN DASH}"

_UNSEEN: Final = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})
_LONG_EXPOSURE_S: Final = 0.3  # from here on photographers say seconds, not a fraction

_NAMES: Final = {
    Kind.FOCUS_BRACKET: ("focus bracket", "focus brackets"),
    Kind.MANUAL_STACK: ("manual stack", "manual stacks"),
    Kind.EXPOSURE_BRACKET: ("exposure bracket", "exposure brackets"),
    Kind.BURST: ("burst", "bursts"),
    Kind.INTERVAL: ("interval series", "interval series"),
    Kind.SINGLE: ("single", "singles"),
    Kind.MARKER: ("marker", "markers"),
    Kind.CLIP: ("clip", "clips"),
    Kind.UNDATED: ("undated", "undated"),
    Kind.UNREADABLE: ("unreadable", "unreadable"),
    Kind.OTHER: ("other", "other"),
}


def safe(text: str) -> str:
    """The text with everything that moves a cursor, turns the writing or hides, spelled out."""
    if text.isprintable():  # most is, and this is asked of every line
        return text
    return "".join(_spelled(sign) for sign in text)


def _spelled(sign: str) -> str:
    if sign == "\n" or unicodedata.category(sign) not in _UNSEEN:
        return "\\n" if sign == "\n" else sign
    code = ord(sign)
    undecodable = ord("\udc80") <= code <= ord("\udcff")
    if undecodable:
        code -= ord("\udc00")
    return f"\\x{code:02x}" if undecodable or code < ord("Ā") else f"\\u{code:04x}"


def counted(number: int, one: str, many: str) -> str:
    """The number with its noun: 1 file, 2 files."""
    return f"{number} {one if number == 1 else many}"


def amount(size: int) -> str:
    """Bytes in short, in powers of ten as disks are sold: 870 B, 14.2 MB, 1.31 GB."""
    if size < 1000:  # noqa: PLR2004
        return f"{size} B"
    number = float(size)
    for unit in ("kB", "MB", "GB"):
        number /= 1000
        if number < 999.5:  # noqa: PLR2004  it would be shown as the next unit's 1.00
            return f"{number:.3g} {unit}"
    return f"{number / 1000:.4g} TB"


def kinds(number: int, kind: Kind) -> str:
    """So many of a kind: 9 focus brackets."""
    return counted(number, *_NAMES[kind])


def day(frame: Frame) -> str:
    """The date of capture, as ISO 8601."""
    return frame.moment.iso()[:10]


def clock(frame: Frame) -> str:
    """The time of capture to the second."""
    return frame.moment.iso()[11:19]


def took(frames: tuple[Frame, ...]) -> str:
    """From the first exposure's start to the last one's end; empty for a single frame.

    In tenths of a second only where the camera told fractions.
    """
    if len(frames) == 1:
        return ""
    first, last = frames[0].moment, frames[-1].moment
    exposed = frames[-1].facts.exposure_time_s or 0.0
    seconds = (last.local_us - first.local_us) / 1e6 + exposed
    if seconds < 0:
        return ""  # the clock was set back within the series
    return span(seconds, fine=first.digits is not None)


def span(seconds: float, *, fine: bool) -> str:
    """A span of time in short: 4.2 s, 41 s, 3.5 min, 1.2 h."""
    if seconds < 9.95:  # noqa: PLR2004  from here on tenths say nothing
        coarse = f"{seconds:.0f} s" if seconds >= 1 else "< 1 s"
        return f"{seconds:.1f} s" if fine else coarse
    if seconds < 99.5:  # noqa: PLR2004
        return f"{seconds:.0f} s"
    minutes = seconds / 60
    return f"{minutes:.1f} min" if minutes < 99.5 else f"{minutes / 60:.1f} h"  # noqa: PLR2004


def frames(count: int, planned: int | None) -> str:
    """How many frames, and of how many where fewer came than were planned."""
    return f"{count} of {planned}" if planned and count < planned else str(count)


def exposure(seconds: float) -> str:
    """An exposure time as cameras show it: 1/250, 0.5 s, 30 s."""
    if 0 < seconds < _LONG_EXPOSURE_S:
        return f"1/{1 / seconds:.0f}"
    return f"{seconds:g} s"


def exposures(frames: Iterable[Frame]) -> str:
    """The exposure time, or the shortest and the longest."""
    known = [frame.facts.exposure_time_s for frame in frames]
    times = sorted({time for time in known if time is not None and time > 0})
    return _ends([exposure(time) for time in times])


def apertures(frames: Iterable[Frame]) -> str:
    """The f-number, or the smallest and the largest."""
    known = [frame.facts.f_number for frame in frames]
    return _ends([f"{stop:.3g}" for stop in sorted({stop for stop in known if stop})])


def _ends(texts: list[str]) -> str:
    if not texts or texts[0] == texts[-1]:
        return texts[0] if texts else ""
    return f"{texts[0]}{DASH}{texts[-1]}"


def focus_path(frames: tuple[Frame, ...]) -> str:
    """Where focus began and where it ended in order of capture, in metres, else in motor steps."""
    places = [_distance(frame.facts) for frame in frames]
    known_values = [place for place in places if place is not None]
    if known_values:
        return _path(known_values[0], known_values[-1], len(known_values))
    steps = [frame.facts.focus_step for frame in frames]
    known = [step for step in steps if step is not None]
    if not known:
        return ""
    return f"step {known[0]}" + (f"{ARROW}{known[-1]}" if known[-1] != known[0] else "")


def _distance(facts: Facts) -> float | None:
    ends = [end for end in (facts.focus_near_m, facts.focus_far_m) if end is not None]
    return sum(ends) / len(ends) if ends else None


def _path(first: float, last: float, count: int) -> str:
    """Both ends to the centimetre, or to the millimetre where that is what tells them apart."""
    places = 2 if count == 1 or f"{first:.2f}" != f"{last:.2f}" else 3
    one, two = metres(first, places), metres(last, places)
    return f"{metres(first, 2)} m" if one == two else f"{one}{ARROW}{two} m"


def metres(value: float, places: int) -> str:
    """A distance without its unit; the sign for infinity."""
    return "∞" if math.isinf(value) else f"{value:.{places}f}"


def camera(facts: Facts) -> str:
    """The camera by its model alone, without its maker's name."""
    maker = facts.make.split()[0] if facts.make.split() else ""
    model = facts.model.strip()
    if maker and model.casefold().startswith(f"{maker.casefold()} "):
        return model[len(maker) :].strip()
    return model or facts.make
