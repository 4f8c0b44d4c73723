"""The demo shoot: a rock pool at low tide on 17 May 2026, with two bodies and what goes wrong.

Everything is planned here as values; nothing is drawn or written. Times are local (UTC+1). The
first body's clock is right, the second body's is four minutes ahead and knows no sub-seconds.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from fractions import Fraction
from typing import TYPE_CHECKING, Literal

from cardmaking.shots import Shot

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from cardmaking.draw import Subject

Look = Literal["plain", "misfire", "cap"]
Kind = Literal[
    "focus-bracket",
    "manual-stack",
    "exposure-bracket",
    "burst",
    "interval",
    "single",
    "clip",
    "undated",
    "unreadable",
]
FRAMELESS = frozenset({"clip", "undated", "unreadable"})

DAY = datetime(2026, 5, 17)  # noqa: DTZ001  a camera's clock has no zone
LAST_NUMBER = 9999


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """A camera body: how far its clock is ahead, how it names files and folders."""

    name: str
    ahead: timedelta
    subsec_digits: int
    folder: str
    prefix: str
    first_number: int | None
    """None: chosen so that the counter runs over where a series says."""


CANON = Body(
    name="EOS R8",
    ahead=timedelta(0),
    subsec_digits=2,
    folder="CANON",
    prefix="IMG_",
    first_number=None,
)
OM = Body(
    name="OM-1",
    ahead=timedelta(minutes=4),
    subsec_digits=0,
    folder="OMSYS",
    prefix="P517",
    first_number=118,
)

MACRO = Shot(
    make="Canon",
    model="Canon EOS R8",
    serial="083021004417",
    lens="100mm F2.8 Macro",
    captured=None,
    offset="+01:00",
    f_number=5.6,
    exposure=Fraction(1, 250),
    iso=400,
)
LIT = replace(MACRO, flash="fired", exposure=Fraction(1, 160), iso=100, f_number=8.0)
WIDE = replace(MACRO, lens="24mm F1.8 Close Focus", focal_mm=24, f_number=6.3)
SECOND = Shot(
    make="OM Digital Solutions",
    model="OM-1",
    serial="BJ7A60417",
    lens="60mm F2.8 Macro",
    captured=None,
    offset="   :  ",
    focal_mm=60,
    f_number=4.5,
    exposure=Fraction(1, 320),
    iso=400,
    step_limits=(1500, 9800),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One press of the shutter: what the camera writes, and what is to be seen."""

    shot: Shot
    taken: datetime
    focus: float
    """Depth of the plane of focus in the scene, 0 nearest to 1."""
    ev: float = 0.0
    splash: float | None = None
    blur: float = 60.0
    """Radius in pixels that one unit of depth off the plane of focus makes."""
    shift: tuple[float, float] = (0.0, 0.0)
    growth: float = 1.0
    wind: float = 0.0
    look: Look = "plain"
    about: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Pictures that belong together, in the order in which they were taken.

    sidecars maps a position (from 1) to the form of the sidecar's name: ``short`` is NAME.xmp,
    ``long`` is NAME.CR3.xmp. cut is the position whose JPEG was written only by half.
    """

    kind: Kind
    about: str
    subject: Subject
    seed: int
    pictures: tuple[Picture, ...]
    suffixes: tuple[str, ...] = ("CR3",)
    body: Body = CANON
    sidecars: Mapping[int, str] = field(default_factory=dict)
    cut: int | None = None
    verdict: str = ""
    """What the pictures of a stack come to, and at which end something of it is missing."""
    missing_end: str = ""
    rollover_at: int | None = None
    """Position of the first frame after the counter's 9999."""

    @property
    def planned(self) -> int | None:
        """The count that the camera was set to, where its files say so."""
        return self.pictures[0].shot.planned


WHOLE = (-0.03, 1.03)
"""Planes of focus from before the nearest part of a scene to behind its farthest one."""
FRONT = (-0.03, 0.66)
"""The same where a far background is to stay soft."""
WIND = {9: 4.0, 10: 6.0, 16: 5.0}
"""Pixels that a tuft sways by, by the position of the slice."""


def at(text: str) -> datetime:
    """The moment of the day from text such as ``13:02:11.34``."""
    hours, minutes, seconds = text.split(":")
    return DAY + timedelta(hours=int(hours), minutes=int(minutes), seconds=float(seconds))


def written(shot: Shot, body: Body, taken: datetime) -> Shot:
    """The shot with the time that the body's own clock shows."""
    shown = taken + body.ahead
    digits = body.subsec_digits
    fraction = f"{shown.microsecond:06d}"[:digits] if digits else None
    return replace(shot, captured=shown.replace(microsecond=0), subsec=fraction)


def moments(start: datetime, gaps: Sequence[float]) -> list[datetime]:
    """The start and one moment after each gap (seconds), on hundredths of a second."""
    out = [start]
    for gap in gaps:
        out.append(out[-1] + timedelta(milliseconds=10 * round(gap * 100)))
    return out


def steady(count: int, gap: float, spread: float, seed: int) -> list[float]:
    """The gaps between count frames: gap seconds, each off by up to spread."""
    dice = random.Random(f"gaps-{seed}")
    return [dice.uniform(gap - spread, gap + spread) for _ in range(count - 1)]


def along(start: float, end: float, count: int, whole: int) -> list[float]:
    """The first count of whole even steps from start to end."""
    return [start + (end - start) * step / (whole - 1) for step in range(count)]


# ---- kinds ----------------------------------------------------------------------------------


def bracket(  # noqa: PLR0917  all of them differ from series to series
    shot: Shot,
    start: datetime,
    gaps: Sequence[float],
    metres: tuple[float, float],
    depths: tuple[float, float],
    planned: int,
) -> tuple[Picture, ...]:
    """A focus bracket that was set to planned frames and took one more than there are gaps.

    metres and depths are those of the first and of the last planned slice.
    """
    times = moments(start, gaps)
    nears = along(*metres, len(times), planned)
    planes = along(*depths, len(times), planned)
    base = replace(
        shot,
        bracket="focus",
        planned=planned,
        step_width=4,
        flash_interval_s=1 if shot.flash == "fired" else 0,
    )
    return tuple(
        Picture(
            shot=written(replace(base, near_m=near, far_m=near + 0.012), CANON, time),
            taken=time,
            focus=plane,
        )
        for time, near, plane in zip(times, nears, planes, strict=True)
    )


def manual_stack(
    start: datetime,
    gaps: Sequence[float],
    centimetres: Sequence[int],
    depths: tuple[float, float],
    blur: float,
) -> tuple[Picture, ...]:
    """A stack whose focus ring was turned by hand between flash-lit frames."""
    times = moments(start, gaps)
    planes = along(*depths, len(times), len(times))
    base = replace(LIT, focus_mode="manual", f_number=11.0)
    pictures = []
    for index, (time, near, plane) in enumerate(zip(times, centimetres, planes, strict=True)):
        shot = replace(base, near_m=near / 100, far_m=(near + 1) / 100)
        shift = (index % 3 - 1.0, (index * 2) % 5 - 2.0)
        pictures.append(
            Picture(
                shot=written(shot, CANON, time), taken=time, focus=plane, blur=blur, shift=shift
            )
        )
    return tuple(pictures)


def lone(
    shot: Shot, moment: str, focus: float, metres: float | None, body: Body = CANON
) -> tuple[Picture, ...]:
    """One frame by itself."""
    far = None if metres is None else metres + 0.02
    near = replace(shot, near_m=metres, far_m=far)
    taken = at(moment)
    return (Picture(shot=written(near, body, taken), taken=taken, focus=focus),)


SPEEDS = (15, 30, 60, 125, 250, 500, 1000)


def nominal(exposure: Fraction) -> Fraction:
    """The full-stop speed engraved on dials (seconds) that lies nearest to the exposure."""
    return Fraction(1, min(SPEEDS, key=lambda speed: abs(speed * exposure - 1)))


def exposures(
    shot: Shot, times: Sequence[datetime], stops: Sequence[int], *, by_bias: bool
) -> tuple[Picture, ...]:
    """An exposure bracket by shutter speed; the stops also stand in the bias when by_bias."""
    pictures = []
    for number, (time, stop) in enumerate(zip(times, stops, strict=True), start=1):
        framed = replace(
            shot,
            bracket="exposure",
            shot_number=number,
            exposure=nominal(shot.exposure * Fraction(2) ** stop),
            bias=Fraction(stop) if by_bias else Fraction(0),
            aeb_offset=Fraction(stop),
            near_m=0.41,
            far_m=0.44,
        )
        written_shot = written(framed, CANON, time)
        pictures.append(Picture(shot=written_shot, taken=time, focus=0.4, ev=stop))
    return tuple(pictures)


# ---- the shoot in order ---------------------------------------------------------------------


def shoot() -> list[Series]:
    """Every series of both bodies; those of one body stand in the order of capture."""
    return [
        *_opening(),
        *_back_to_back(),
        *_wrong_end_and_retake(),
        *_stopped_and_clip(),
        _splashes(),
        *_by_hand(),
        *_by_exposure(),
        _incoming_tide(),
        *_wide_lens(),
        *_endings(),
        *_second_body(),
    ]


def _opening() -> list[Series]:
    tries = [
        Series(
            kind="single",
            about="a try before the bracket",
            subject="limpets",
            seed=1,
            pictures=lone(MACRO, moment, focus, 0.35),
            suffixes=("CR3", "JPG"),
        )
        for moment, focus in (("13:02:11.34", 0.4), ("13:02:29.82", 0.45))
    ]
    gaps = steady(48, 0.16, 0.012, 1)
    pictures = bracket(MACRO, at("13:03:05.10"), gaps, (0.31, 0.38), WHOLE, 48)
    about = "focus bracket of 48, whole"
    whole = Series(
        kind="focus-bracket",
        about=about,
        subject="limpets",
        seed=1,
        verdict="complete",
        pictures=pictures,
    )
    return [*tries, whole]


def _back_to_back() -> list[Series]:
    series: list[Series] = []
    start = at("13:05:02.40")
    for turn in ("first", "second"):
        gaps = steady(30, 0.2, 0.015, 2 + len(series))
        pictures = bracket(MACRO, start, gaps, (0.33, 0.38), FRONT, 30)
        about = f"focus bracket of 30, {turn} of two shot back to back"
        series.append(
            Series(
                kind="focus-bracket",
                about=about,
                subject="anemone",
                seed=1,
                verdict="complete",
                pictures=pictures,
            )
        )
        start = pictures[-1].taken + timedelta(seconds=2.3)
    return series


def _wrong_end_and_retake() -> list[Series]:
    wrong_gaps, gaps = steady(20, 1.3, 0.12, 4), steady(72, 1.25, 0.15, 5)
    wrong = bracket(LIT, at("13:07:30.20"), wrong_gaps, (0.42, 0.48), (0.5, 1.03), 20)
    again = wrong[-1].taken + timedelta(seconds=9.4)
    retake = bracket(LIT, again, gaps, (0.3, 0.46), WHOLE, 72)
    return [
        Series(
            kind="focus-bracket",
            about="focus bracket of 20, started too far",
            subject="barnacles",
            seed=1,
            verdict="incomplete",
            missing_end="first",
            pictures=wrong,
        ),
        Series(
            kind="focus-bracket",
            about="focus bracket of 72, retake of the one before",
            subject="barnacles",
            seed=1,
            verdict="complete",
            pictures=retake,
            suffixes=("CR3", "JPG"),
            sidecars={1: "short", 2: "short", 36: "long", 40: "long", 72: "short"},
            cut=31,
        ),
    ]


def _stopped_and_clip() -> list[Series]:
    gaps = steady(11, 0.25, 0.02, 6)
    pictures = bracket(MACRO, at("13:11:20.55"), gaps, (0.32, 0.39), WHOLE, 48)
    clip = lone(replace(MACRO, exposure=Fraction(1, 50)), "13:13:04.70", 0.5, None)
    return [
        Series(
            kind="focus-bracket",
            about="focus bracket of 48, stopped after 11",
            subject="limpets",
            seed=2,
            verdict="incomplete",
            missing_end="last",
            pictures=pictures,
        ),
        Series(
            kind="clip",
            about="clip of the wave",
            subject="splash",
            seed=1,
            pictures=clip,
            suffixes=("MP4", "THM"),
        ),
    ]


SPLASH_COUNT = 24
SPLASH_PAUSES = {9: 1.42, 17: 1.86}
MISFIRE_AT = 13


def _splashes() -> Series:
    dice = random.Random("splashes")
    gaps = [SPLASH_PAUSES.get(n, dice.uniform(0.15, 0.6)) for n in range(1, SPLASH_COUNT)]
    base = replace(LIT, drive="continuous", focus_mode="manual", near_m=0.5, far_m=0.52)
    pictures = []
    for number, time in enumerate(moments(at("13:13:40.15"), gaps), start=1):
        misfire = number == MISFIRE_AT
        pictures.append(
            Picture(
                shot=written(base, CANON, time),
                taken=time,
                focus=0.6,
                splash=abs((number * 0.37) % 1.6 - 0.8) / 0.8,
                look="misfire" if misfire else "plain",
                about="flash misfired, the picture is dark" if misfire else "",
            )
        )
    about = "burst of a breaking wave with flash"
    return Series(kind="burst", about=about, subject="splash", seed=1, pictures=tuple(pictures))


def _by_hand() -> list[Series]:
    nine = manual_stack(
        at("13:16:05.62"),
        (3.1, 2.4, 5.6, 2.2, 3.7, 2.9, 4.4, 3.3),
        (32, 32, 33, 34, 34, 35, 35, 36, 37),
        FRONT,
        26.0,
    )
    cap_time = nine[-1].taken + timedelta(seconds=14.2)
    cap_shot = replace(LIT, focus_mode="manual", exposure=Fraction(1, 4), near_m=0.37, far_m=0.38)
    cap = Picture(shot=written(cap_shot, CANON, cap_time), taken=cap_time, focus=0.5, look="cap")
    seven = manual_stack(
        cap_time + timedelta(seconds=9.7),
        (2.6, 4.8, 3.2, 2.3, 3.9, 3.0),
        (34, 34, 35, 35, 36, 37, 37),
        WHOLE,
        12.0,
    )
    return [
        Series(
            kind="manual-stack",
            about="stack of 9, focus turned by hand",
            subject="anemone",
            seed=2,
            verdict="complete",
            pictures=nine,
        ),
        Series(
            kind="single",
            about="lens cap held on to part two series",
            subject="limpets",
            seed=3,
            pictures=(cap,),
        ),
        Series(
            kind="manual-stack",
            about="stack of 7, focus turned by hand",
            subject="limpets",
            seed=3,
            verdict="complete",
            pictures=seven,
        ),
    ]


def _by_exposure() -> list[Series]:
    held = replace(MACRO, drive="continuous", manual_exposure=False, exposure=Fraction(1, 125))
    pressed = replace(MACRO, exposure=Fraction(1, 60), f_number=11.0, focus_mode="manual")
    three = moments(at("13:18:41.08"), (0.17, 0.17))
    five = moments(at("13:19:22.51"), (1.7, 2.3, 1.6, 2.8))
    return [
        Series(
            kind="exposure-bracket",
            about="exposure bracket of 3, shutter held down",
            subject="barnacles",
            seed=2,
            pictures=exposures(held, three, (0, -1, 1), by_bias=True),
        ),
        Series(
            kind="exposure-bracket",
            about="exposure bracket of 5 in manual mode, one press each",
            subject="barnacles",
            seed=2,
            pictures=exposures(pressed, five, (0, -1, 1, -2, 2), by_bias=False),
        ),
    ]


DRIFT = (125, 125, 125, 160, 160, 200, 200, 200, 250, 250, 250, 320, 320, 400)


def _incoming_tide() -> Series:
    base = replace(MACRO, focus_mode="manual", manual_exposure=False, near_m=0.55, far_m=0.62)
    dice = random.Random("interval")
    pictures = []
    for number, denominator in enumerate(DRIFT):
        time = at("13:20:30.42") + timedelta(seconds=10 * number + dice.randrange(-3, 4) / 100)
        shot = written(replace(base, exposure=Fraction(1, denominator)), CANON, time)
        pictures.append(Picture(shot=shot, taken=time, focus=0.5, splash=0.1 * (number % 4)))
    return Series(
        kind="interval",
        about="the tide coming in, a frame every 10 s, exposure drifting by thirds",
        subject="splash",
        seed=2,
        pictures=tuple(pictures),
        suffixes=("JPG",),
    )


def _wide_lens() -> list[Series]:
    tries = [
        Series(
            kind="single",
            about="a try after the lens swap",
            subject="limpets",
            seed=4,
            pictures=lone(WIDE, moment, focus, 0.2),
        )
        for moment, focus in (("13:26:02.27", 0.3), ("13:26:15.90", 0.5))
    ]
    gaps = steady(25, 0.23, 0.015, 7)
    pictures = bracket(WIDE, at("13:26:50.36"), gaps, (0.16, 0.25), WHOLE, 25)
    pictures = tuple(
        replace(each, blur=34.0, wind=WIND.get(place, 0.0))
        for place, each in enumerate(pictures, 1)
    )
    about = "focus bracket of 25 over the counter's end, in two folders"
    across = Series(
        kind="focus-bracket",
        about=about,
        subject="limpets",
        seed=4,
        verdict="complete",
        pictures=pictures,
        rollover_at=11,
    )
    return [*tries, across]


def _endings() -> list[Series]:
    left_on = replace(WIDE, bracket="focus", planned=30, step_width=4)
    plain: tuple[Kind, str, Shot] = ("single", "a try at the end", WIDE)
    rows: list[tuple[Kind, str, Shot, str, tuple[str, ...]]] = [
        (*plain, "13:28:30.18", ("CR3", "JPG")),
        ("undated", "JPEG without any Exif", WIDE, "13:28:41.00", ("JPG",)),
        (*plain, "13:28:52.66", ("CR3",)),
        ("single", "focus bracketing left on, one frame only", left_on, "13:29:40.09", ("CR3",)),
        ("unreadable", "empty file, its JPEG is missing", WIDE, "13:30:05.00", ("CR3",)),
        (*plain, "13:30:25.73", ("CR3",)),
    ]
    return [
        Series(
            kind=kind,
            about=about,
            subject="barnacles",
            seed=3 + index,
            pictures=lone(shot, moment, 0.3 + 0.1 * index, 0.22),
            suffixes=suffixes,
        )
        for index, (kind, about, shot, moment, suffixes) in enumerate(rows)
    ]


def _second_body() -> list[Series]:
    return [_second_burst(), *_second_tries(), _second_bracket()]


def _second_burst() -> Series:
    base = replace(SECOND, drive="continuous", near_m=0.48, far_m=0.48, focus_step=3900)
    pictures = []
    times = moments(at("13:12:12.14"), steady(8, 0.1, 0.004, 8))
    for number, time in enumerate(times, start=1):
        shot = written(replace(base, shot_number=number), OM, time)
        pictures.append(Picture(shot=shot, taken=time, focus=0.6, splash=0.1 * number))
    return Series(
        kind="burst",
        about="plain burst of 8, second body",
        subject="splash",
        seed=3,
        pictures=tuple(pictures),
        suffixes=("JPG",),
        body=OM,
    )


def _second_tries() -> list[Series]:
    return [
        Series(
            kind="single",
            about="a try, second body",
            subject="anemone",
            seed=5 + index,
            pictures=lone(replace(SECOND, focus_step=7200), moment, focus, 0.25, OM),
            suffixes=("ORF", "JPG"),
            body=OM,
        )
        for index, (moment, focus) in enumerate(
            (("13:17:45.60", 0.3), ("13:18:02.35", 0.4), ("13:18:21.20", 0.5))
        )
    ]


def _second_bracket() -> Series:
    base = replace(SECOND, bracket="focus", drive="continuous", step_width=3)
    pictures = []
    times = moments(at("13:20:52.05"), steady(15, 0.2, 0.01, 9))
    for index, time in enumerate(times):
        metres = round(0.232 + 0.0026 * index, 4)
        shot = replace(
            base, shot_number=index + 1, near_m=metres, far_m=metres, focus_step=8400 - 150 * index
        )
        pictures.append(
            Picture(
                shot=written(shot, OM, time),
                taken=time,
                focus=FRONT[0] + (FRONT[1] - FRONT[0]) * index / (len(times) - 1),
                blur=40.0,
                shift=(0.8 * index, -0.3 * index),
                growth=1 + 0.001 * index,
            )
        )
    return Series(
        kind="focus-bracket",
        about="focus bracket of 15, second body, while the first took its interval series",
        subject="anemone",
        seed=3,
        verdict="complete",
        pictures=tuple(pictures),
        suffixes=("ORF", "JPG"),
        body=OM,
    )
