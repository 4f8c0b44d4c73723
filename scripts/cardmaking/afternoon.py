"""A whole afternoon at the pool with one body: which series follow each other, and how soon.

Between two series the files must tell that one ended: by what the body writes (a bracket's flag, a
number that begins anew, other settings), else by a pause that stands out against the beats on both
sides. Where they cannot tell, the series are marked undecidable, and their about says why.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING

from cardmaking import habits
from cardmaking.cameras import F_NUMBERS, SENSITIVITIES, SPEEDS, speed
from cardmaking.habits import Draft, Subject, loguniform

if TYPE_CHECKING:
    import random
    from collections.abc import Callable

    from cardmaking.cameras import Camera
    from cardmaking.habits import Kind
    from cardmaking.shots import Bracket, Flash, FocusMode, Shot

TIGHT = (1.5, 3.0)
LOOSE = (8.0, 1200.0)
STANDS_OUT = 8.0
"""Times the beats on both sides that a pause takes which nothing but itself tells."""
BEYOND = 2.5
"""Times the longest gaps on both sides."""
WHOLE_SECONDS = 4.0
SINGLES, SINGLES_UNTOLD = 6.0, 30.0
"""Between singles, where the body tells its drive and where it does not."""
DIAL_TURNED = 4.0
"""Nobody sets other values sooner."""
RECYCLED = 60.0
"""More than a flash takes to recycle: a shorter pause may be one between two slices."""
FALLS_BACK = 0.03
"""Metres by which focus goes back at the begin of a bracket so that centimetres tell it."""
SWITCHED_OFF = 180.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Press:
    """One press of the shutter, so many seconds after the afternoon's begin."""

    shot: Shot
    second: float
    result: bool = False
    gone: bool = False
    """Deleted in the camera."""
    harm: str = ""
    """What became of its file: cut (written by half), empty, or nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Presses that belong together, those merged by the body and those deleted included."""

    kind: Kind
    about: str
    presses: tuple[Press, ...]
    decidable: bool = True
    own_folder: bool = False

    @property
    def count(self) -> int:
        """Its frames on the card."""
        return sum(not press.gone and not press.result for press in self.presses)


def afternoon(
    camera: Camera, dice: random.Random, frames: int, *, keeps_raw: bool, own_folders: bool
) -> list[Series]:
    """The series of an afternoon with at least so many frames, in the order of capture."""
    shoot = _Afternoon(camera, dice, frames, keeps_raw=keeps_raw, own_folders=own_folders)
    while shoot.room > 0:
        shoot.go_on()
    return shoot.series


class _Afternoon:
    """What was shot so far, and the state of body and photographer."""

    def __init__(
        self,
        camera: Camera,
        dice: random.Random,
        frames: int,
        *,
        keeps_raw: bool,
        own_folders: bool,
    ) -> None:
        self.camera, self.dice, self.frames = camera, dice, frames
        self.own_folders = own_folders
        # A merged picture of Canon's is only known by having no raw beside it.
        self.merges = camera.merges and (keeps_raw or not camera.name.startswith("canon"))
        self.series: list[Series] = []
        self.now, self.on_since, self.released = 0.0, 0.0, dice.randrange(900, 20000)
        self.last: tuple[Draft, Shot] | None = None
        self.subject = self._fresh(camera.shot)

    @property
    def room(self) -> int:
        """How many frames are still wanted."""
        return self.frames - sum(series.count for series in self.series)

    @property
    def most(self) -> int:
        """The longest series that still fits."""
        return max(5, min(120, self.room + 5))

    def go_on(self) -> None:
        """The next thing that is done."""
        names, weights = zip(*SCENARIOS.items(), strict=True)
        scenario = self.dice.choices(names, weights)[0]
        if self.dice.random() < 0.75:
            self.subject = self._fresh(self.subject.base)
        drafts = scenario(self)
        for index, draft in enumerate(drafts):
            self._place(draft, tight=index > 0 or self.dice.random() < 0.3)

    # ---- subjects ---------------------------------------------------------------------------

    def _fresh(self, before: Shot) -> Subject:
        """Another thing, often with other settings, seldom with another lens."""
        dice, base = self.dice, before
        base = replace(base, near_m=dice.uniform(0.2, 0.6), focus_mode=self._focus_mode())
        place = dice.randrange(SPEEDS.index(Fraction(1, 60)), SPEEDS.index(Fraction(1, 640)))
        flash: Flash = "fired" if dice.random() < 0.35 else "off"
        if flash != base.flash or dice.random() < 0.6:
            f_number, iso = dice.choice(F_NUMBERS), dice.choice(SENSITIVITIES)
            base = replace(base, f_number=f_number, iso=iso)
        elif base.exposure in SPEEDS:
            # A time turned alone would read like a frame of exposures changed by hand.
            place = SPEEDS.index(base.exposure)
        manual = dice.random() < 0.8
        base = replace(base, flash=flash, manual_exposure=manual, exposure=speed(place))
        return Subject(base=self._with_lens(base), speed=place)

    def _focus_mode(self) -> FocusMode:
        return "manual" if self.dice.random() < 0.4 else "auto"

    def _with_lens(self, base: Shot) -> Shot:
        if self.dice.random() > 0.07:
            return base
        wide = replace(base, lens="24mm F1.8 Close Focus", focal_mm=24)
        own = self.camera.shot
        return replace(base, lens=own.lens, focal_mm=own.focal_mm) if base.focal_mm == 24 else wide

    def lit(self) -> Subject:
        """The subject with the flash on."""
        base = replace(self.subject.base, flash="fired", exposure=Fraction(1, 160))
        return replace(self.subject, base=base, speed=SPEEDS.index(Fraction(1, 160)))

    def unlit(self) -> Subject:
        """The subject for a focus bracket: of bodies without a drive nothing tells one with flash."""
        if self.camera.tells_drive:
            return self.subject
        return replace(self.subject, base=replace(self.subject.base, flash="off"))

    def by_autofocus(self) -> Subject:
        """The subject focused by the body."""
        return replace(self.subject, base=replace(self.subject.base, focus_mode="auto"))

    # ---- time -------------------------------------------------------------------------------

    def _place(self, draft: Draft, *, tight: bool) -> None:
        """Gives the draft its place behind what was shot before."""
        pause = self._pause(draft, tight=tight)
        if pause > SWITCHED_OFF and self.dice.random() < 0.5:
            self.on_since = float(int(self.now + pause - self.dice.uniform(4, 20)))
        self.now += pause
        presses = []
        for shot, gap in zip(draft.shots, (0.0, *draft.gaps), strict=True):
            self.now += gap
            presses.append(self._press(shot))
        if draft.merged_after is not None:
            self.now += draft.merged_after
            presses.append(self._merged(draft))
        series = Series(
            kind=draft.kind,
            about=draft.about,
            presses=self._worn(draft, presses),
            decidable=draft.decidable,
            own_folder=draft.own_folder,
        )
        self.series.append(series)
        self.last = draft, draft.shots[-1]

    def _press(self, shot: Shot) -> Press:
        self.released += 1
        uptime = self.now - self.on_since
        return Press(
            shot=replace(shot, uptime_s=uptime, released=self.released), second=round(self.now, 3)
        )

    def _merged(self, draft: Draft) -> Press:
        """The picture that the body made of the bracket; Canon's tells the bracket's settings."""
        count = len(draft.shots)
        canon = self.camera.name.startswith("canon")
        shot = replace(draft.shots[0], merged_frames=count, shot_number=0, focus_step=0)
        if not canon:
            shot = replace(shot, bracket="off", drive="single")
        return replace(self._press(shot), result=True)

    def _worn(self, draft: Draft, presses: list[Press]) -> tuple[Press, ...]:
        """The presses, of which some were deleted in the camera and few harmed on the card."""
        dice, count = self.dice, len(draft.shots)
        if draft.kind in {"focus-bracket", "burst", "interval"} and count >= 8:
            if dice.random() < 0.1:
                first = dice.randrange(2, count - 4)
                for index in range(first, first + dice.randrange(1, 4)):
                    presses[index] = replace(presses[index], gone=True)
        elif draft.kind == "single" and dice.random() < 0.06:
            presses[0] = replace(presses[0], gone=True)
        if draft.kind != "clip" and dice.random() < 0.012:
            spoilt = dice.randrange(count)
            presses[spoilt] = replace(presses[spoilt], harm=dice.choice(("cut", "cut", "empty")))
        return tuple(presses)

    def _pause(self, draft: Draft, *, tight: bool) -> float:
        low, high = draft.pause or (TIGHT if tight else LOOSE)
        wanted = loguniform(self.dice, low, high)
        return max(wanted, self._fair(draft) * self.dice.uniform(1, 1.5))

    def _fair(self, draft: Draft) -> float:
        """The least pause (seconds) by which the files tell that the draft begins anew."""
        if self.last is None or not draft.decidable:
            return 0.0
        before, shot = self.last
        if draft.sure or self._told(before, shot, draft):
            return 0.0
        if self._reset(before, shot, draft):
            return DIAL_TURNED
        beat, longest = max(before.beat, draft.beat), max(before.longest, draft.longest)
        least = WHOLE_SECONDS if self.camera.subsec_digits == 0 else TIGHT[0]
        if before.kind == draft.kind == "single":
            least = SINGLES if self.camera.tells_drive else SINGLES_UNTOLD
        elif shot.flash == draft.shots[0].flash == "fired":
            least = RECYCLED
        return max(least, STANDS_OUT * beat, BEYOND * longest)

    def _told(self, before: Draft, shot: Shot, draft: Draft) -> bool:
        """Whether the files tell by more than the pause that the draft begins anew."""
        first = draft.shots[0]
        return (
            before.kind == "clip"
            or self._bracket(shot) != self._bracket(first)
            or (self.camera.tells_drive and shot.drive != first.drive)
            or self._begins_anew(shot, first)
            or self._bracket_ended(before, draft)
        )

    def _bracket(self, shot: Shot) -> str:
        """The bracket that the files tell; "off" stands for one of focus where they do not."""
        is_told = shot.bracket != "focus" or self.camera.tells_focus_bracket
        return shot.bracket if is_told else "off"

    def _begins_anew(self, shot: Shot, first: Shot) -> bool:
        return self.camera.tells_number and 0 < first.shot_number <= shot.shot_number

    def _bracket_ended(self, before: Draft, draft: Draft) -> bool:
        """Whether one focus bracket follows another and its files tell that: by plan or distance."""
        if not before.kind == draft.kind == "focus-bracket":
            return False
        shot, first = before.shots[-1], draft.shots[0]
        fallen = (shot.near_m or 0) - (first.near_m or 0)
        by_plan = self.camera.name.startswith("canon") and len(before.shots) == shot.planned
        return by_plan or (self.camera.tells_distance and fallen > FALLS_BACK)

    def _reset(self, before: Draft, shot: Shot, draft: Draft) -> bool:
        """Whether a dial was turned that no series turns."""
        first = draft.shots[0]
        if (shot.flash, shot.f_number, shot.iso, shot.lens) != (
            first.flash,
            first.f_number,
            first.iso,
            first.lens,
        ):
            return True
        varying = {"exposure-bracket", "interval"}
        return shot.exposure != first.exposure and not varying & {before.kind, draft.kind}

    # ---- scenarios --------------------------------------------------------------------------

    def whole_bracket(self) -> list[Draft]:
        """A focus bracket that ran to its end."""
        plan = habits.focus_plan(self.dice, self.unlit(), self.most)
        draft = self._bracket_of(plan)
        return [replace(draft, about=f"{draft.about}, whole")]

    def _bracket_of(self, plan: habits.Plan, count: int = 0) -> Draft:
        return habits.focus_bracket(self.dice, self.camera, self.unlit(), plan, count=count)

    def back_to_back(self) -> list[Draft]:
        """Focus brackets shot back to back from one place."""
        plan = habits.focus_plan(self.dice, self.unlit(), max(5, self.most // 3))
        times = self.dice.randrange(2, 5)
        about = f"focus bracket of {plan.planned}, one of {times} back to back"
        return [replace(self._bracket_of(plan), about=about) for _ in range(times)]

    def retake(self) -> list[Draft]:
        """A bracket from the wrong end or with too few frames, then again with more."""
        plan = habits.focus_plan(self.dice, self.unlit(), max(8, self.most // 2))
        more = replace(plan, planned=plan.planned * 2, start=max(0.17, plan.start - 0.06))
        count = max(5, plan.planned * 2 // 3)
        first = replace(self._bracket_of(plan, count), about="focus bracket from the wrong end")
        again = replace(self._bracket_of(more), about="focus bracket shot again with more frames")
        return [first, replace(again, pause=(2, 10))]

    def stopped(self) -> list[Draft]:
        """A bracket that was stopped early."""
        plan = habits.focus_plan(self.dice, self.unlit(), self.most)
        plan = replace(plan, planned=plan.planned + 20)
        count = self.dice.randrange(5, max(6, plan.planned - 15))
        draft = self._bracket_of(plan, count)
        return [replace(draft, about=f"{draft.about}, stopped early")]

    def goes_on(self) -> list[Draft]:
        """A bracket that ended at the lens's stop, and one that goes on from there."""
        plan = habits.focus_plan(self.dice, self.unlit(), max(8, self.most // 2))
        count = max(5, plan.planned * 3 // 4)
        ahead = replace(plan, start=plan.start + plan.step * count)
        first = replace(self._bracket_of(plan, count), about="focus bracket to the lens's stop")
        second = replace(
            self._bracket_of(ahead), about="focus bracket going on from the one before"
        )
        return [first, replace(second, pause=(2, 20))]

    def flash_bracket(self) -> list[Draft]:
        """A focus bracket with flash, which recycles between some slices."""
        subject = self.lit()
        plan = habits.focus_plan(self.dice, subject, min(60, self.most))
        draft = habits.focus_bracket(self.dice, self.camera, subject, plan)
        # Without a flag, a number or a drive nothing holds such slices together but their beat.
        uneven = self.camera.tells_focus_bracket or self.camera.tells_number
        if uneven:
            return [habits.recycling(self.dice, draft)]
        return (
            [replace(draft, about=f"{draft.about} with flash")] if self.camera.tells_drive else []
        )

    def merged_bracket(self) -> list[Draft]:
        """A bracket with the body's own merged picture; of OM in the order middle, near, far."""
        if not self.merges:
            return self.whole_bracket()
        if self.camera.distance == "mm":
            return [habits.from_the_middle(self.dice, self.camera, self.subject, self.most)]
        plan = habits.focus_plan(self.dice, self.unlit(), min(40, self.most))
        return [habits.merged(self.dice, self._bracket_of(plan))]

    def slowed(self) -> list[Draft]:
        """A long bracket that fills the buffer."""
        plan = habits.focus_plan(self.dice, self.unlit(), self.most)
        plan = replace(plan, planned=max(20, plan.planned))
        return [habits.buffered(self.dice, self._bracket_of(plan))]

    def foldered(self) -> list[Draft]:
        """A bracket that the body puts into a folder of its own, numbered from 0001."""
        if not self.own_folders:
            return self.whole_bracket()
        about = "focus bracket in a folder of its own"
        return [replace(draft, own_folder=True, about=about) for draft in self.whole_bracket()]

    def plain_bursts(self) -> list[Draft]:
        """One to four bursts."""
        most = max(5, self.most // 3)
        return [
            habits.burst(self.dice, self.subject, most) for _ in range(self.dice.randrange(1, 5))
        ]

    def splashes(self) -> list[Draft]:
        """Wave splash with flash. Of bodies without a drive nothing tells such a burst."""
        told = self.camera.tells_drive
        return [habits.spray(self.dice, self.subject, self.most)] if told else []

    def moving(self) -> list[Draft]:
        """A burst that follows a crab."""
        return [habits.tracking(self.dice, self.subject, self.most)]

    def rocked(self) -> list[Draft]:
        """A hand-held burst."""
        return [habits.rocking(self.dice, self.subject, self.most)]

    def by_hand(self) -> list[Draft]:
        """A manual stack, sometimes shot twice."""
        draft = habits.manual_stack(self.dice, self.camera, self.subject)
        if self.dice.random() < 0.7:
            return [draft]
        again = habits.once_more(self.dice, draft)
        # Where the files tell the focus, it falls back; else only the pause tells.
        return [draft, replace(again, pause=(4, 20), sure=self.camera.tells_distance)]

    def exposures(self) -> list[Draft]:
        """An exposure bracket."""
        return [habits.exposure_bracket(self.dice, self.camera, self.subject)]

    def exposure_sets(self) -> list[Draft]:
        """The same exposure bracket several times: where the pattern repeats a set begins."""
        draft = habits.exposure_bracket(self.dice, self.camera, self.subject)
        sets = self.dice.randrange(2, 6)
        pause = (1.5, 3) if draft.beat < 1 else (draft.beat, 1.5 * draft.beat)
        about = f"{draft.about}, one of {sets} in a row"
        again = replace(habits.once_more(self.dice, draft), about=about, pause=pause, sure=True)
        return [replace(draft, about=about), *[again] * (sets - 1)]

    def turned_exposures(self) -> list[Draft]:
        """Exposures changed by hand."""
        return [habits.exposures_by_hand(self.dice, self.subject, self.most)]

    def tide(self) -> list[Draft]:
        """An interval series."""
        return [habits.interval(self.dice, self.subject, self.most)]

    def one(self) -> list[Draft]:
        """A single."""
        return [habits.single(self.by_autofocus())]

    def some(self) -> list[Draft]:
        """A small run of singles by autofocus, each of something else and unevenly apart."""
        singles = []
        count = self.dice.randrange(2, 4 if not self.camera.tells_drive else 7)
        for _ in range(count):
            self.subject = self._fresh(self.subject.base)
            apart = (15, 300) if not self.camera.tells_drive else (4, 60)
            about = "single in a small run"
            singles.append(replace(habits.single(self.by_autofocus(), about), pause=apart))
        return singles

    def wandering(self) -> list[Draft]:
        """Singles in manual focus at wandering distances, where the files tell these."""
        if not self.camera.tells_distance:
            return self.some()
        return habits.wandering(self.dice, self.subject)

    def same_set_up(self) -> list[Draft]:
        """A single of the same set-up right before or after a focus bracket."""
        single = habits.single(self.by_autofocus(), "single of the same set-up as a bracket")
        bracket = self.whole_bracket()
        return [single, *bracket] if self.dice.random() < 0.5 else [*bracket, single]

    def left_on(self) -> list[Draft]:
        """A lone frame with bracketing left on."""
        left_on: Bracket = "focus" if self.dice.random() < 0.5 else "exposure"
        return [habits.left_on(self.camera, self.subject, left_on)]

    def clip(self) -> list[Draft]:
        """A clip."""
        return [habits.clip(self.subject)]

    def undecidable(self) -> list[Draft]:
        """What the files of a body cannot tell; only of bodies that tell little."""
        if self.camera.tells_number or self.camera.tells_distance:
            return []
        if self.dice.random() < 0.5:
            return self._one_beat_apart()
        return self._before_a_stack()

    def _one_beat_apart(self) -> list[Draft]:
        draft = habits.burst(self.dice, self.subject, self.most // 2)
        about = f"{draft.about}, one of two alike, one beat apart: nothing tells them apart"
        twin = replace(draft, about=about, decidable=False)
        return [twin, replace(twin, pause=(draft.beat, draft.beat * 1.05))]

    def _before_a_stack(self) -> list[Draft]:
        stack = habits.manual_stack(self.dice, self.camera, self.subject)
        about = "a single a beat before a manual stack, all settings alike and no focus told"
        lone = Draft(kind="single", about=about, shots=stack.shots[:1], decidable=False)
        pause = (stack.beat * 0.8, stack.beat * 1.2)
        return [lone, replace(stack, decidable=False, pause=pause, about=f"{stack.about}; {about}")]


SCENARIOS: dict[Callable[[_Afternoon], list[Draft]], float] = {
    _Afternoon.whole_bracket: 4,
    _Afternoon.back_to_back: 3,
    _Afternoon.retake: 2,
    _Afternoon.stopped: 2,
    _Afternoon.goes_on: 1.5,
    _Afternoon.flash_bracket: 3,
    _Afternoon.merged_bracket: 2,
    _Afternoon.slowed: 1,
    _Afternoon.foldered: 1.5,
    _Afternoon.plain_bursts: 3,
    _Afternoon.splashes: 2,
    _Afternoon.moving: 2,
    _Afternoon.rocked: 2,
    _Afternoon.by_hand: 4,
    _Afternoon.exposures: 3,
    _Afternoon.exposure_sets: 2,
    _Afternoon.turned_exposures: 2,
    _Afternoon.tide: 1.5,
    _Afternoon.one: 4,
    _Afternoon.some: 4,
    _Afternoon.wandering: 2,
    _Afternoon.same_set_up: 2,
    _Afternoon.left_on: 1.5,
    _Afternoon.clip: 0.7,
    _Afternoon.undecidable: 0.4,
}
"""What is done next, and how often."""
