"""What two neighbouring frames of a timeline say about each other, as numbers.

An Observation is one frame seen from the timeline; a Transition is the step from one to the next. Pauses run
from the end of one exposure to the start of the next, so a long exposure is no pause.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from enum import Enum
from operator import attrgetter
from typing import Final

from sorter.grouping.timeline import Timeline, counter_step
from sorter.model.frame import Facts, Frame
from sorter.model.kinds import Bracketing
from sorter.model.values import MICROSECONDS

SHORTEST_PAUSE_S = 0.02  # below this a pause is read-out, not rhythm
SAME_EV = 0.12  # nominal speeds are rounded: CIPA DC-008 APEX values differ by up to this
_LARGE_TURN = 0.25  # a quarter of the distance in one step is no slice of a macro stack
_WIDE_TURN = 0.12  # an eighth of it hardly is one
_WAVER = 0.012  # a lens reads its far distances coarsely: by a hundredth or so
_MOST_MISSING = 30  # more frames in a row are not deleted out of a series
_CENTIMETRE = 0.0101  # distances of whole centimetres may waver by one


class FocusMove(Enum):
    """How focus moved from one frame to the next."""

    UNKNOWN = "unknown"
    TIE = "tie"
    FARTHER = "farther"
    NEARER = "nearer"


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """One frame as the models see it: seconds from the timeline's start, focus, exposure.

    focus: grows toward far; in motor steps where in_steps, else in negative dioptres (-1/m).
    ev: relative exposure log2(t ISO / N²), brighter is larger; None where a part is unknown.
    intended_ev: what the camera says that it changed on purpose (bracket offset, else bias).
    shot: the camera's own number within a series, from 1; None where it says none, or none above 1
    in the whole timeline, which then counts nothing.
    """

    frame: Frame
    facts: Facts
    start_us: int
    exposure_s: float
    grain_s: float
    focus: float | None
    in_steps: bool
    ev: float | None
    intended_ev: float | None
    shot: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Transition:
    """The step between two neighbouring observations.

    pause_lo, pause_hi: natural logarithms of the shortest and longest pause in seconds that the
    stamps allow, pause_mid between them; missing: how many frames the numbers say are missing
    between the two, 0 where none or not told, and share_s, share_lo, share_hi: the pauses with the
    time shared out over all of them.
    elapsed_s: start to start. turn: |change of focus| in motor steps where in_steps is true, else in
    dioptres; large, wide: more than a slice of a stack would turn, more than it usually does; waver:
    so little that rounding may have made it. shot_step, number_step: None where one side does not
    say; shot_begins: number 1 behind none. counted_on: the body's own count of shots went on by one,
    so nothing was taken between the two, whatever their numbers say. switched_off: the body was
    switched off in between. changed: names of settings that differ; unknown values
    differ from nothing. clock_back: time ran backwards. flashed: the first of the two fired a flash,
    which then had to recycle; unflashed: it says that it fired none.
    """

    pause_s: float
    share_s: float
    pause_lo: float
    pause_hi: float
    pause_mid: float
    missing: int
    share_lo: float
    share_hi: float
    elapsed_s: float
    grain_s: float
    focus_move: FocusMove
    turn: float
    large: bool
    wide: bool
    waver: bool
    ev_change: float
    shot_step: int | None
    shot_begins: bool
    number_step: int | None
    counted_on: bool
    switched_off: bool
    new_folder: bool
    same_burst: bool | None
    changed: frozenset[str]
    clock_back: bool
    flashed: bool
    unflashed: bool
    in_steps: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """All observations of one timeline in order of capture, and the transitions between them, one fewer."""

    observations: tuple[Observation, ...]
    transitions: tuple[Transition, ...]


def gather(timeline: Timeline) -> Evidence:
    """Every frame of the timeline as the models see it, and every step."""
    numbers = [frame.facts.shot_number or 0 for frame in timeline.frames]
    counts = max(numbers, default=0) > 1
    observations = tuple(
        _observation(frame, timeline.start_us(frame), shot=(number or None) if counts else None)
        for frame, number in zip(timeline.frames, numbers, strict=True)
    )
    return Evidence(
        observations=observations,
        transitions=tuple(_transition(a, b) for a, b in itertools.pairwise(observations)),
    )


def _observation(frame: Frame, start_us: int, *, shot: int | None) -> Observation:
    facts = frame.facts
    focus, in_steps = focus_of(facts)
    offset = facts.bracket_offset_ev
    return Observation(
        frame=frame,
        facts=facts,
        start_us=start_us,
        exposure_s=facts.exposure_time_s or 0.0,
        grain_s=frame.moment.grain_us / MICROSECONDS,
        focus=focus,
        in_steps=in_steps,
        ev=exposure_ev(facts),
        intended_ev=facts.exposure_bias_ev if offset is None else offset,
        shot=shot,
    )


def focus_of(facts: Facts) -> tuple[float | None, bool]:
    """Where the frame is focused, growing toward far, and whether that is in motor steps.

    Steps of an untold direction stand as they are: a series goes one way along them or it does
    not, whichever way that is. Which frame is nearest they do not tell (see model/focus.py).
    """
    if facts.focus_step is not None:
        return (-facts.focus_step if facts.step_nearward else facts.focus_step), True
    dioptres = _dioptres(facts)
    return (None if dioptres is None else -dioptres), False


def _dioptres(facts: Facts) -> float | None:
    """The middle of the told distances in 1/m; 0 for infinity."""
    ends = [end for end in (facts.focus_near_m, facts.focus_far_m) if end is not None]
    if not ends or min(ends) <= 0:
        return None
    return sum(1 / end for end in ends) / len(ends)


def known_bracketing(facts: Facts) -> Bracketing | None:
    """What the camera says that it brackets: its own tag, else Exif's ExposureMode (CIPA DC-008).

    ExposureMode 2, auto bracket, is a statement; 0 and 1 are none, for many bodies never write 2.
    """
    if facts.auto_bracket and facts.bracketing in (None, Bracketing.OFF):
        return Bracketing.EXPOSURE
    return facts.bracketing


def exposure_ev(facts: Facts) -> float | None:
    """Relative exposure in EV, brighter is larger: log2(t ISO / N²) (APEX, CIPA DC-008).

    A lens that tells no f-number cannot change it unseen: then N counts as 1.
    """
    if not facts.exposure_time_s or not facts.iso:
        return None
    return math.log2(facts.exposure_time_s * facts.iso / (facts.f_number or 1.0) ** 2)


def _transition(a: Observation, b: Observation) -> Transition:
    elapsed = (b.start_us - a.start_us) / MICROSECONDS
    grain = max(a.grain_s, b.grain_s)
    pause = elapsed - a.exposure_s
    log_low = math.log(max(SHORTEST_PAUSE_S, pause - grain))
    log_high = math.log(max(SHORTEST_PAUSE_S, pause + grain))
    step = None if a.shot is None or b.shot is None else b.shot - a.shot
    number_step, counted = counter_step(a.frame, b.frame), _counted(a.facts, b.facts)
    missing = _missing(step, number_step, counted)
    share = elapsed / (missing + 1) - a.exposure_s
    move, turn = _move(a, b)
    turned = _turned_share(a.facts, b.facts) / (missing + 1)
    return Transition(
        pause_s=max(0.0, pause),
        share_s=max(0.0, share),
        pause_lo=log_low,
        pause_hi=log_high,
        pause_mid=0.5 * (log_low + log_high),
        missing=missing,
        share_lo=math.log(max(SHORTEST_PAUSE_S, share - grain)),
        share_hi=math.log(max(SHORTEST_PAUSE_S, share + grain)),
        elapsed_s=max(0.0, elapsed),
        grain_s=grain,
        focus_move=move,
        turn=turn / (missing + 1),
        large=turned > _LARGE_TURN,
        wide=turned > _WIDE_TURN,
        waver=move not in (FocusMove.UNKNOWN, FocusMove.TIE)
        and not a.in_steps
        and about_equal(a.facts, b.facts, _WAVER),
        ev_change=_ev_change(a, b),
        shot_step=step,
        shot_begins=a.shot is None and b.shot == 1,
        number_step=number_step,
        counted_on=counted == 1,
        switched_off=_switched_off(a.facts, b.facts),
        new_folder=a.frame.files[0].file.folder != b.frame.files[0].file.folder,
        same_burst=_same(a.facts.burst_id, b.facts.burst_id),
        changed=_changed(a.facts, b.facts),
        clock_back=elapsed < -grain,
        flashed=a.facts.flash_fired is True,
        unflashed=a.facts.flash_fired is False,
        in_steps=a.in_steps and b.in_steps,
    )


def _counted(a: Facts, b: Facts) -> int | None:
    """How far the body's count of shots went on; None where it does not tell.

    It stands still where a shutter is not counted, and begins again after a repair or a sleep.
    """
    step = None if a.counter is None or b.counter is None else b.counter - a.counter
    return step if step and step > 0 else None


def _switched_off(a: Facts, b: Facts) -> bool:
    """Another session by the body's own mark, or its time since power-on began again."""
    if _same(a.session, b.session) is False:
        return True
    one, two = a.since_power_on_cs, b.since_power_on_cs
    return one is not None and two is not None and two < one


def _missing(*known: int | None) -> int:
    """How many frames were deleted between two neighbours of one series, as far as that is sure.

    told: how far each of the counters went on.
    """
    steps = [step for step in known if step is not None]
    if not steps or not 1 < min(steps) <= _MOST_MISSING:
        return 0
    return min(steps) - 1


def _same(a: str, b: str) -> bool | None:
    return a == b if a and b else None


def _move(a: Observation, b: Observation) -> tuple[FocusMove, float]:
    if a.focus is None or b.focus is None or a.in_steps is not b.in_steps:
        return FocusMove.UNKNOWN, 0.0
    turn = b.focus - a.focus
    if abs(turn) < 1e-9:  # noqa: PLR2004 - float dust of equal distances
        return FocusMove.TIE, 0.0
    return (FocusMove.FARTHER if turn > 0 else FocusMove.NEARER), abs(turn)


def _turned_share(a: Facts, b: Facts) -> float:
    """By what share of the nearer one's dioptres the distance changed; 0 where it is not told."""
    if (a.focus_near_m, a.focus_far_m) == (b.focus_near_m, b.focus_far_m):
        return 0.0
    one, two = _dioptres(a), _dioptres(b)
    if one is None or two is None or one == two:
        return 0.0
    return 1 - min(one, two) / max(one, two)


def about_equal(a: Facts, b: Facts, share: float) -> bool:
    """The distances of both are equal, as far as they are told, but for a centimetre or a share."""
    ends = ((a.focus_near_m, b.focus_near_m), (a.focus_far_m, b.focus_far_m))
    return all(
        one is None
        or two is None
        or one == two
        or abs(one - two) <= max(_CENTIMETRE, share * min(one, two))
        for one, two in ends
    )


def _ev_change(a: Observation, b: Observation) -> float:
    """The change of exposure in EV; what the camera says counts where the settings show none."""
    seen = 0.0 if a.ev is None or b.ev is None else b.ev - a.ev
    if abs(seen) > SAME_EV or a.intended_ev is None or b.intended_ev is None:
        return seen
    return b.intended_ev - a.intended_ev


_COMPARED = (
    "lens",
    "f_number",
    "focal_length_mm",
    "flash_fired",
    "focus_mode",
    "drive_mode",
    "bracketing",
    "planned",
    "orientation",
    "iso",
)
_compared = attrgetter(*_COMPARED)
_NOTHING: Final[frozenset[str]] = frozenset()
TRADED = "traded"  # sensitivity for time, at one brightness: a dial that somebody turned
_SAME_RATIO = 1.03  # zoom and aperture values are rounded; breathing lenses drift by less


def _changed(a: Facts, b: Facts) -> frozenset[str]:
    if _compared(a) == _compared(b):
        return _NOTHING
    changed = [name for name in _COMPARED if differ(getattr(a, name), getattr(b, name))]
    if "bracketing" not in changed and _begins_to_bracket(a.bracketing, b.bracketing):
        changed.append("bracketing")
    if "iso" in changed and a.exposure_time_s != b.exposure_time_s and as_bright(a, b):
        changed.append(TRADED)
    return frozenset(changed)


def as_bright(a: Facts, b: Facts) -> bool:
    """Both tell their exposure, and it is the same."""
    one, two = exposure_ev(a), exposure_ev(b)
    return one is not None and two is not None and abs(one - two) <= SAME_EV


def _begins_to_bracket(one: Bracketing | None, two: Bracketing | None) -> bool:
    """One of the two says that it brackets: then such a body's silence on the other means no."""
    return (one is None) is not (two is None) and Bracketing.OFF not in (one, two)


def differ(one: object, two: object) -> bool:
    """Two settings that are told are not the same; figures may differ by their rounding."""
    if one is None or two is None or one in {"", two} or two == "":
        return False
    if isinstance(one, float) and isinstance(two, float):
        return max(one, two) > _SAME_RATIO * min(one, two)
    return True
