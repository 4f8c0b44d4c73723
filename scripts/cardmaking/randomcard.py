"""A random card as values: its bodies, the names of its files, and the truth about each of them."""

from __future__ import annotations

import random
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from cardmaking.afternoon import Press, Series, afternoon
from cardmaking.cameras import told

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from cardmaking.cameras import Camera
    from cardmaking.shots import Shot

COLUMNS = (
    "source",
    "frame",
    "sequence",
    "kind",
    "kind_by_tags",
    "position",
    "frames",
    "planned",
    "role",
    "maker",
    "decidable",
    "about",
)
"""kind is what happened, kind_by_tags what the files of such a body can tell of it."""

BEGIN = datetime(2026, 5, 17, 13)  # noqa: DTZ001  a camera's clock has no zone
LAST_NUMBER = 9999
ROLES = {"CR3": "raw", "ORF": "raw", "JPG": "image", "MP4": "clip", "xmp": "sidecar"}
HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """A press with its place on the card; shot is what the file tells.

    files are paths below the card. frame is False for what is no frame of the sequence: a picture
    merged by the body, an empty file, a clip.
    """

    shot: Shot
    files: tuple[str, ...]
    press: Press
    frame: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """A series with the files that are left of it."""

    camera: Camera
    series: Series
    taken: tuple[Taken, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """A body on a card: what it shoots into, how far its clock is ahead, its first numbers.

    set_back is the place of the first series after its clock was set back an hour.
    """

    camera: Camera
    suffixes: tuple[str, ...]
    ahead: timedelta
    first: int
    shoot: tuple[Series, ...]
    set_back: int | None = None


def planned(seed: int, frames: int, cameras: Sequence[Camera]) -> list[Named]:
    """The series of the card with that seed, in the order of capture."""
    dice = random.Random(f"card-{seed}")
    camera = dice.choice(cameras)
    others = [other for other in cameras if other.folder != camera.folder]
    if not others or dice.random() > 0.08:
        return _named(_body(dice, camera, frames), dice)
    second = _body(dice, dice.choice(others), frames // 3)
    ahead = timedelta(seconds=dice.choice((-1, 1)) * dice.randrange(60, 2400))
    bodies = _body(dice, camera, frames - frames // 3), replace(second, ahead=ahead)
    both = [one for body in bodies for one in _named(body, dice)]
    return sorted(both, key=lambda one: one.taken[0].press.second)


def _body(dice: random.Random, camera: Camera, frames: int) -> Body:
    suffixes = _suffixes(dice, camera)
    set_back, own_folders = dice.random() < 0.06, dice.random() < 0.5
    shoot = afternoon(
        camera,
        dice,
        frames,
        keeps_raw=suffixes != ("JPG",),
        own_folders=own_folders and not set_back,
    )
    near_end = dice.random() < 0.15
    first = LAST_NUMBER - dice.randrange(max(1, frames)) if near_end else dice.randrange(1, 9000)
    return Body(
        camera=camera,
        suffixes=suffixes,
        ahead=timedelta(0),
        first=first,
        shoot=tuple(shoot),
        set_back=dice.randrange(len(shoot)) if set_back else None,
    )


def _suffixes(dice: random.Random, camera: Camera) -> tuple[str, ...]:
    both: list[tuple[str, ...]] = [("JPG",)] * 6
    if camera.raw:
        both += [(camera.raw,)] * 2 + [(camera.raw, "JPG")] * 2
    return dice.choice(both)


# ---- names ----------------------------------------------------------------------------------


@dataclass(slots=True)
class _Counter:
    """Where the next file goes."""

    folder: int
    number: int

    def step(self) -> None:
        """On to the next number; behind the last one into a new folder."""
        self.number += 1
        if self.number > LAST_NUMBER:
            self.new_folder()

    def new_folder(self) -> None:
        """On to a new folder, whose numbers begin anew."""
        self.folder, self.number = self.folder + 1, 1


def _named(body: Body, dice: random.Random) -> list[Named]:
    """The body's series with their names; series of which no file is left fall away."""
    counter = _Counter(folder=100, number=body.first)
    named = []
    for index, series in enumerate(body.shoot):
        if series.own_folder:
            counter.new_folder()
        is_back = body.set_back is not None and index >= body.set_back
        ahead = body.ahead - HOUR * is_back
        taken = _taken_all(body, series, counter, ahead)
        if taken:
            taken[0] = _with_sidecar(taken[0]) if dice.random() < 0.015 else taken[0]
            named.append(Named(camera=body.camera, series=series, taken=tuple(taken)))
    return named


def _taken_all(body: Body, series: Series, counter: _Counter, ahead: timedelta) -> list[Taken]:
    first = counter.folder, counter.number
    out = []
    for press in series.presses:
        if not press.gone:
            out.append(_taken(body, series, press, counter, first, ahead))
        counter.step()
    return out


def _taken(  # noqa: PLR0917  all of them are read in one place
    body: Body,
    series: Series,
    press: Press,
    counter: _Counter,
    first: tuple[int, int],
    ahead: timedelta,
) -> Taken:
    when = BEGIN + timedelta(seconds=press.second) + ahead
    shot = told(body.camera, press.shot, when)
    if body.camera.name == "nikon-numbered":
        shot = replace(shot, burst_first=first)
    suffixes = ("MP4",) if series.kind == "clip" else body.suffixes
    if press.result:
        suffixes = ("JPG",)
    harm = press.harm if press.harm != "empty" or len(suffixes) == 1 else "cut"
    stem = _stem(body.camera, counter)
    return Taken(
        shot=shot,
        files=tuple(f"{stem}.{suffix}" for suffix in suffixes),
        press=replace(press, harm=harm),
        frame=not press.result and harm != "empty" and series.kind != "clip",
    )


def _stem(camera: Camera, counter: _Counter) -> str:
    prefix = f"P{counter.folder:03}" if camera.name == "panasonic" else camera.prefix
    return f"DCIM/{counter.folder}{camera.folder}/{prefix}{counter.number:04}"


def _with_sidecar(one: Taken) -> Taken:
    if not one.frame:
        return one
    return replace(one, files=(*one.files, f"{one.files[0].rpartition('.')[0]}.xmp"))


# ---- truth ----------------------------------------------------------------------------------


def truth(card: Iterable[Named]) -> list[dict[str, str]]:
    """The rows of the truth table: one for each file, in the order of capture."""
    rows: list[dict[str, str]] = []
    frame = sequence = 0
    for one in card:
        own = [taken for taken in one.taken if taken.frame]
        sequence += bool(own)
        places = {id(taken): place for place, taken in enumerate(own, start=1)}
        for taken in one.taken:
            frame += taken.frame
            place = places.get(id(taken), 0)
            rows += _rows(one, taken, (frame, sequence, place, len(own)))
    return rows


def _rows(one: Named, taken: Taken, numbers: tuple[int, int, int, int]) -> Iterator[dict[str, str]]:
    for source in taken.files:
        values = {
            "source": source,
            "kind": one.series.kind,
            "kind_by_tags": by_tags(one.camera, one.series),
            "role": ROLES[source.rpartition(".")[2]],
            "maker": one.camera.name,
            "decidable": "yes" if one.series.decidable else "no",
            "about": _about(one.series, taken, source),
            "planned": str(taken.shot.planned or "") if taken.frame else "",
        }
        values |= _numbers(taken, numbers)
        yield {column: values.get(column, "") for column in COLUMNS}


def _numbers(taken: Taken, numbers: tuple[int, int, int, int]) -> dict[str, str]:
    """The row's numbers and what depends on them, for frames and for what is none."""
    if taken.frame:
        names = ("frame", "sequence", "position", "frames")
        return dict(zip(names, map(str, numbers), strict=True))
    if taken.press.result:
        return {"sequence": str(numbers[1]), "role": "result"}
    if taken.press.harm == "empty":
        return {"kind": "unreadable", "kind_by_tags": "unreadable"}
    return {}


def by_tags(camera: Camera, series: Series) -> str:
    """The kind that the files can tell: a focus bracket of some bodies looks like a burst."""
    hidden = series.kind == "focus-bracket" and not camera.tells_focus_bracket
    return "burst" if hidden else series.kind


def _about(series: Series, taken: Taken, source: str) -> str:
    if taken.press.harm == "empty":
        return f"{series.about}; an empty file"
    if taken.press.harm == "cut" and source.endswith(".JPG"):
        return f"{series.about}; JPEG written only by half"
    return f"{series.about}; the merged picture" if taken.press.result else series.about
