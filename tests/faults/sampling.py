"""Which cuts and kills a run makes: a sample by a seed, or all of them.

All of them are made where any file that carrying needs has changed since the last run that made all and
found no fault. That run has left the files' digests beside this module, in the repository.
"""

from __future__ import annotations

import hashlib
import itertools
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from faults.imports import ROOT, needed_by

NOTED: Final = Path(__file__).with_name("last_full_run.txt")
STAGES: Final = ("carrying", "backup", "recording", "verifying", "undoing", "regrouping")
"""Modules of sorter/pipeline that carry, mend, take back and move files."""
LOOKING: Final = ("ingesting", "inspecting", "new_plan", "stopped")
"""Those that say before what is to be carried; what they need to read a card is not about carrying."""
BESIDE: Final = ("writing/test_migration.py",)
"""Modules of other rooms of tests that make cuts too."""
SHARE: Final = 6
"""Of a sample: points between the first and the last."""
HEAD: Final = """\
# The files that cuts and kills are about, as they were when all of these were made and none found a fault.
# Written by a whole run: see DEVELOPERS.md. `sha256sum --check` reads it.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cuts:
    """What a run makes of all the cuts that there are."""

    seed: int
    every: bool

    def points(self, count: int, *what: object) -> Sequence[int]:
        """Of the points 1 to count those that are tried, in their order.

        In a sample the first and the last, and one out of each of six equal parts of what lies between.
        what: tells this use of chance from others.
        """
        if self.every or count <= SHARE + 2:
            return range(1, count + 1)
        chance = self.chance(*what)
        edges = [2 + (count - 2) * part // SHARE for part in range(SHARE + 1)]
        between = [chance.randrange(low, high) for low, high in itertools.pairwise(edges)]
        return [1, *between, count]

    def some(self, every: Sequence[str], number: int, *what: object) -> list[str]:
        """So many of them, in their order; all where all cuts are made."""
        if self.every:
            return list(every)
        taken = set(self.chance(*what).sample(range(len(every)), number))
        return [each for place, each in enumerate(every) if place in taken]

    def chance(self, *what: object) -> random.Random:
        """A source of chance of this use's own."""
        return random.Random(repr((self.seed, *what)))


# ---- what has changed --------------------------------------------------------------------------


def digests() -> dict[str, str]:
    """The digest of every file that carrying needs, and that its cuts are made by, by its path."""
    stages = [ROOT / "sorter" / "pipeline" / f"{name}.py" for name in STAGES]
    files = needed_by(stages)
    files |= {ROOT / "sorter" / "pipeline" / f"{name}.py" for name in LOOKING}
    files |= needed_by(Path(__file__).parent.glob("*.py"), "tests")
    files |= {ROOT / "tests" / path for path in BESIDE}
    files |= set((ROOT / "scripts" / "torturing").glob("*.py"))
    return {
        file.relative_to(ROOT).as_posix(): hashlib.sha256(file.read_bytes()).hexdigest()
        for file in sorted(files)
    }


def changed(now: Mapping[str, str], noted: Path = NOTED) -> list[str]:
    """The files that are not as they were at the last full run, or were none of its files."""
    before = _read(noted)
    return sorted(path for path in now.keys() | before if now.get(path) != before.get(path))


def note(now: Mapping[str, str], noted: Path = NOTED) -> None:
    """A full run has found no fault in these files."""
    lines = [f"{digest}  {path}\n" for path, digest in sorted(now.items())]
    noted.write_text(HEAD + "".join(lines), encoding="utf-8")


def _read(noted: Path) -> dict[str, str]:
    if not noted.exists():
        return {}
    lines = noted.read_text(encoding="utf-8").splitlines()
    pairs = [line.split("  ", 1) for line in lines if not line.startswith("#")]
    return {pair[1]: pair[0] for pair in pairs if len(pair) > 1}
