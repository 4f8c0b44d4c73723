"""Small labelled series for tests of single cases, figure by figure."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import replace

from grouping.shoots import BODIES, Shoot
from sorter.grouping.account import account_for
from sorter.model.frame import Facts, Frame
from sorter.model.kinds import Bracketing, DriveMode, FocusMode, Kind
from sorter.model.sequence import Account

BASE = Facts(
    make="Rockpool", model="Planner", serial="0042", lens="100mm F2.8 Macro",
    exposure_time_s=1 / 160, f_number=4.0, iso=200.0, focal_length_mm=100.0, flash_fired=False,
    exposure_bias_ev=0.0, orientation=1,
)  # fmt: skip
BRACKET = {"bracketing": Bracketing.FOCUS, "drive_mode": DriveMode.SINGLE}
BURST = {
    "bracketing": Bracketing.OFF,
    "drive_mode": DriveMode.CONTINUOUS,
    "focus_mode": FocusMode.MANUAL,
}
HAND = {
    "bracketing": Bracketing.OFF,
    "drive_mode": DriveMode.SINGLE,
    "focus_mode": FocusMode.MANUAL,
    "flash_fired": True,
}
TRY = {
    "bracketing": Bracketing.OFF,
    "drive_mode": DriveMode.SINGLE,
    "focus_mode": FocusMode.AUTO,
}


def start(**facts: object) -> Shoot:
    """A card without frames, of a body that tells distances."""
    base = replace(BASE, **facts)  # type: ignore[arg-type]
    return Shoot(body=BODIES["planner"], rng=random.Random(0), base=base)


def at(distance_m: float) -> dict[str, object]:
    """Focus at so many metres, told in whole centimetres."""
    return {"focus_near_m": round(distance_m, 2), "focus_far_m": round(distance_m * 1.02, 2)}


def candidate(
    made: Shoot, pauses: Sequence[float], distances: Iterable[float] | None, **facts: object
) -> Shoot:
    """One frame a pause, each focused at the next distance (None: the body does not tell)."""
    places = list(distances) if distances is not None else [None] * len(pauses)
    for pause, place in zip(pauses, places, strict=True):
        made.press(pause, **facts, **(at(place) if place is not None else {}))
    return made


def even(first: float, beat: float, count: int) -> list[float]:
    """A pause before the first frame, then the same beat for the rest."""
    return [first] + [beat] * (count - 1)


def climbing(start_m: float, step: float, count: int) -> list[float]:
    """Distances that grow by the same factor from slice to slice."""
    return [start_m * (1 + step) ** index for index in range(count)]


def account(made: Shoot) -> Account:
    """The best account of what was shot."""
    return account_for(made.reading())


def kinds(made: Shoot) -> list[tuple[Kind, int]]:
    """Kind and length of every sequence, in order."""
    return [(sequence.kind, len(sequence.frames)) for sequence in account(made).sequences]


def with_paths(frames: Iterable[Frame], paths: Iterable[str]) -> tuple[Frame, ...]:
    """The same frames under other paths."""
    return tuple(
        replace(frame, files=(replace(frame.files[0], file=replace(frame.files[0].file, path=p)),))
        for frame, p in zip(frames, paths, strict=True)
    )
