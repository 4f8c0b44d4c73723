"""Small cards of real files, shot in a few words and held against a label; all figures are invented.

A card is shot press by press on one body: `Card(CANON).bracket(30, start=0.30, after=2)`. Bodies tell
as little as their makers do: one tells centimetres and its plan, one motor steps, whole seconds and a
shot number, one step offsets and a shot number, two write plain Exif, with and without fractions.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from fractions import Fraction
from functools import cache
from io import BytesIO
from pathlib import Path

from PIL import Image

from cardmaking import containers
from cardmaking.shots import Shot
from sorter import pipeline
from sorter.model.frame import Frame
from sorter.model.kinds import NO_FRAME_KINDS
from sorter.model.sequence import Account
from sorter.model.sequence import Sequence as Found
from sorter.settings import Settings

START = datetime(2026, 5, 17, 13, 2, 11)  # noqa: DTZ001  a camera's clock has no zone
LAST_NUMBER = 9999
JITTER = 0.04  # of a beat that the camera keeps
TIMER_JITTER_S = 0.02
RAW_SIZE = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """A camera body: what it writes into every frame, and how it names files and folders.

    digits: of the second. tells: how it tells its focus ("cm", "steps", "offset" within a focus
    bracket, or ""). folder, prefix: of its DCF names.
    """

    name: str
    shot: Shot
    digits: int
    tells: str
    folder: str
    prefix: str


_COMMON = Shot(
    make="", model="", captured=None, lens="100mm F2.8 Macro", f_number=5.6,
    exposure=Fraction(1, 160), iso=200,
)  # fmt: skip
CANON = Body(
    name="canon", digits=2, tells="cm", folder="CANON", prefix="IMG_",
    shot=replace(_COMMON, make="Canon", model="Canon EOS R8", serial="083021004417"),
)  # fmt: skip
OM = Body(
    name="om", digits=0, tells="steps", folder="OMSYS", prefix="P517",
    shot=replace(
        _COMMON, make="OM Digital Solutions", model="OM-1", serial="BJ7A60417",
        lens="60mm F2.8 Macro", focal_mm=60, step_limits=(1500, 9800), step_width=3,
    ),
)  # fmt: skip
PANASONIC = Body(
    name="panasonic", digits=3, tells="offset", folder="_PANA", prefix="P100",
    shot=replace(
        _COMMON, make="Panasonic", model="DC-G9M2", serial="WL7BA0417", lens="45mm F2.8 Macro",
        focal_mm=45,
    ),
)  # fmt: skip
PLAIN = Body(
    name="plain", digits=2, tells="", folder="TIDES", prefix="TIDE",
    shot=replace(_COMMON, make="Tidepool", model="Tidepool R8", serial="0417"),
)  # fmt: skip
COARSE = replace(PLAIN, name="plain-whole-seconds", digits=0)
MAKERS = (CANON, OM, PANASONIC)
ALL = (*MAKERS, PLAIN, COARSE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Press:
    """One press of the shutter: what the camera writes, and the files' paths below the card.

    edited: those of the paths that hold another picture than the camera wrote, made from it later.
    behind: what the camera made of this press and others, which is no press.
    """

    shot: Shot
    number: int
    paths: tuple[str, ...]
    edited: frozenset[str] = frozenset()
    behind: tuple[Press, ...] = ()

    def copied(self, path: str, *, edited: bool = False) -> Press:
        """The press with one more file, of the same bytes or with another picture."""
        more = frozenset([path]) if edited else frozenset()
        return replace(self, paths=(*self.paths, path), edited=self.edited | more)

    def moved(self, shift: timedelta) -> Press:
        """The same press by a clock that was set on (or back) by so much."""
        taken = self.shot.captured
        assert taken is not None
        return replace(self, shot=replace(self.shot, captured=taken + shift))

    def renamed(self, one: str, other: str) -> Press:
        """The same press with one part of its name in place of another."""
        return replace(self, paths=tuple(path.replace(one, other) for path in self.paths))


class Card:
    """Presses of one body, one after the other; every verb returns the card itself.

    after: seconds from the start of the frame before to the first one's. beat: seconds from start to
    start within a series, or one figure for each frame but the first. Distances are metres.
    """

    def __init__(self, body: Body, *, number: int = 101, seed: int = 4, **settings: object) -> None:
        self.body = body
        self.base = replace(body.shot, **settings)  # type: ignore[arg-type]
        self.number = number
        self.directory = 100
        self.at = START
        self.up_s = 60.0
        self.presses: list[Press] = []
        self._dice = random.Random(seed)

    # ---- single presses ----------------------------------------------------------------------

    def change(self, **settings: object) -> Card:
        """Other settings from here on."""
        self.base = replace(self.base, **settings)  # type: ignore[arg-type]
        return self

    def press(
        self, after: float = 0.0, at: float | None = None, *,
        offset: int = 0, files: Sequence[str] = ("JPG",), **facts: object,
    ) -> Card:  # fmt: skip
        """One frame, focused at so many metres (None: the body does not tell)."""
        self.at += timedelta(seconds=after)
        self.up_s += after
        shot = replace(self.base, **facts, **self._focus(at, offset))  # type: ignore[arg-type]
        shot = replace(shot, **self._time(), uptime_s=self.up_s)  # type: ignore[arg-type]
        folder = f"DCIM/{self.directory}{self.body.folder}"
        stem = f"{folder}/{self.body.prefix}{self.number:04d}"
        paths = tuple(f"{stem}.{ending}" for ending in files)
        self.presses.append(Press(shot=shot, number=self.number, paths=paths))
        self._count_on()
        return self

    def _count_on(self) -> None:
        self.number += 1
        if self.number > LAST_NUMBER:
            self.number, self.directory = 1, self.directory + 1

    def _time(self) -> dict[str, object]:
        digits = self.body.digits
        fraction = f"{self.at.microsecond:06d}"[:digits] if digits else None
        return {"captured": self.at.replace(microsecond=0), "subsec": fraction}

    def _focus(self, metres: float | None, offset: int) -> dict[str, object]:
        if self.body.tells == "offset":
            return {"focus_step": offset}
        if metres is None or not self.body.tells:
            return {}
        if self.body.tells == "cm":
            return {"near_m": metres, "far_m": metres + 0.012}
        return {"near_m": metres, "far_m": metres, "focus_step": 1500 + round(1660 / metres)}

    def single(self, after: float, at: float | None = 0.35, **facts: object) -> Card:
        """One frame by itself, in single drive."""
        return self.press(after, at, **{"drive": "single", "bracket": "off"} | facts)  # type: ignore[arg-type]

    # ---- series ------------------------------------------------------------------------------

    def series(
        self, places: Sequence[float | None], *, after: float, beat: float | Sequence[float],
        numbered: bool = True, first: int = 1, offsets: Sequence[int] = (), **facts: object,
    ) -> Card:  # fmt: skip
        """One frame for each place of focus; numbered: the camera counts them, from `first`."""
        for index, (gap, place) in enumerate(
            zip(self._gaps(after, beat, len(places)), places, strict=True)
        ):
            shot_number = first + index if numbered else 0
            offset = offsets[index] if offsets else shot_number - 1
            self.press(gap, place, offset=offset, **{"shot_number": shot_number} | facts)  # type: ignore[arg-type]
        return self

    def _gaps(self, after: float, beat: float | Sequence[float], count: int) -> list[float]:
        if isinstance(beat, float | int):
            spread = self._dice.uniform
            return [after] + [beat * (1 + spread(-JITTER, JITTER)) for _ in range(count - 1)]
        assert len(beat) == count - 1
        return [after, *beat]

    def bracket(
        self, count: int, *, start: float = 0.30, step: float = 0.004, after: float = 5.0,
        beat: float | Sequence[float] = 0.2, planned: int | None = None, **facts: object,
    ) -> Card:  # fmt: skip
        """The camera's focus bracket, near to far; it was set to so many frames as it took, or more."""
        told = {"bracket": "focus", "drive": "continuous", "planned": planned or count}
        places = [start + step * index for index in range(count)]
        return self.series(places, after=after, beat=beat, **told | facts)  # type: ignore[arg-type]

    def burst(
        self, count: int, *, at: float | Sequence[float] = 0.45, after: float = 5.0,
        beat: float | Sequence[float] = 0.12, **facts: object,
    ) -> Card:  # fmt: skip
        """The shutter held down; at: where focus is locked, or each frame's place."""
        places = [at] * count if isinstance(at, float) else list(at)
        told = {"drive": "continuous", "bracket": "off"}
        return self.series(places, after=after, beat=beat, **told | facts)  # type: ignore[arg-type]

    def by_hand(
        self, places: Sequence[float | None], *, after: float = 20.0,
        beat: float | Sequence[float], **facts: object,
    ) -> Card:  # fmt: skip
        """Focus turned on the ring, one press for each place, lit by a flash."""
        told = {"drive": "single", "bracket": "off", "focus_mode": "manual", "flash": "fired"}
        return self.series(places, after=after, beat=beat, numbered=False, **told | facts)  # type: ignore[arg-type]

    def interval(self, speeds: Sequence[int], *, period: float, after: float = 30.0) -> Card:
        """A timer's frames, one for each shutter speed (the denominator)."""
        for index, speed in enumerate(speeds):
            gap = period + self._dice.uniform(-TIMER_JITTER_S, TIMER_JITTER_S)
            facts = {"focus_mode": "manual", "exposure": Fraction(1, speed)}
            self.single(gap if index else after, 0.55, **facts)
        return self

    def exposures(
        self, stops: Sequence[Fraction | int], *, after: float = 6.0, beat: float = 0.25,
        by_bias: bool = True, bracket: str = "exposure", drive: str = "continuous",
    ) -> Card:  # fmt: skip
        """An exposure bracket by shutter speed; the stops stand in the bias where by_bias."""
        for index, stop in enumerate(stops):
            ev = Fraction(stop)
            seconds = Fraction(1, max(1, round(60 / 2.0 ** float(ev))))
            self.press(
                beat if index else after, 0.41, shot_number=index + 1, bracket=bracket, drive=drive,
                exposure=seconds, bias=ev if by_bias else Fraction(0), aeb_offset=ev,
                manual_exposure=not by_bias,
            )  # fmt: skip
        return self

    # ---- what happens to a card --------------------------------------------------------------

    def misfired(self, *positions: int) -> Card:
        """The flash stayed dark at these places among all presses, from 1; the camera says so."""
        for place in positions:
            press = self.presses[place - 1]
            self.presses[place - 1] = replace(press, shot=replace(press.shot, flash="off"))
        return self

    def dimmed(self, speeds: Sequence[int]) -> Card:
        """The light changed: every press so far at its own shutter speed (the denominator)."""
        for place, (press, speed) in enumerate(zip(self.presses, speeds, strict=True)):
            shot = replace(press.shot, exposure=Fraction(1, speed))
            self.presses[place] = replace(press, shot=shot)
        return self

    def automatic(self, *places: int) -> Card:
        """These presses (from 0) were exposed by the camera's automatic, by its own word."""
        for place in places:
            press = self.presses[place]
            shot = replace(press.shot, manual_exposure=False)
            self.presses[place] = replace(press, shot=shot)
        return self

    def without(self, *numbers: int) -> Card:
        """The frames of these file numbers were deleted in the camera."""
        self.presses = [press for press in self.presses if press.number not in numbers]
        return self

    def new_folder(self, number: int = 1) -> Card:
        """The next frame goes into a new folder and is numbered from there."""
        self.directory, self.number = self.directory + 1, number
        return self

    def clock(self, seconds: float) -> Card:
        """The camera's clock is set on (or back) by so much."""
        self.at += timedelta(seconds=seconds)
        return self

    def lying(self, root: Path) -> Path:
        """The card's files, written below the root."""
        made = (one for press in self.presses for one in (press, *press.behind))
        for press in made:
            for path in press.paths:
                edited = path in press.edited
                put(root / path, file_bytes(press.shot, path, press.paths, edited=edited))
        return root

    def account(self, root: Path) -> Account:
        """What the sorter makes of the card."""
        return scanned(self.lying(root))

    def found(self, root: Path) -> list[str]:
        """Kind and length of every sequence, in order."""
        return told(self.account(root))


# ---- files -----------------------------------------------------------------------------------


@cache
def picture(*, small: bool = False) -> bytes:
    """A very small JPEG of a wet rock; small: smaller still, and corrected."""
    out = BytesIO()
    Image.new("RGB", (8, 6) if small else (16, 12), (70, 80, 90)).save(out, "JPEG")
    return out.getvalue()


def file_bytes(shot: Shot, path: str, beside: Iterable[str] = (), *, edited: bool = False) -> bytes:
    """One file of the shot, by the ending of its path."""
    ending = path.rpartition(".")[2].upper()
    if ending == "CR3":
        small = picture()
        return containers.cr3(shot, small, containers.thumbnail(small), small, RAW_SIZE)
    if ending == "ORF":
        return containers.orf(shot, picture(), RAW_SIZE)
    with_raw = any(other.upper().endswith("CR3") for other in beside)
    return containers.jpeg(shot, picture(small=edited), recorded=13 if with_raw else 1)


def put(path: Path, data: bytes) -> None:
    """The file, with the folders above it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)


# ---- what was found --------------------------------------------------------------------------


def scanned(root: Path) -> Account:
    """The account of the card below the root, by the settings as they come."""
    return pipeline.scan(root, Settings(), lambda *_: None)


def told(account: Account) -> list[str]:
    """Kind and length of every sequence, in order: "burst 12"."""
    return [f"{sequence.kind} {len(sequence.frames)}" for sequence in account.sequences]


def related(account: Account) -> list[str]:
    """Every relation of every sequence, in order: "3 retake of sequence 2"."""
    return [
        f"{number} {relation.related(relation.to + 1)}"
        for number, sequence in enumerate(account.sequences, 1)
        for relation in sequence.relations
    ]


def noted(sequence: Found) -> list[str]:
    """The sequence's notes without those on how sure it is."""
    return [note for note in sequence.notes if not note.startswith("unsure")]


def numbers(frames: Iterable[Frame]) -> list[str]:
    """The last four characters of each frame's name."""
    return [frame.files[0].file.stem[-4:] for frame in frames]


def loose(account: Account) -> dict[str, str]:
    """What is no frame: its kind by its path."""
    assert {kind for kind, _ in account.loose} <= NO_FRAME_KINDS
    return {file.path: str(kind) for kind, file in account.loose}
