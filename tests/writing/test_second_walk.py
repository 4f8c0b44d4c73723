"""Whatever happens between, in whatever order: the next ingest with a second copy ends with both whole."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path
from typing import Final

import pytest

from sorter.pipeline import verify_both
from writing.cards import (
    ANEMONES,
    LIMPETS,
    by_source,
    contents,
    destinations,
    found,
    hold_consistent,
    ingest,
    limpets,
    picture,
)  # fmt: skip

STEPS: Final = 9


class Walk:
    """A card, a shoot and a second copy that things happen to."""

    def __init__(self, root: Path, chance: random.Random) -> None:
        self._chance = chance
        self._grown = 0
        self.card = limpets(root / "card", 2)
        self.shoot, self.other = root / "shoot", root / "other"
        self.ever = contents(self.card)

    def step(self) -> str:
        """Something happens; returns what."""
        happenings: list[Callable[[], object]] = [
            self.grow, self.ingest, self.ingest_twice, self.mend, self.lose, self.spoil, self.move,
        ]  # fmt: skip
        happening = self._chance.choice(happenings)
        happening()
        return getattr(happening, "__name__", "")

    def grow(self) -> None:
        self._grown += 1
        where, after = self._chance.choice([(LIMPETS, 1.0), (ANEMONES, 300.0)])
        number = 10 + self._grown
        picture(self.card / where / f"IMG_{number:04d}.JPG", after + 0.25 * self._grown)
        self.ever |= contents(self.card)

    def ingest(self) -> None:
        ingest(self.card, self.shoot)

    def ingest_twice(self) -> None:
        ingest(self.card, self.shoot, backup=self.other)

    def move(self) -> None:
        """Into both, then the photographer goes on with an empty card; its folder stays."""
        ingest(self.card, self.shoot, backup=self.other, moves=True)
        self.grow()

    def mend(self) -> None:
        if (self.shoot / ".sorter").exists():
            verify_both(self.shoot, self.other, lambda *_: None, lambda *_: None, mends=True)

    def lose(self) -> None:
        if path := self._any_file():
            path.unlink()

    def spoil(self) -> None:
        path = self._any_file()
        if path and path.suffix == ".JPG":
            path.write_bytes(path.read_bytes()[:-3] + b"sea")

    def _any_file(self) -> Path | None:
        """A carried file of one copy that is sound in the other, or on the card: never the last one."""
        one, two = self._chance.sample([self.shoot, self.other], 2)
        if not (one / "manifest.csv").exists():
            return None
        held = {
            source: path for source, path in destinations(one).items() if (one / path).is_file()
        }
        safe = contents(self.card) | self._sound(two)
        paths = [one / path for source, path in held.items() if path and source in safe]
        return self._chance.choice(paths) if paths else None

    @staticmethod
    def _sound(folder: Path) -> dict[str, bytes]:
        if not (folder / ".sorter").exists():
            return {}
        good = {entry.row.source for entry in found(folder).sound.values()}
        return dict.fromkeys(good, b"")


@pytest.mark.parametrize("seed", range(40))
def test_both_are_whole_in_the_end(tmp_path: Path, seed: int) -> None:
    walk = Walk(tmp_path, random.Random(seed))
    happened = [walk.step() for _ in range(STEPS)]
    ingest(walk.card, walk.shoot, backup=walk.other)
    walk.mend()
    ingest(walk.card, walk.shoot, backup=walk.other)
    for folder in (walk.shoot, walk.other):
        hold_consistent(folder)
        assert by_source(folder) == walk.ever, happened
        assert not found(folder).has_failed, happened
