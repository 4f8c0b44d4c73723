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
from sorter.model.kinds import Bracketing, ExposureProgram
from sorter.model.values import MICROSECONDS

SHORTEST_PAUSE_S = 0.02  # below this a pause is read-out, not rhythm
SAME_EV = 0.12  # nominal speeds are rounded: CIPA DC-008 APEX values differ by up to this
_LARGE_TURN = 0.25  # a quarter of the distance in one step is no slice of a macro stack
_WIDE_TURN = 0.12  # an eighth of it hardly is one
_WAVER = 0.012  # a lens reads its far distances coarsely: by a hundredth or so
_CLOSE_M = 0.4  # where macro lenses are used for what they are for
_CLOSE_FOCAL = (
    5.2  # focal lengths: there a thin lens makes a picture of a third of the subject's size
)
_MOST_MISSING = 30  # more frames in a row are not deleted out of a series
_BRIEF_S = 0.1  # of an exposure, and of what a stamp may be off
_TOO_NEAR = 0.97  # of an exposure: nominal times are rounded
_JUMP_M = 0.025
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
    in the whole timeline, which then counts nothing. close: a macro's distance, or a lens without
    contacts, as bellows and microscope lenses are.
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
    close: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Transition:
    """The step between two neighbouring observations.

    pause_lo, pause_hi: natural logarithms of the shortest and longest pause in seconds that the
    stamps allow, pause_mid between them; missing: how many frames the numbers say are missing
    between the two, 0 where none or not told, and share_s, share_lo, share_hi: the pauses with the
    time shared out over all of them.
    time_change: of the exposure time alone, in stops. elapsed_s: start to start. turn: |change of focus| in motor steps where in_steps is true, else in
    dioptres; large, wide: more than a slice of a stack would turn, more than it usually does; jump: by
    several centimetres; waver:
    so little that rounding may have made it. shot_step, number_step: None where one side does not
    say; shot_begins: number 1 behind none. counted_on: the body's own count of shots went on by one,
    so nothing was taken between the two, whatever their numbers say. switched_off: the body was
    switched off in between. changed: names of settings that differ; unknown values
    differ from nothing. clock_back: time ran backwards. flashed: the first of the two fired a flash,
    which then had to recycle; unflashed: it says that it fired none. unbidden: the exposure changed under automatic
    exposure, and nothing was set off on purpose.
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
    jump: bool
    waver: bool
    ev_change: float
    time_change: float
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
    unbidden: bool


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
    at_end = _stamped_at_end(observations)
    transitions = (
        _transition(a, b, b if at_end else a) for a, b in itertools.pairwise(observations)
    )
    return Evidence(observations=observations, transitions=tuple(transitions))


def _stamped_at_end(observations: tuple[Observation, ...]) -> bool:
    """The body stamps a frame when its exposure ends, not when it begins.

    Two starts lie no nearer than the first exposure lasts, two ends no nearer than the second. One
    pair that is clearly too near for starts decides, if none is for ends.
    """
    at_end = False
    for a, b in itertools.pairwise(observations):
        if a.exposure_s <= _BRIEF_S and b.exposure_s <= _BRIEF_S:
            continue
        most = (b.start_us - a.start_us) / MICROSECONDS + max(a.grain_s, b.grain_s)
        if most < 0:
            continue
        if _TOO_NEAR * b.exposure_s - most > _BRIEF_S:
            return False
        at_end = at_end or _TOO_NEAR * a.exposure_s - most > _BRIEF_S
    return at_end


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
        close=_is_close(facts),
    )


def _is_close(facts: Facts) -> bool:
    """The subject is as near as a macro's, or the lens tells nothing of itself."""
    near, focal = facts.focus_near_m, facts.focal_length_mm
    if near is not None and 0 < near <= max(_CLOSE_M, _CLOSE_FOCAL * (focal or 0.0) / 1000):
        return True
    return not (facts.lens or facts.f_number or focal)


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


def _transition(a: Observation, b: Observation, between: Observation) -> Transition:
    """between: the one of the two that was exposed between their stamps."""
    elapsed = (b.start_us - a.start_us) / MICROSECONDS
    grain = max(a.grain_s, b.grain_s)
    pause = elapsed - between.exposure_s
    log_low = math.log(max(SHORTEST_PAUSE_S, pause - grain))
    log_high = math.log(max(SHORTEST_PAUSE_S, pause + grain))
    step = None if a.shot is None or b.shot is None else b.shot - a.shot
    number_step, counted = counter_step(a.frame, b.frame), _counted(a.facts, b.facts)
    missing = _missing(step, number_step, counted)
    share = elapsed / (missing + 1) - between.exposure_s
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
        jump=_jumped(a.facts, b.facts),
        waver=move not in (FocusMove.UNKNOWN, FocusMove.TIE)
        and not a.in_steps
        and about_equal(a.facts, b.facts, _WAVER),
        ev_change=_ev_change(a, b),
        time_change=_time_change(a.facts, b.facts),
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
        unbidden=_is_unbidden(a, b),
    )


def _is_unbidden(a: Observation, b: Observation) -> bool:
    """Both were exposed by the camera's automatic, set off alike, and no tag speaks of a bracket."""
    return (
        _exposes_itself(a.facts)
        and _exposes_itself(b.facts)
        and (
            a.intended_ev is None
            or b.intended_ev is None
            or abs(a.intended_ev - b.intended_ev) <= SAME_EV
        )
    )


def _exposes_itself(facts: Facts) -> bool:
    """The camera says that it sets the exposure, and that it brackets none."""
    if facts.exposure_by_hand is not False or facts.exposure_program is ExposureProgram.MANUAL:
        return False
    return known_bracketing(facts) is not Bracketing.EXPOSURE


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


def _jumped(a: Facts, b: Facts) -> bool:
    """The nearer limit moved by far more than whole centimetres hide."""
    one, two = a.focus_near_m, b.focus_near_m
    return one is not None and two is not None and one != two and abs(one - two) > _JUMP_M


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


def _time_change(a: Facts, b: Facts) -> float:
    one, two = a.exposure_time_s, b.exposure_time_s
    return math.log2(two / one) if one and two and one != two else 0.0


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
