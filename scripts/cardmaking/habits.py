"""What a macro photographer shoots: one series at a time, as values drawn from dice.

A series is a draft here: what was in front of the lens and what the body was set to, with the
pauses between the frames, and no place in the afternoon yet. How often things happen and how long
they take is common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction
from statistics import median
from typing import TYPE_CHECKING, Literal

from cardmaking.cameras import SPEEDS, speed

if TYPE_CHECKING:
    import random
    from collections.abc import Sequence

    from cardmaking.cameras import Camera
    from cardmaking.shots import Bracket, Shot

Kind = Literal[
    "focus-bracket", "manual-stack", "exposure-bracket", "burst", "interval", "single", "clip"
]

UNEVEN = 1.6
"""Times the shortest pause that the longest takes in a stack whose files tell no focus.

By less it could be one of a body's own interval timer.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A series before it has its place: its shots, and the seconds from each one to the next.

    decidable is False where the files of such a body cannot tell what happened; about says why.
    pause are the fewest and most seconds before it where what happens asks for some. merged_after
    are the seconds until the body's own merged picture. sure says that it begins anew for who
    reads its files, whatever came before it.
    """

    kind: Kind
    about: str
    shots: tuple[Shot, ...]
    gaps: tuple[float, ...] = ()
    decidable: bool = True
    pause: tuple[float, float] | None = None
    merged_after: float | None = None
    own_folder: bool = False
    sure: bool = False

    @property
    def beat(self) -> float:
        """The middle one of its gaps; none for one frame."""
        return median(self.gaps) if self.gaps else 0.0

    @property
    def longest(self) -> float:
        """The longest of its gaps."""
        return max(self.gaps, default=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """A thing in the pool and how it is lit: the shot of it with nothing special set."""

    base: Shot
    speed: int
    """Place of the exposure time on the dial."""


def loguniform(dice: random.Random, low: float, high: float) -> float:
    """A value between the two, every ratio as likely as every other."""
    return math.exp(dice.uniform(math.log(low), math.log(high)))


def beats(dice: random.Random, count: int, gap: float, spread: float) -> tuple[float, ...]:
    """The gaps between count frames: gap seconds, times e to what is drawn with such a spread."""
    return tuple(gap * math.exp(dice.gauss(0, spread)) for _ in range(count - 1))


def exposed(shots: Sequence[Shot], gaps: Sequence[float]) -> tuple[float, ...]:
    """The gaps from start to start: what each exposure takes comes before the pause."""
    return tuple(float(shot.exposure) + gap for shot, gap in zip(shots[:-1], gaps, strict=True))


# ---- focus brackets -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A focus bracket as it is set: planned frames, first distance and step (metres), beat (s)."""

    planned: int
    start: float
    step: float
    beat: float


def focus_plan(dice: random.Random, subject: Subject, most: int) -> Plan:
    """A plan of 5 to 120 frames, more often of up to 40; with flash a slice takes seconds."""
    longest = 120 if dice.random() < 0.3 else 40
    lit = subject.base.flash == "fired"
    return Plan(
        planned=max(5, min(most, round(loguniform(dice, 5, longest)))),
        start=_distance(subject),
        step=loguniform(dice, 0.0004, 0.004),
        beat=dice.uniform(0.9, 2.2) if lit else loguniform(dice, 0.07, 0.5),
    )


def focus_bracket(
    dice: random.Random, camera: Camera, subject: Subject, plan: Plan, *, count: int = 0
) -> Draft:
    """A bracket that takes count of its planned frames (all of them where count is 0)."""
    count = count or plan.planned
    about = f"focus bracket of {count}"
    places = range(count)
    return _focus_draft(camera, subject, plan, places, beats(dice, count, plan.beat, 0.04), about)


def _focus_draft(  # noqa: PLR0917  one place for both orders
    camera: Camera,
    subject: Subject,
    plan: Plan,
    places: Sequence[int],
    pauses: Sequence[float],
    about: str,
) -> Draft:
    base = replace(
        subject.base,
        bracket="focus",
        drive="continuous" if camera.brackets_continuously else "single",
        planned=plan.planned,
        step_width=4,
    )
    shots = [
        replace(base, near_m=plan.start + plan.step * place, focus_step=4 * place, shot_number=n)
        for n, place in enumerate(places, start=1)
    ]
    gaps = exposed(shots, pauses)
    return Draft(kind="focus-bracket", about=about, shots=tuple(shots), gaps=gaps)


def from_the_middle(dice: random.Random, camera: Camera, subject: Subject, most: int) -> Draft:
    """The body's own stacking: first the middle, then nearer planes, then farther ones; merged."""
    plan = focus_plan(dice, subject, most)
    count = dice.randrange(5, 16)
    nearer = (count - 1) // 2
    places = [0, *(-place for place in range(1, nearer + 1)), *range(1, count - nearer)]
    pauses = beats(dice, count, plan.beat, 0.04)
    about = f"focus bracket of {count}: middle, nearer, farther; the body's merged picture behind"
    draft = _focus_draft(camera, subject, replace(plan, planned=count), places, pauses, about)
    return merged(dice, draft)


def merged(dice: random.Random, draft: Draft) -> Draft:
    """The bracket with the body's own merged picture behind it."""
    about = draft.about if "merged" in draft.about else f"{draft.about}, merged by the body"
    shots = tuple(replace(shot, composite=True) for shot in draft.shots)
    return replace(draft, shots=shots, about=about, merged_after=dice.uniform(2, 12))


def recycling(dice: random.Random, draft: Draft) -> Draft:
    """The bracket with the flash recycling now and then: 3 to 26 s before a slice."""
    every = dice.randrange(4, 9)
    gaps = tuple(
        gap + dice.uniform(3, 26) * (index % every == every - 1)
        for index, gap in enumerate(draft.gaps)
    )
    return replace(draft, gaps=gaps, about=f"{draft.about}, flash recycling between slices")


def buffered(dice: random.Random, draft: Draft) -> Draft:
    """The series slowed down by a full buffer from some frame on."""
    full = dice.randrange(len(draft.gaps) // 3, len(draft.gaps) // 2 + 1)
    slow = dice.uniform(2, 4)
    gaps = tuple(
        gap * (slow * dice.uniform(0.7, 1.3) if index >= full else 1)
        for index, gap in enumerate(draft.gaps)
    )
    return replace(draft, gaps=gaps, about=f"{draft.about}, slowed down by the buffer")


# ---- bursts ---------------------------------------------------------------------------------


def _numbered(shot: Shot, metres: Sequence[float]) -> tuple[Shot, ...]:
    base = replace(shot, drive="continuous")
    return tuple(
        replace(base, near_m=near, shot_number=number)
        for number, near in enumerate(metres, start=1)
    )


def burst(dice: random.Random, subject: Subject, most: int) -> Draft:
    """The shutter held down on one thing."""
    count = max(3, min(most, round(loguniform(dice, 3, 30))))
    shots = _numbered(replace(subject.base, flash="off"), [_distance(subject)] * count)
    gaps = exposed(shots, beats(dice, count, loguniform(dice, 0.03, 0.2), 0.06))
    return Draft(kind="burst", about=f"plain burst of {count}", shots=shots, gaps=gaps)


def rocking(dice: random.Random, subject: Subject, most: int) -> Draft:
    """A hand-held burst during which the body is rocked: its files tell a plain burst."""
    held = replace(subject, base=replace(subject.base, focus_mode="manual"))
    draft = burst(dice, held, most)
    return replace(draft, about=f"hand-held burst of {len(draft.shots)}, rocked through the focus")


def tracking(dice: random.Random, subject: Subject, most: int) -> Draft:
    """A burst that follows a moving thing: the distance wanders both ways."""
    count = max(8, min(most, dice.randrange(8, 41)))
    near, ways = _distance(subject), [dice.choice((-1, 1)) for _ in range(count)]
    metres = [near]
    for way in ways[1:]:
        metres.append(max(0.16, metres[-1] + way * dice.uniform(0.002, 0.03)))
    shots = _numbered(replace(subject.base, focus_mode="auto", flash="off"), metres)
    gaps = exposed(shots, beats(dice, count, loguniform(dice, 0.04, 0.15), 0.08))
    return Draft(kind="burst", about=f"burst of {count} after a crab", shots=shots, gaps=gaps)


def spray(dice: random.Random, subject: Subject, most: int) -> Draft:
    """Splashes caught with flash, held down: an uneven rhythm with pauses of 1 to 2 s, one focus."""
    count = max(8, min(most, dice.randrange(8, 41)))
    lit = replace(subject.base, flash="fired", focus_mode="manual", exposure=Fraction(1, 200))
    shots = _numbered(lit, [_distance(subject)] * count)
    pauses = [
        dice.uniform(1, 2) if dice.random() < 0.2 else loguniform(dice, 0.15, 0.9)
        for _ in range(count - 1)
    ]
    about = f"burst of {count} of wave splash with flash"
    return Draft(kind="burst", about=about, shots=shots, gaps=exposed(shots, pauses))


# ---- by hand --------------------------------------------------------------------------------


def manual_stack(dice: random.Random, camera: Camera, subject: Subject) -> Draft:
    """Focus turned one way by hand.

    Of a body that tells no focus five frames or more; of one that tells no drive so slow that it is
    no burst.
    """
    count = dice.randrange(3 if camera.tells_distance else 5, 17)
    fastest = 3.0 if not camera.tells_drive else 1.3 if camera.subsec_digits else 2.0
    way, start = dice.choice((-1, 1)), _distance(subject)
    metres = [start]
    for _ in range(count - 1):
        metres.append(max(0.16, metres[-1] + way * dice.uniform(0.006, 0.02)))
    base = replace(subject.base, focus_mode="manual")
    shots = tuple(replace(base, near_m=near) for near in metres)
    pauses = _by_hand(dice, count, loguniform(dice, fastest, 12))
    while not camera.tells_distance and max(pauses) < UNEVEN * min(pauses):
        pauses = _by_hand(dice, count, loguniform(dice, fastest, 12))
    about = f"manual stack of {count}"
    return Draft(kind="manual-stack", about=about, shots=shots, gaps=exposed(shots, pauses))


def _by_hand(dice: random.Random, count: int, gap: float) -> list[float]:
    """The pauses of a hand that turns the ring: 1 to 30 s."""
    return [min(30.0, max(1.0, pause)) for pause in beats(dice, count, gap, 0.28)]


def once_more(dice: random.Random, draft: Draft) -> Draft:
    """The same series shot once more, with gaps of its own."""
    gaps = tuple(gap * math.exp(dice.gauss(0, 0.1)) for gap in draft.gaps)
    return replace(draft, gaps=gaps, about=f"{draft.about}, once more")


def exposures_by_hand(dice: random.Random, subject: Subject, most: int) -> Draft:
    """The exposure time turned from frame to frame, mostly one way, with nothing else changed."""
    thirds = dice.choice((1, 2, 3, 3))
    dial = range(9, len(SPEEDS), thirds)
    count = max(4, min(most, len(dial), round(loguniform(dice, 4, 40))))
    begin = dice.randrange(len(dial) - count + 1)
    places = list(dial[begin : begin + count])
    if dice.random() < 0.5:
        places.reverse()
    if count >= 8 and dice.random() < 0.3:
        back = dice.randrange(2, count - 2)
        places[back:back] = places[back - 2 : back]
    base = replace(subject.base, manual_exposure=True, focus_mode="manual", flash="off")
    shots = tuple(replace(base, exposure=speed(place)) for place in places)
    gaps = exposed(shots, beats(dice, len(places), loguniform(dice, 2, 25), 0.25))
    about = f"{len(places)} exposures changed by hand"
    return Draft(kind="exposure-bracket", about=about, shots=shots, gaps=gaps)


# ---- exposure brackets ----------------------------------------------------------------------


def exposure_bracket(dice: random.Random, camera: Camera, subject: Subject) -> Draft:
    """A bracket of 3, 5, 7 or 9 that the body varies itself, held down or pressed singly."""
    # Panasonic's bodies take seven at most.
    count = dice.choice((3, 3, 3, 5, 5, 7) if camera.name == "panasonic" else (3, 3, 3, 5, 5, 7, 9))
    thirds = dice.choice([step for step in (1, 2, 3, 6) if step * (count - 1) // 2 <= 12])
    held, by_bias = dice.random() < 0.6, dice.random() < 0.5
    base = replace(
        subject.base,
        bracket="exposure",
        drive="continuous" if held else "single",
        flash="off",
        manual_exposure=not by_bias,
    )
    order = _order(dice, count)
    base = replace(base, aeb_frames=count, aeb_rising=order[0] < 0)
    shots = tuple(
        _varied(base, subject.speed, place * thirds, number, by_bias=by_bias)
        for number, place in enumerate(order, start=1)
    )
    pause = loguniform(dice, 0.08, 0.4) if held else loguniform(dice, 1, 6)
    gaps = exposed(shots, beats(dice, count, pause, 0.05 if held else 0.2))
    how = ("held down" if held else "pressed singly", "by bias" if by_bias else "in manual mode")
    about = f"exposure bracket of {count}, {how[0]}, {how[1]}"
    return Draft(kind="exposure-bracket", about=about, shots=shots, gaps=gaps)


def _order(dice: random.Random, count: int) -> list[int]:
    """The places of the frames by their exposure: 0 - +, - 0 +, or 0 - + -- ++."""
    half = count // 2
    rising = list(range(-half, half + 1))
    return dice.choice((rising, sorted(rising, key=lambda place: (abs(place), place))))


def _varied(base: Shot, place: int, thirds: int, number: int, *, by_bias: bool) -> Shot:
    """The frame that lets in so many thirds of a stop more light."""
    offset = Fraction(thirds, 3)
    return replace(
        base,
        exposure=speed(place - thirds),
        bias=offset if by_bias else Fraction(0),
        aeb_offset=offset,
        shot_number=number,
    )


# ---- the rest -------------------------------------------------------------------------------


def interval(dice: random.Random, subject: Subject, most: int) -> Draft:
    """Frames that the body takes by itself every so many seconds, the exposure drifting or not."""
    seconds = dice.choice((2, 3, 5, 10, 15, 20, 30, 60))
    count = max(6, min(most, dice.randrange(6, 41)))
    drifts, place = dice.random() < 0.5, subject.speed
    base = replace(subject.base, manual_exposure=not drifts, flash="off")
    shots = []
    for _ in range(count):
        place += dice.choice((-1, 0, 0, 0, 1)) * drifts
        shots.append(replace(base, exposure=speed(place)))
    gaps = tuple(seconds + dice.uniform(-0.02, 0.02) for _ in range(count - 1))
    about = f"{count} frames of the tide coming in, every {seconds} s"
    return Draft(kind="interval", about=about, shots=tuple(shots), gaps=gaps)


def single(subject: Subject, about: str = "single") -> Draft:
    """One frame by itself."""
    return Draft(kind="single", about=about, shots=(subject.base,))


def wandering(dice: random.Random, subject: Subject) -> list[Draft]:
    """A small run of singles in manual focus: each at another distance, now nearer, now farther."""
    base = replace(subject.base, focus_mode="manual")
    way, metres = dice.choice((-1, 1)), [_distance(subject)]
    for _ in range(dice.randrange(2, 6)):
        metres.append(max(0.16, metres[-1] + way * dice.uniform(0.03, 0.09)))
        way = -way
    about = "single at a distance of its own, focused by hand"
    run = [
        Draft(kind="single", about=about, shots=(replace(base, near_m=near),)) for near in metres
    ]
    return [run[0], *(replace(one, pause=(8, 25), sure=True) for one in run[1:])]


def left_on(camera: Camera, subject: Subject, bracket: Bracket) -> Draft:
    """A lone frame with bracketing left on."""
    runs = bracket == "focus" and camera.brackets_continuously
    shot = replace(
        subject.base,
        bracket=bracket,
        drive="continuous" if runs else "single",
        shot_number=1,
        planned=30 if bracket == "focus" else None,
    )
    return Draft(kind="single", about=f"single with {bracket} bracketing left on", shots=(shot,))


def clip(subject: Subject) -> Draft:
    """A clip; it takes a number of the counter and is no frame."""
    return Draft(kind="clip", about="a clip", shots=(subject.base,))


def _distance(subject: Subject) -> float:
    return subject.base.near_m or 0.3
