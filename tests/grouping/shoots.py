"""Random shoots at the level of frames, with their truth: invented data for tests of grouping.

Bodies of five habits: one that tells distances and its plan, one that tells motor steps and whole
seconds, one that tells step offsets, one that hides its focus, one that says nothing of its own.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace

from sorter.model.card import CardFile
from sorter.model.frame import Facts, Frame, ReadFile, Reading
from sorter.model.kinds import Bracketing, DriveMode, FocusMode, Kind, Role
from sorter.model.values import Moment

START_S = 1_780_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """What a body tells: digits of the second, distances, steps, offsets, tags, plan, numbers."""

    model: str
    digits: int = 2
    distance: str = ""  # "cm", "steps", "offset", ""
    tags: bool = True
    bracket_tag: bool = True
    plan: bool = False
    shots: bool = False


BODIES = {
    "planner": Body(model="Planner", distance="cm", plan=True),
    "stepper": Body(model="Stepper", digits=0, distance="steps", shots=True),
    "counter": Body(model="Counter", digits=3, distance="offset", shots=True),
    "hider": Body(model="Hider", bracket_tag=False),
    "silent": Body(model="Silent", tags=False, bracket_tag=False),
}


@dataclass(slots=True, kw_only=True)
class Shoot:
    """Frames being shot one after the other; truth: (kind, number of frames) in order."""

    body: Body
    rng: random.Random
    clock_us: int = START_S * 1_000_000
    number: int = 1
    directory: int = 100
    frames: list[Frame] = field(default_factory=list)
    truth: list[tuple[Kind, int]] = field(default_factory=list)
    base: Facts = field(default_factory=Facts)

    def press(self, pause_s: float, **facts: object) -> None:
        """One frame, so many seconds after the end of the last exposure."""
        last = self.frames[-1].facts.exposure_time_s if self.frames else 0.0
        self.clock_us += round((pause_s + (last or 0.0)) * 1e6)
        told = replace(self.base, **facts, moment=self._moment())  # type: ignore[arg-type]
        path = f"DCIM/{self.directory}ROCKP/POOL{self.number:04d}.JPG"
        file = ReadFile(
            fingerprint=1,
            file=CardFile(path=path, size=1000), role=Role.IMAGE, container="jpeg",
            is_picture=True, facts=told,
        )  # fmt: skip
        self.frames.append(Frame(files=(file,), facts=told))
        self.number += 1
        if self.number > 9999:
            self.number, self.directory = 1, self.directory + 1

    def _moment(self) -> Moment:
        seconds, micros = divmod(self.clock_us, 1_000_000)
        digits = f"{micros:06d}"[: self.body.digits] if self.body.digits else None
        return Moment(local_s=seconds, digits=digits)

    def reading(self) -> Reading:
        """All frames, in the order of their paths."""
        return Reading(frames=tuple(sorted(self.frames, key=lambda frame: frame.path)))


def _tags(body: Body, **facts: object) -> dict[str, object]:
    """Facts without what the body does not tell."""
    if not body.tags:
        facts.pop("drive_mode", None)
        facts.pop("focus_mode", None)
    if not body.bracket_tag:
        facts.pop("bracketing", None)
    if not body.plan:
        facts.pop("planned", None)
    if not body.shots:
        facts.pop("shot_number", None)
    return facts


def _focus(body: Body, distance_m: float, index: int | None = None) -> dict[str, object]:
    if body.distance == "cm":
        near = round(distance_m, 2)
        return {"focus_near_m": near, "focus_far_m": round(distance_m * 1.02, 2)}
    if body.distance == "steps":
        told = round(distance_m, 3)
        steps = {"focus_step": round(6000 / distance_m), "step_nearward": True}
        return steps | {"focus_near_m": told, "focus_far_m": told}
    if body.distance == "offset" and index is not None:
        return {"focus_step": index, "step_nearward": False}
    return {}


def shoot(seed: int, body: Body, target: int = 300) -> Shoot:
    """A random shoot of about so many frames."""
    rng = random.Random(seed)
    base = Facts(
        make="Rockpool", model=body.model, serial="0042", lens="100mm F2.8 Macro",
        exposure_time_s=1 / 160, f_number=rng.choice([2.8, 4.0, 5.6]),
        iso=rng.choice([100.0, 200.0, 400.0]), focal_length_mm=100.0, flash_fired=False,
        exposure_bias_ev=0.0, orientation=1,
    )  # fmt: skip
    made = Shoot(body=body, rng=rng, base=base, number=rng.randint(1, 9999))
    kinds = [bracket, bracket, twice, burst, spray, by_hand, exposures, ladder, interval, singles,
             singles, lone]  # fmt: skip
    while len(made.frames) < target:
        _maybe_change_settings(made)
        rng.choice(kinds)(made)
    return made


def _maybe_change_settings(made: Shoot) -> None:
    rng = made.rng
    if rng.random() < 0.15:
        made.base = replace(made.base, f_number=rng.choice([2.8, 4.0, 5.6, 8.0]))
    if rng.random() < 0.05:
        lens = rng.choice([("100mm F2.8 Macro", 100.0), ("24mm F1.8 Close Focus", 24.0)])
        made.base = replace(made.base, lens=lens[0], focal_length_mm=lens[1])


def _anew(made: Shoot) -> float:
    """A pause before a new series: back to back, or human."""
    if made.rng.random() < 0.25:
        return made.rng.uniform(1.6, 3.0)
    return min(600.0, made.rng.lognormvariate(2.6, 0.9)) + 2.5


def _slices(made: Shoot, count: int, planned: int, start_m: float, step: float) -> None:
    rng, body = made.rng, made.body
    flash = rng.random() < 0.3
    beat = rng.uniform(1.0, 3.5) if flash else rng.uniform(0.06, 0.7)
    mode = rng.choice([FocusMode.AUTO, FocusMode.MANUAL])
    drive = rng.choice([DriveMode.SINGLE, DriveMode.CONTINUOUS])
    for index in range(count):
        pause = _anew(made) if index == 0 else beat * rng.uniform(0.93, 1.07)
        if index and flash and rng.random() < 0.04:
            pause += rng.uniform(3, 12)
        facts = _tags(
            body, drive_mode=drive, focus_mode=mode, bracketing=Bracketing.FOCUS,
            planned=planned, shot_number=index + 1, flash_fired=flash,
        )  # fmt: skip
        made.press(pause, **facts, **_focus(body, start_m * (1 + step) ** index, index))
    kind = Kind.FOCUS_BRACKET if body.bracket_tag else Kind.BURST
    made.truth.append((kind, count))


def bracket(made: Shoot) -> None:
    """One focus bracket, now and then stopped."""
    planned = made.rng.randint(8, 100)
    count = planned if made.rng.random() < 0.8 else made.rng.randint(3, planned)
    _slices(made, count, planned, made.rng.uniform(0.2, 0.8), made.rng.uniform(0.004, 0.02))


def twice(made: Shoot) -> None:
    """A bracket from the wrong end, shot again with more frames."""
    start = made.rng.uniform(0.3, 0.6)
    count = made.rng.randint(8, 30)
    _slices(made, count, count, start * 1.2, 0.01)
    _slices(made, count * 2, count * 2, start, 0.01)


def burst(made: Shoot) -> None:
    """A burst without flash, focus locked or tracking."""
    rng, body = made.rng, made.body
    count, beat = rng.randint(4, 30), rng.uniform(0.05, 0.25)
    tracking = rng.random() < 0.3
    distance = rng.uniform(0.25, 1.0)
    for index in range(count):
        pause = _anew(made) if index == 0 else beat * rng.uniform(0.9, 1.1)
        distance *= rng.uniform(0.95, 1.05) if tracking else 1.0
        facts = _tags(
            body, drive_mode=DriveMode.CONTINUOUS, bracketing=Bracketing.OFF,
            focus_mode=FocusMode.AUTO, shot_number=index + 1,
        )  # fmt: skip
        made.press(pause, **facts, **_focus(body, distance))
    made.truth.append((Kind.BURST, count))


def spray(made: Shoot) -> None:
    """A flash-lit burst of uneven rhythm."""
    rng, body = made.rng, made.body
    count, distance = rng.randint(6, 40), rng.uniform(0.25, 0.6)
    for index in range(count):
        pause = _anew(made) + 1 if index == 0 else rng.uniform(0.12, 0.6)
        if index and rng.random() < 0.08:
            pause = rng.uniform(1.0, 2.0)
        facts = _tags(
            body, drive_mode=DriveMode.CONTINUOUS, bracketing=Bracketing.OFF,
            focus_mode=FocusMode.MANUAL, shot_number=index + 1, flash_fired=True,
        )  # fmt: skip
        made.press(pause, **facts, **_focus(body, distance))
    made.truth.append((Kind.BURST, count))


def by_hand(made: Shoot) -> None:
    """A stack turned by hand."""
    rng, body = made.rng, made.body
    count, distance, step = rng.randint(4, 16), rng.uniform(0.25, 0.6), rng.uniform(0.006, 0.03)
    beat = rng.uniform(1.5, 8)
    for index in range(count):
        pause = _anew(made) + 8 if index == 0 else beat * rng.lognormvariate(0, 0.3)
        facts = _tags(
            body, drive_mode=DriveMode.SINGLE, bracketing=Bracketing.OFF,
            focus_mode=FocusMode.MANUAL, flash_fired=True,
        )  # fmt: skip
        made.press(pause, **facts, **_focus(body, distance * (1 + step) ** index))
    made.truth.append((Kind.MANUAL_STACK, count))


ORDERS: dict[int, list[tuple[int, ...]]] = {
    3: [(0, -1, 1), (-1, 0, 1), (1, 0, -1)],
    5: [(0, -1, 1, -2, 2), (-2, -1, 0, 1, 2)],
    7: [(0, -1, 1, -2, 2, -3, 3), (-3, -2, -1, 0, 1, 2, 3)],
}


def exposures(made: Shoot) -> None:
    """Automatic exposure brackets, one or several in a row."""
    rng, body = made.rng, made.body
    count = rng.choice([3, 3, 5, 7])
    order, step = rng.choice(ORDERS[count]), rng.choice([2 / 3, 1.0, 2.0])
    manual = rng.random() < 0.3
    held = rng.random() < 0.6
    distance = rng.uniform(0.3, 2)
    for _ in range(rng.choice([1, 1, 2, 3])):
        for index, place in enumerate(order):
            pause = rng.uniform(0.1, 0.5) if held else rng.uniform(1.0, 4.0)
            pause = _anew(made) if index == 0 else pause
            ev = place * step
            facts = _tags(
                body, drive_mode=DriveMode.CONTINUOUS if held else DriveMode.SINGLE,
                bracketing=Bracketing.EXPOSURE, shot_number=index + 1, focus_mode=FocusMode.AUTO,
            )  # fmt: skip
            facts |= {"exposure_time_s": 2**ev / 60, "exposure_bias_ev": 0.0 if manual else ev}
            if body.bracket_tag:
                facts["bracket_offset_ev"] = ev
            made.press(pause, **facts, **_focus(body, distance))
        made.truth.append((Kind.EXPOSURE_BRACKET, count))


def ladder(made: Shoot) -> None:
    """Exposures changed by hand on a tripod."""
    rng, body = made.rng, made.body
    count, step = rng.randint(5, 12), rng.choice([1 / 3, 2 / 3, 1.0])
    beat = rng.uniform(3, 12)
    distance = rng.uniform(0.3, 2)
    for index in range(count):
        pause = _anew(made) + 10 if index == 0 else beat * rng.lognormvariate(0, 0.35)
        facts = _tags(
            body, drive_mode=DriveMode.SINGLE, bracketing=Bracketing.OFF,
            focus_mode=FocusMode.MANUAL,
        )  # fmt: skip
        facts |= {"exposure_time_s": 2 ** (index * step) / 250}
        made.press(pause, **facts, **_focus(body, distance))
    made.truth.append((Kind.EXPOSURE_BRACKET, count))


def interval(made: Shoot) -> None:
    """An interval series by the camera's timer, in light that drifts."""
    rng, body = made.rng, made.body
    count, period = rng.randint(6, 30), rng.choice([2.0, 5.0, 10.0, 30.0])
    distance, time = rng.uniform(0.4, 3), 1 / 125
    for index in range(count):
        last = made.frames[-1].facts.exposure_time_s if made.frames else 0.0
        pause = period - (last or 0) + rng.uniform(-0.02, 0.02)
        pause = _anew(made) + 3 if index == 0 else pause
        time *= 2 ** rng.choice([0, 0, 0, 1 / 3])
        facts = _tags(
            body, drive_mode=DriveMode.SINGLE, bracketing=Bracketing.OFF,
            focus_mode=FocusMode.MANUAL,
        )  # fmt: skip
        made.press(pause, exposure_time_s=time, **facts, **_focus(body, distance))
    made.truth.append((Kind.INTERVAL, count))


def singles(made: Shoot) -> None:
    """Single tries at human pace, wherever the eye falls."""
    rng, body = made.rng, made.body
    for _ in range(rng.randint(1, 4)):
        facts = _tags(
            body, drive_mode=DriveMode.SINGLE, bracketing=Bracketing.OFF,
            focus_mode=rng.choice([FocusMode.AUTO, FocusMode.AUTO, FocusMode.MANUAL]),
            flash_fired=rng.random() < 0.3,
        )  # fmt: skip
        if rng.random() < 0.6:
            facts["exposure_time_s"] = rng.choice([1 / 60, 1 / 100, 1 / 160, 1 / 250])
        pause = rng.lognormvariate(2.7, 0.8) + 4
        made.press(pause, **facts, **_focus(body, rng.uniform(0.2, 1.5)))
        made.truth.append((Kind.SINGLE, 1))


def lone(made: Shoot) -> None:
    """One frame with bracketing left on."""
    facts = _tags(
        made.body, drive_mode=DriveMode.SINGLE, bracketing=Bracketing.FOCUS, planned=40,
        focus_mode=FocusMode.AUTO, shot_number=1,
    )  # fmt: skip
    made.press(_anew(made) + 5, **facts, **_focus(made.body, made.rng.uniform(0.2, 1.5)))
    made.truth.append((Kind.SINGLE, 1))
