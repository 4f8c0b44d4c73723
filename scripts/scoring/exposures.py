"""Exposure sets of real pictures on made cards: how many are found whole without a look at them and with one.

A view is a part of a picture (any folder of them, the corpus's as it is), rendered at each exposure by sRGB's
curve, with clipping, noise and a hand's drift. What changes beside: how many rungs and in which order, whole
seconds, pauses, automatic ISO, two sets of one view, walks and flights in automatic exposure, panoramas with a
set at each view. The Exif is a plain body's: it says nothing of brackets.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from fractions import Fraction
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final, TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from cardmaking.containers import jpeg
from cardmaking.shots import Shot
from sorter.disk.card import Card
from sorter.model.kinds import Kind
from sorter.model.sequence import Account
from sorter.pipeline.checking import check_account
from sorter.pipeline.scanning import accounted, reading_of
from sorter.pipeline.working import Workers
from sorter.settings import Settings

CORPUS: Final = Path("build/corpus/depth")
PICTURES: Final = (
    "astronaut.png",
    "chelsea.png",
    "coffee.png",
    "rocket.jpg",
    "motorcycle_left.png",
    "brick.png",
    "grass.png",
    "gravel.png",
    "camera.png",
    "hubble_deep_field.jpg",
    "ihc.png",
    "coins.png",
)
WIDTH, HEIGHT = 810, 540
ORDERS: Final = (
    (0, -1, 1),
    (-1, 0, 1),
    (0, -1, 1, -2, 2),
    (-2, -1, 0, 1, 2),
    (-3, -2, -1, 0, 1, 2, 3),
)
TIMES: Final = tuple(
    Fraction(text)
    for text in [
        "1/8000",
        "1/6400",
        "1/5000",
        "1/4000",
        "1/3200",
        "1/2500",
        "1/2000",
        "1/1600",
        "1/1250",
        "1/1000",
        "1/800",
        "1/640",
        "1/500",
        "1/400",
        "1/320",
        "1/250",
        "1/200",
        "1/160",
        "1/125",
        "1/100",
        "1/80",
        "1/60",
        "1/50",
        "1/40",
        "1/30",
        "1/25",
        "1/20",
        "1/15",
        "1/13",
        "1/10",
        "1/8",
        "1/6",
        "1/5",
        "1/4",
        "3/10",
        "4/10",
        "1/2",
        "6/10",
        "8/10",
        "1",
        "13/10",
        "16/10",
        "2",
        "25/10",
        "32/10",
        "4",
        "5",
        "6",
        "8",
        "10",
        "13",
        "15",
        "20",
        "25",
        "30",
    ]
)
"""What bodies name times by thirds of a stop (common practice, no source)."""
SENSITIVITIES: Final = (
    100,
    125,
    160,
    200,
    250,
    320,
    400,
    500,
    640,
    800,
    1000,
    1250,
    1600,
    2000,
    2500,
    3200,
    4000,
    5000,
    6400,
)
BODY: Final = Shot(
    make="Tidepool",
    model="R8",
    captured=None,
    serial="0417",
    f_number=8.0,
    lens="24-70mm F4",
    focal_mm=35,
)
NOON: Final = datetime(2026, 5, 17, 12, 0, 0)  # noqa: DTZ001  by the camera's clock

Plain = NDArray[np.float32]
Number = TypeVar("Number", int, Fraction)


@dataclass(slots=True)
class Pool:
    """A card as it grows.

    sets: names of the frames of each true set, and what they are a case of. view: of every frame, the
    number of what it shows. by_iso: a rung is made by sensitivity, as automatic ISO does where time is set.
    """

    folder: Path
    dice: np.random.Generator
    pictures: Sequence[Path]
    now: datetime = NOON
    whole_seconds: bool = False
    by_iso: bool = False
    sets: list[tuple[str, tuple[str, ...]]] = field(default_factory=list)
    view: dict[str, int] = field(default_factory=dict)
    views: int = 0

    def shoot(self, plain: Plain, ev: float, after_s: float, metered: float | None = None) -> str:
        """A frame, so far over or under what is metered (of itself where none is given); its name.

        Bodies step by thirds from the exposure that they metered, which is a third itself.
        """
        thirds = round(3 * ev)
        of = metered or _metered(plain)
        if self.by_iso:
            time, iso = _nearest(TIMES, UNIT * of / 800), SENSITIVITIES[9 + thirds]
        else:
            at = TIMES.index(_nearest(TIMES, UNIT * of / 100))
            time, iso = TIMES[min(max(0, at + thirds), len(TIMES) - 1)], 100
        self.now += timedelta(seconds=after_s + float(time))
        name = f"P{len(self.view) + 1:07d}.JPG"
        shot = replace(
            BODY,
            captured=self.now.replace(microsecond=0),
            subsec=None if self.whole_seconds else f"{self.now.microsecond // 10_000:02d}",
            exposure=time,
            iso=iso,
            manual_exposure=False,
        )
        shown = _rendered(plain, float(time) * iso / UNIT, self.dice)
        (self.folder / name).write_bytes(jpeg(shot, shown))
        self.view[name] = self.views
        return name

    def place(self) -> tuple[Plain, float, float]:
        """A picture, and where in it a frame is to lie; a new view."""
        self.views += 1
        whole = _grown(self.pictures[int(self.dice.integers(len(self.pictures)))])
        rows, columns = whole.shape
        x, y = (
            self.dice.uniform(60, columns - WIDTH - 60),
            self.dice.uniform(60, rows - HEIGHT - 60),
        )
        return whole, float(x), float(y)

    def rungs(self) -> tuple[float, ...]:
        """What a body may be set to, in EV."""
        order = ORDERS[self.dice.integers(len(ORDERS))]
        step = float(self.dice.choice(THREE if len(order) == FEWEST else MORE))
        return tuple(step * each for each in order)

    def take_set(
        self,
        case: str,
        place: tuple[Plain, float, float],
        first_s: float,
        pauses: tuple[float, float],
        rungs: tuple[float, ...] = (),
    ) -> None:
        """A set of the place, held by hand or on a tripod. rungs: as the body is set, if not at random."""
        drift = float(self.dice.choice([0.0, 1.0, 4.0, 10.0]))
        pause = self.dice.uniform(*pauses)
        metered = _metered(_part(*place, self.dice, 0)) * 2 ** self.dice.normal(0, 0.3)
        names = [
            self.shoot(
                _part(*place, self.dice, drift),
                rung,
                pause * self.dice.uniform(0.6, 1.7) if index else first_s,
                metered,
            )
            for index, rung in enumerate(rungs or self.rungs())
        ]
        self.sets.append((case, tuple(names)))


UNIT: Final = 100 / 125
"""Time times sensitivity at which the picture comes out as it is stored."""
FEWEST: Final = 3
THREE, MORE = (1.0, 2.0, 3.0), (0.67, 1.0)
"""Steps of sets of three and of more, in EV (common practice, no source)."""


def made(pool: Pool) -> None:
    """A card with each case a few times, singles of other views between."""
    dice = pool.dice
    for case in dice.permutation([*CASES, *CASES]):
        CASES[case](pool, case)
        pool.whole_seconds = pool.by_iso = False
        for _ in range(dice.integers(0, 3)):
            pool.shoot(_part(*pool.place(), dice, 0), 0, dice.uniform(3, 40))


def _fast(pool: Pool, case: str) -> None:
    pool.take_set(case, pool.place(), pool.dice.uniform(10, 60), (0.2, 0.5))


def _by_hand(pool: Pool, case: str) -> None:
    pool.take_set(case, pool.place(), pool.dice.uniform(10, 60), (2, 12))


def _ladder(pool: Pool, case: str) -> None:
    pool.take_set(case, pool.place(), pool.dice.uniform(10, 60), (8, 30))


def _whole(pool: Pool, case: str) -> None:
    pool.whole_seconds = True
    pool.take_set(case, pool.place(), pool.dice.uniform(10, 60), (0.2, 1.5))


def _iso(pool: Pool, case: str) -> None:
    pool.by_iso = True
    pool.take_set(case, pool.place(), pool.dice.uniform(10, 60), (0.3, 5))


def _twice(pool: Pool, case: str) -> None:
    place, rungs, pauses = pool.place(), pool.rungs(), (0.3, 4)
    pool.take_set(case, place, pool.dice.uniform(10, 60), pauses, rungs)
    pool.views += 1  # the second set is another one, whatever it shows
    pool.take_set(case, place, pool.dice.uniform(1, 6), pauses, rungs)


def _panorama(pool: Pool, case: str) -> None:
    """A set at each view; the next one lies half a frame on."""
    (whole, _, y), rungs = pool.place(), pool.rungs()
    for index in range(3):
        on = min(60.0 + index * WIDTH * 0.45, whole.shape[1] - WIDTH - 30)
        pool.views += 1
        pool.take_set(case, (whole, on, y), pool.dice.uniform(1, 8), (0.3, 3), rungs)


def _walk(pool: Pool, _case: str) -> None:
    """Other views, each as it is metered."""
    for _ in range(pool.dice.integers(4, 12)):
        ev = pool.dice.normal(0, 0.5)
        pool.shoot(_part(*pool.place(), pool.dice, 0), ev, pool.dice.uniform(0.8, 8))


def _flight(pool: Pool, _case: str) -> None:
    """Straight down every two seconds, each frame a part further on."""
    whole, x, y = pool.place()
    for x in np.arange(40, whole.shape[1] - WIDTH - 40, pool.dice.uniform(120, 300)):
        pool.views += 1
        pool.shoot(_part(whole, float(x), y, pool.dice, 3), pool.dice.normal(0, 0.7), 2.0)


CASES: Final = {
    "fast": _fast,
    "by hand": _by_hand,
    "slow ladder": _ladder,
    "whole seconds": _whole,
    "by ISO": _iso,
    "twice": _twice,
    "panorama": _panorama,
    "walk": _walk,
    "flight": _flight,
}


# ---- pictures ----------------------------------------------------------------------------------


@cache
def _grown(path: Path) -> Plain:
    """Linear light, large enough for two frames side by side."""
    read = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    if read is None:
        raise FileNotFoundError(f"{path} is no picture")
    scale = max(2.1 * WIDTH / read.shape[1], 1.5 * HEIGHT / read.shape[0])
    way = cv2.INTER_CUBIC if scale > 1 else cv2.INTER_AREA
    grown = cv2.resize(read, None, fx=scale, fy=scale, interpolation=way)
    share = grown.astype(np.float32) / 255
    linear: Plain = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    return linear.astype(np.float32)


def _metered(plain: Plain) -> float:
    """Times as much light as the picture was stored with."""
    return 0.16 / max(float(plain.mean()), 1e-3)


def _part(whole: Plain, x: float, y: float, dice: np.random.Generator, drift: float) -> Plain:
    """What a frame shows, off by a hand's drift in pixels, and turned a little with it."""
    dx, dy = dice.normal(0, max(drift, 1e-6), 2)
    middle = (x + dx + WIDTH / 2, y + dy + HEIGHT / 2)
    matrix = cv2.getRotationMatrix2D(middle, dice.normal(0, 0.04 * drift + 1e-6), 1)
    matrix[:, 2] -= middle[0] - WIDTH / 2, middle[1] - HEIGHT / 2
    return cv2.warpAffine(whole, matrix, (WIDTH, HEIGHT), borderMode=cv2.BORDER_REFLECT_101).astype(
        np.float32
    )


def _rendered(plain: Plain, gain: float, dice: np.random.Generator) -> bytes:
    """A JPEG of the exposure, by sRGB's curve (IEC 61966-2-1, from memory)."""
    light = plain * gain
    light += dice.normal(0, 1, light.shape) * np.sqrt(light * 1e-4 + 1e-6)
    light = np.clip(light, 0, 1)
    shown = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    _, data = cv2.imencode(".jpg", np.rint(shown * 255).astype(np.uint8))
    return data.tobytes()


def _nearest(values: Sequence[Number], wanted: float) -> Number:
    return min(values, key=lambda each: abs(math.log2(float(each) / wanted)))


# ---- score -------------------------------------------------------------------------------------


def accounts(root: Path) -> tuple[Account, Account]:
    """How the card is grouped without a look at its pictures, and with one."""
    card, settings = Card(root), Settings()
    reading = reading_of(card, card.listing(), settings, _quiet)
    plain = accounted(reading, settings, ())
    found = check_account(card, plain, Workers(), _quiet)
    return plain, accounted(reading, settings, found.suggested)


def _quiet(_done: int, _total: int) -> None:
    return


def counted(pool: Pool, account: Account, before: Account | None = None) -> Counter[str]:
    """Sets found whole by their case, sets of several views, frames in these, and how many came by a look."""
    found = set(_sets(account))
    counts: Counter[str] = Counter()
    for case, frames in pool.sets:
        counts[f"{case}: sets"] += 1
        counts[f"{case}: whole"] += frames in found
    false = [each for each in found if len({pool.view[name] for name in each}) > 1]
    counts["false sets"] += len(false)
    counts["frames in them"] += sum(map(len, false))
    known = set(_sets(before)) if before else set(false)
    counts["joined falsely"] += sum(
        not any(set(each) <= set(one) for one in known) for each in false
    )
    return counts


def _sets(account: Account) -> Iterator[tuple[str, ...]]:
    for sequence in account.sequences:
        if sequence.kind is Kind.EXPOSURE_BRACKET:
            yield tuple(Path(frame.path).name for frame in sequence.frames)


def table(pictures: Sequence[Path], seeds: range) -> Iterator[str]:
    """Lines: of each case how many sets there were, and how many were whole without and with a look."""
    before: Counter[str] = Counter()
    after: Counter[str] = Counter()
    for seed in seeds:
        with TemporaryDirectory() as folder:
            pool = Pool(folder=Path(folder), dice=np.random.default_rng(seed), pictures=pictures)
            made(pool)
            plain, looked = accounts(Path(folder))
        before += counted(pool, plain)
        after += counted(pool, looked, plain)
    yield f"{'case':15} {'sets':>5} {'whole':>6} {'looked':>7}"
    cases = [case for case in CASES if before[f"{case}: sets"]]
    for case in cases:
        whole, looked_at = before[f"{case}: whole"], after[f"{case}: whole"]
        yield f"{case:15} {before[f'{case}: sets']:5} {whole:6} {looked_at:7}"
    sums = [
        sum(of[f"{case}: {what}"] for case in cases)
        for of, what in ((before, "sets"), (before, "whole"), (after, "whole"))
    ]
    yield f"{'all':15} {sums[0]:5} {sums[1]:6} {sums[2]:7}"
    for what in ("false sets", "frames in them", "joined falsely"):
        yield f"{what:15} {'':5} {before[what]:6} {after[what]:7}"


def main(arguments: Sequence[str] | None = None) -> int:
    """Prints the table."""
    parser = argparse.ArgumentParser(prog="score_exposures", description=__doc__)
    parser.add_argument("--seed", type=int, default=1, help="of the first card (default: 1)")
    parser.add_argument("--number", type=int, default=4, help="of cards (default: 4)")
    parser.add_argument(
        "--pictures", type=Path, default=CORPUS, help=f"their folder (default: {CORPUS})"
    )
    options = parser.parse_args(arguments)
    named = [options.pictures / name for name in PICTURES if (options.pictures / name).exists()]
    pictures = named or sorted(each for each in options.pictures.iterdir() if each.is_file())
    for line in table(pictures, range(options.seed, options.seed + options.number)):
        sys.stdout.write(line + "\n")
    return 0
