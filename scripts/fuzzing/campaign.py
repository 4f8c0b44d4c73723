"""Which cases there are, by number, and what becomes of many of them on one or more processes.

A case has a part and a number: "cut:17", "flip:402", "random:1234". The same seed number and the
same files give the same bytes again, as long as the reader looks at the same places: what is kept of
a failure is its bytes.
"""

from __future__ import annotations

import math
import time
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, field
from functools import cache
from itertools import accumulate
from random import Random
from typing import Final, Literal

from fuzzing import checks
from fuzzing.mutations import changed
from fuzzing.seeds import FRONT, Seed

Part = Literal["cut", "flip", "random"]
PARTS: Final[tuple[Part, ...]] = ("cut", "flip", "random")
LIBRARY: Final = 64
"""One case of so many may ask the general-purpose library."""
GOLDEN: Final = (math.sqrt(5) - 1) / 2
SMALL_HEAD: Final = 400
"""The first block of half of the cases: then nearly everything goes by counted reads."""


@dataclass(frozen=True, slots=True)
class Case:
    """The bytes of a case and the name that they are read under."""

    label: str
    name: str
    data: bytes


@dataclass(frozen=True, slots=True)
class Failure:
    """A case that went wrong, and how."""

    case: Case
    fault: str


@dataclass(slots=True)
class Tally:
    """What became of some cases: how many, the slowest (seconds, label, name), the failures.

    Seconds are the processor's, so that what else the machine does is not in them.
    """

    done: int = 0
    slowest: tuple[float, str, str] = (0.0, "", "")
    failures: list[Failure] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        """Takes in what became of other cases; of failures with the same fault one is kept."""
        self.done += other.done
        self.slowest = max(self.slowest, other.slowest)
        for failure in other.failures:
            self.fail(failure)

    def fail(self, failure: Failure) -> None:
        """Takes in a failure, unless another one with the same fault is there."""
        if failure.fault not in {one.fault for one in self.failures}:
            self.failures.append(failure)


class Cases:
    """All cases of these files with this seed number."""

    def __init__(self, seeds: Sequence[Seed], number: int) -> None:
        self.files = len(seeds)
        self._seeds = seeds
        self._number = number
        self._places = [_places(one) for one in seeds]
        self._cuts = list(accumulate((min(FRONT, len(one.data)) for one in seeds), initial=0))
        self._flips = list(accumulate(map(len, self._places), initial=0))

    def count(self, part: Part) -> int:
        """How many cases a part has; 0 for the part that has no end."""
        return {"cut": self._cuts[-1], "flip": self._flips[-1], "random": 0}[part]

    def number(self, part: Part, turn: int) -> int:
        """The number of a part's case whose turn is this one.

        Turns go over all files from the first on, and at the end through every case once: each lies a
        golden section of the way on from the one before it. Another seed begins elsewhere.
        """
        count = self.count(part)
        return (self._number + turn * _step(count)) % count if count else turn

    def case(self, part: Part, number: int) -> Case:
        """The case of this part and number."""
        make = {"cut": self._cut, "flip": self._flipped, "random": self._random}[part]
        seed, data = make(number)
        return Case(f"{part}:{number}", seed.name, data)

    def _cut(self, number: int) -> tuple[Seed, bytes]:
        seed = self._seeds[(at := bisect_right(self._cuts, number) - 1)]
        return seed, seed.data[: number - self._cuts[at]]

    def _flipped(self, number: int) -> tuple[Seed, bytes]:
        seed = self._seeds[(at := bisect_right(self._flips, number) - 1)]
        data = bytearray(seed.data)
        data[self._places[at][number - self._flips[at]]] ^= 0xFF
        return seed, bytes(data)

    def _random(self, number: int) -> tuple[Seed, bytes]:
        rng = Random((self._number << 40) + number)
        seed = self._seeds[int(rng.random() * len(self._seeds))]
        data = bytearray(seed.data)
        changed(data, seed, self._seeds, rng)
        return seed, bytes(data)


@cache
def _step(count: int) -> int:
    """The step nearest to a golden section of so many that has no divisor in common with them."""
    step = round(count * GOLDEN)
    return next(one for one in range(max(step, 1), count + 2) if math.gcd(one, count) == 1)


def shares(cases: Cases, parts: Sequence[Part], most: int) -> dict[Part, int]:
    """How many cases of each part are done where all together may be so many.

    All get the same; what a part has no cases for goes to those that have more. The last of them takes
    what does not divide.
    """
    left, found = most, dict[Part, int]()
    for place, part in enumerate(sorted(parts, key=lambda one: cases.count(one) or math.inf)):
        share = left // (len(parts) - place)
        found[part] = min(share, cases.count(part) or share)
        left -= found[part]
    return found


def _places(seed: Seed) -> list[int]:
    """Every byte that the reader looks at in the undamaged file."""
    return sorted({place for start, end in seed.ranges for place in range(start, end)})


def tried(cases: Iterable[Case]) -> Tally:
    """Reads every case and holds it against what must be so."""
    tally = Tally()
    for case in cases:
        number = int(case.label.partition(":")[2])
        with nullcontext() if number % LIBRARY == 0 else checks.without_library():
            _try(case, tally, small=number % 2 == 1)
    return tally


def _try(case: Case, tally: Tally, *, small: bool) -> None:
    source = checks.Counted(case.data, SMALL_HEAD if small else None)
    began = time.process_time()
    try:
        draft = checks.read(source, case.name)
    except Exception as error:  # noqa: BLE001 - whatever it is, it is what we look for
        tally.fail(Failure(case, checks.said_of(error)))
    else:
        for fault in checks.faults(source, case.name, draft):
            tally.fail(Failure(case, fault))
    tally.done += 1
    tally.slowest = max(tally.slowest, (time.process_time() - began, case.label, case.name))


def turns(cases: Cases, part: Part, first: int, count: int) -> Iterator[Case]:
    """The cases of a part whose turns are these, as far as there are any."""
    end = first + count if part == "random" else min(first + count, cases.count(part))
    return (cases.case(part, cases.number(part, turn)) for turn in range(first, end))
