"""Apple: bursts by a name of their own, the limits of focus, and the time since the last start.

Source: general-purpose metadata libraries' tag tables. That a picture was merged for its dynamic
range is not read: from memory these cameras merge every ordinary picture, so that it sets none apart.
"""

from __future__ import annotations

import math
from typing import Final

from sorter.model.kinds import DriveMode, FocusMode
from sorter.reading.builder import FactsBuilder, FoundFacts
from sorter.reading.directories import Directory
from sorter.reading.makers.form import Note
from sorter.reading.standard import within

HEADER: Final = 14
ORDER_AT: Final = 12
RUN_TIME: Final = 0x0003
BURST: Final = 0x000B
FOCUS_RANGE: Final = 0x000C
CAPTURE_TYPE: Final = 0x0014
FOCUS_POSITION: Final = 0x002F

_BY_HAND: Final = 11
_FARTHEST_M: Final = 1e6
_LONGEST_LIST: Final = 512


def read(note: Note, builder: FactsBuilder) -> None:
    """Fills the draft from a note whose offsets count from its own start."""
    found = note.from_itself(HEADER, note.order_at(ORDER_AT))
    if found is None:
        return
    facts = builder.facts
    burst = found.text(BURST)
    if burst:
        facts["burst_id"] = burst
        facts["drive_mode"] = DriveMode.CONTINUOUS
    if found.number(CAPTURE_TYPE) == _BY_HAND:
        facts["focus_mode"] = FocusMode.MANUAL
    _focus(found, builder)
    _run_time(found.raw(RUN_TIME), facts)


def _focus(found: Directory, builder: FactsBuilder) -> None:
    """The limits of focus in whichever order; the motor's position, of untold direction, without."""
    limits = [_limit(ratio) for ratio in found.ratios(FOCUS_RANGE)]
    position = found.number(FOCUS_POSITION)
    if len(limits) == 2 and None not in limits:
        builder.distance(limits[0], limits[1])
    elif position is not None:
        builder.facts["focus_step"] = position


def _limit(ratio: tuple[int, int]) -> float | None:
    """Metres; more than a thousand kilometres stand for infinity (a picture of an iPhone XR)."""
    above, under = ratio
    far = under > 0 and above > _FARTHEST_M * under
    return math.inf if far else within(ratio, _FARTHEST_M)


def _run_time(listed: bytes, facts: FoundFacts) -> None:
    """The time since the last start, out of a small list of ticks and of ticks to a second."""
    if not listed.startswith(b"bplist") or len(listed) > _LONGEST_LIST:
        return
    import plistlib  # noqa: PLC0415 - few cards need it, and it costs start-up time

    try:
        run = plistlib.loads(listed)
    except (ValueError, TypeError, RecursionError):  # whatever else is wrong it turns into these
        return
    if not isinstance(run, dict):
        return
    ticks, per_second = run.get("value"), run.get("timescale")
    if isinstance(ticks, int) and isinstance(per_second, int) and ticks > 0 and per_second > 0:
        facts["since_power_on_cs"] = ticks * 100 // per_second
