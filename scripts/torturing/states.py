"""What lies where: a card and its copies, counted by digests of our own, and by the lists beside them."""

from __future__ import annotations

import csv
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from torturing.pool import Place, digests
from torturing.spoiling import Spoiled

ASIDE: Final = ".sorter/replaced"


@dataclass(frozen=True, slots=True, kw_only=True)
class Copy:
    """One of the copies.

    there: the digest of every file by its path. aside: the digests of files in whose places others
    were put. listed: what SHA256SUMS says. sources: where the manifest says that the files of each
    path on the card are; there may be several, for a file that changed there.
    """

    there: Mapping[str, str] = field(default_factory=dict)
    aside: frozenset[str] = frozenset()
    listed: Mapping[str, str] = field(default_factory=dict)
    sources: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def whole(self) -> dict[str, str]:
        """The paths that are listed and hold what they are listed with, each with its digest."""
        return {path: one for path, one in self.listed.items() if self.there.get(path) == one}


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """A card with the digest of each file by its path, and its two copies."""

    card: Mapping[str, str]
    shoot: Copy
    other: Copy

    @property
    def present(self) -> set[str]:
        """The digests of all that is on the card, in a copy under a final name, or set aside."""
        copies = (self.shoot, self.other)
        kept = {digest for copy in copies for digest in (*copy.there.values(), *copy.aside)}
        return {*self.card.values(), *kept}


@dataclass(slots=True, kw_only=True)
class Known:
    """What was on the card since a course began, and what was done to it and to its copies.

    once: by path, the digest of what the card has there, or had when it was taken off. ever: the digests
    of all that it ever had. made: the digests that spoiling left behind; spoiled: what it did, in words.
    two: whether a second copy is to exist. moves: whether files are to leave the card.
    """

    once: dict[str, str]
    ever: set[str]
    two: bool
    moves: bool
    made: set[str] = field(default_factory=set)
    spoiled: list[str] = field(default_factory=list)

    @classmethod
    def of(cls, originals: Mapping[str, str], words: Sequence[str]) -> Known:
        """What is known of a card before a command is begun, by the digests of its files."""
        return cls(
            once=dict(originals),
            ever=set(originals.values()),
            two="--backup" in words,
            moves="--move" in words,
        )

    def take_in(self, done: Spoiled) -> None:
        """What spoiling did."""
        self.once |= done.edits
        self.ever |= set(done.edits.values())
        self.made |= done.made
        self.spoiled += done.said

    def copies(self, state: State) -> tuple[Copy, ...]:
        """Those that are to exist."""
        return (state.shoot, state.other) if self.two else (state.shoot,)


def state_of(place: Place) -> State:
    """What lies there now."""
    return State(card=digests(place.card), shoot=copy_in(place.shoot), other=copy_in(place.other))


def copy_in(folder: Path) -> Copy:
    """What lies in the folder of a copy now, and what its lists say."""
    aside = (path for path in (folder / ASIDE).rglob("*") if path.is_file())
    return Copy(
        there=digests(folder),
        aside=frozenset(hashlib.sha256(path.read_bytes()).hexdigest() for path in aside),
        listed=_listed(folder / "SHA256SUMS"),
        sources=_sources(folder / "manifest.csv"),
    )


def _listed(sums: Path) -> dict[str, str]:
    lines = sums.read_text().splitlines() if sums.exists() else []
    return {path: digest for digest, _, path in (line.partition("  ") for line in lines)}


def _sources(manifest: Path) -> dict[str, tuple[str, ...]]:
    found: dict[str, tuple[str, ...]] = {}
    if manifest.exists():
        with manifest.open(encoding="utf-8", newline="") as lines:
            for row in csv.DictReader(lines):
                own = (row["destination"],) if row["destination"] else ()
                found[row["source"]] = (*found.get(row["source"], ()), *own)
    return found
