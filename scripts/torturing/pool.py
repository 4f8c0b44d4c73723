"""A card of a rock pool, the folders that it is carried to, and what lies where."""

from __future__ import annotations

import hashlib
import shutil
from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from PIL import Image

from cardmaking.containers import jpeg, mp4, xmp_sidecar
from cardmaking.draw import encoded
from cardmaking.shots import Shot

TIDE_OUT: Final = datetime(2026, 5, 17, 13, 0, 0)  # noqa: DTZ001  a camera's clock has no zone
BARNACLES: Final = b"barnacles"
SPOILED: Final = hashlib.sha256(BARNACLES).hexdigest()
RECORDS: Final = frozenset({"manifest.csv", "SHA256SUMS"})
BURST: Final = 6
LARGE: Final = 1_500_000
"""Bytes of the clips, so that kills fall into the middle of a file too."""


def make_card(root: Path, files: int) -> None:
    """Writes so many files: bursts of JPEGs with sidecars, and a clip for every fifty."""
    small = encoded(Image.new("RGB", (64, 48), (90, 110, 120)), width=64, quality=50)
    folder = root / "DCIM" / "100ROCKP"
    folder.mkdir(parents=True)
    clips = files // 50
    for index in range((files - clips) // 2):
        stem = folder / f"POOL{index + 1:04d}"
        described = _shot(index)
        stem.with_suffix(".JPG").write_bytes(jpeg(described, small) + _filling(index, 20_000))
        sidecar = xmp_sidecar(described, rating=index % 6, label=f"limpet {index}")
        stem.with_suffix(".XMP").write_bytes(sidecar)
    for index in range(files - 2 * ((files - clips) // 2)):
        clip = mp4([small], TIDE_OUT + timedelta(hours=1, minutes=index))
        (folder / f"POOL{9000 + index}.MP4").write_bytes(clip + _free(_filling(-index - 1, LARGE)))


def _shot(index: int) -> Shot:
    burst, place = divmod(index, BURST)
    taken = TIDE_OUT + timedelta(seconds=60 * burst + 0.25 * place)
    return Shot(
        make="Canon", model="Canon EOS R8", serial="0417", lens="100mm F2.8 Macro",
        captured=taken, subsec=f"{taken.microsecond // 10000:02d}", drive="continuous",
    )  # fmt: skip


def _filling(index: int, size: int) -> bytes:
    """Bytes that no other file has."""
    return hashlib.shake_128(f"splash {index}".encode()).digest(size)


def _free(data: bytes) -> bytes:
    """A box of a clip that nobody reads."""
    return (len(data) + 8).to_bytes(4, "big") + b"free" + data


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where one course of torture runs. card and shoot may lie on two disks."""

    card: Path
    shoot: Path

    @property
    def other(self) -> Path:
        """The second copy, beside the shoot."""
        return self.shoot.with_name("other")

    def filled(self, words: tuple[str, ...]) -> list[str]:
        """A command's words with the folders in them."""
        folders = {"card": self.card, "shoot": self.shoot, "other": self.other}
        return [word.format(**folders) for word in words]

    def clear(self) -> None:
        """Nothing is there. A shoot that a disk is mounted on keeps its folder."""
        shutil.rmtree(self.card, ignore_errors=True)
        shutil.rmtree(self.shoot, ignore_errors=True)
        shutil.rmtree(self.other, ignore_errors=True)


@dataclass(slots=True, kw_only=True)
class Tally:
    """What happened, and what is wrong.

    kills: runs that were killed. full: runs that a full disk stopped. resumes: starts after those.
    spoiled: resumes before which copies, or the card, were spoiled. lost, duplicated, damaged: files.
    failed: last runs that did not end well. misleading: sentences of these that what lies on the disks
    contradicts. said: why, in words.
    """

    kills: int = 0
    full: int = 0
    resumes: int = 0
    spoiled: int = 0
    lost: int = 0
    duplicated: int = 0
    damaged: int = 0
    failed: int = 0
    misleading: int = 0
    said: list[str] = field(default_factory=list)

    def add(self, other: Tally) -> None:
        """Counts the other one in."""
        self.kills += other.kills
        self.full += other.full
        self.resumes += other.resumes
        self.spoiled += other.spoiled
        self.lost += other.lost
        self.duplicated += other.duplicated
        self.damaged += other.damaged
        self.failed += other.failed
        self.misleading += other.misleading
        self.said += other.said

    @property
    def faults(self) -> int:
        """How many things are wrong."""
        return self.lost + self.duplicated + self.damaged + self.failed + self.misleading


def digests(root: Path) -> dict[str, str]:
    """SHA-256 of every file below the folder by its path; what the sorter keeps for itself is left out.

    A file that undo is copying back has not its final name, and is left out too.
    """
    found = {}
    for path in sorted(root.rglob("*")):
        name = path.relative_to(root).as_posix()
        ours = name.startswith(".sorter/") or name in RECORDS or name.endswith(".sorter-unfinished")
        if path.is_file() and not ours:
            found[name] = hashlib.sha256(path.read_bytes()).hexdigest()
    return found


def spoil(place: Place) -> None:
    """Every third file of the shoot is lost; of the second copy every third of the others is spoiled."""
    for number, path in enumerate(sorted(digests(place.shoot))):
        if number % 3 == 0:
            (place.shoot / path).unlink()
        elif number % 3 == 1 and not path.endswith(".XMP"):  # an edited sidecar is someone's work
            (place.other / path).write_bytes(BARNACLES)


def while_stopped(place: Place, originals: dict[str, str]) -> Tally:
    """What is wrong right after a kill: every file is on the card or in a copy, and none is partial."""
    card, copies = digests(place.card), (digests(place.shoot), digests(place.other))
    known = {*originals.values(), SPOILED}
    there = {*card.values(), *copies[0].values(), *copies[1].values(), SPOILED}
    changed = [*(path for path in card if card[path] != originals.get(path))]
    changed += [path for copy in copies for path in copy if copy[path] not in known]
    return _tally("after a kill", known - there, [], changed)


def whole_in(folder: Path, originals: dict[str, str]) -> Tally:
    """What is wrong with a shoot that is to hold every file once, and to list it."""
    found, known = digests(folder), set(originals.values())
    counted = Counter(found.values())
    twice = [digest for digest, count in counted.items() if count > 1]
    changed = [path for path in found if found[path] not in known]
    tally = _tally(f"in {folder.name}", known - set(counted), twice, changed)
    sums = folder / "SHA256SUMS"
    lines = sums.read_text().splitlines() if sums.exists() else []
    listed = {path: digest for digest, _, path in (line.partition("  ") for line in lines)}
    if listed != found:
        tally.damaged += 1
        tally.said.append(f"in {folder.name}: SHA256SUMS lists other files than there are")
    return tally


def as_it_was(card: Path, originals: dict[str, str]) -> Tally:
    """What is wrong with a card that is to hold what it held, each file in its place."""
    found = digests(card)
    lost = [path for path in originals if path not in found]
    more = [path for path in found if path not in originals]
    changed = [path for path in originals if found.get(path, originals[path]) != originals[path]]
    return _tally("on the card", lost, more, changed)


def nothing_in(folder: Path) -> Tally:
    """What is wrong with a folder that is to hold no file any more."""
    return _tally(f"in {folder.name}", [], list(digests(folder)), [])


def _tally(
    where: str,
    lost: set[str] | list[str],
    twice: list[str],
    changed: list[str],
) -> Tally:
    said = [f"{where}: lost {each}" for each in sorted(lost)]
    said += [f"{where}: one too many: {each}" for each in twice]
    said += [f"{where}: not as it was: {each}" for each in changed]
    return Tally(lost=len(lost), duplicated=len(twice), damaged=len(changed), said=said)
