"""What may happen to files while a run is stopped: copies are lost and spoiled, files of the card edited."""

from __future__ import annotations

import hashlib
import os
import random
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from torturing.pool import Place, digests

UNFINISHED: Final = ".sorter/unfinished"
HEAD: Final = 4096
"""Bytes that an edit of a long file leaves alone: whoever looks at its head sees nothing of it."""
SOME: Final = 3
"""Files that one stroke hits at most, but for whole folders."""


@dataclass(slots=True, kw_only=True)
class Spoiled:
    """What was done: in words; the digests that copies have now, and files of the card by their paths."""

    said: list[str] = field(default_factory=list)
    made: set[str] = field(default_factory=set)
    edits: dict[str, str] = field(default_factory=dict)

    def add(self, other: Spoiled) -> None:
        """Counts the other one in."""
        self.said += other.said
        self.made |= other.made
        self.edits |= other.edits


Stroke = Callable[[Place, random.Random], Spoiled]


def delete(place: Place, chance: random.Random) -> Spoiled:
    """Copies are gone."""
    return _each(place, chance, Path.unlink, "deleted")


def zero(place: Place, chance: random.Random) -> Spoiled:
    """Copies hold nothing but zeros, as many as there were bytes."""
    return _each(place, chance, lambda path: _rewrite(path, bytes(path.stat().st_size)), "zeroed")


def cut(place: Place, chance: random.Random) -> Spoiled:
    """Copies end before their end."""
    return _each(place, chance, lambda path: os.truncate(path, path.stat().st_size // 2), "cut")


def swap(place: Place, chance: random.Random) -> Spoiled:
    """Two files of a copy have each other's bytes; a pair in each of the folders."""
    done = Spoiled()
    for folder in (place.shoot, place.other):
        files = _copies(folder)
        if len(files) > 1:
            one, two = chance.sample(files, 2)
            first, second = one.read_bytes(), two.read_bytes()
            _rewrite(one, second)
            _rewrite(two, first)
            done.made |= {hashlib.sha256(data).hexdigest() for data in (first, second)}
            done.said.append(f"swapped {_short(one)} and {_short(two)}")
    return done


def drop_folder(place: Place, chance: random.Random) -> Spoiled:
    """A folder of a copy is gone with all that was in it."""
    folders = [
        path for folder in (place.shoot, place.other) for path in sorted(folder.glob("[!.]*/"))
    ]
    if not folders:
        return Spoiled()
    folder = chance.choice(folders)
    shutil.rmtree(folder)
    return Spoiled(said=[f"dropped {_short(folder)}/"])


def edit(place: Place, chance: random.Random) -> Spoiled:
    """A file of the card has another byte; its size and its time are what they were."""
    return _edited(place, chance, lambda _: 0)


def edit_behind(place: Place, chance: random.Random) -> Spoiled:
    """The same, behind the first bytes of a long file."""
    return _edited(place, chance, lambda size: min(size, HEAD))


STROKES: Final[dict[str, Stroke]] = {
    "deleted": delete,
    "zeroed": zero,
    "cut": cut,
    "swapped": swap,
    "folder dropped": drop_folder,
    "card edited": edit,
    "card edited behind its head": edit_behind,
}


ON_CARD: Final = frozenset({"card edited", "card edited behind its head"})


def spoil_by_chance(place: Place, chance: random.Random, *, card: bool = True) -> Spoiled:
    """One, two or three of these strokes. card: the card may be edited too."""
    done = Spoiled()
    strokes = sorted(STROKES.keys() - (set() if card else ON_CARD))
    for stroke in chance.sample(strokes, chance.randint(1, 3)):
        done.add(STROKES[stroke](place, chance))
    return done


# ---- on the disk -------------------------------------------------------------------------------


def _each(
    place: Place, chance: random.Random, spoil: Callable[[Path], object], word: str
) -> Spoiled:
    """Some of all copies, unfinished ones among them."""
    files = [*_copies(place.shoot), *_copies(place.other)]
    done = Spoiled()
    for path in chance.sample(files, min(len(files), chance.randint(1, SOME))):
        spoil(path)
        done.said.append(f"{word} {_short(path)}")
        if path.exists():
            done.made.add(hashlib.sha256(path.read_bytes()).hexdigest())
    return done


def _copies(folder: Path) -> list[Path]:
    """Every file of a copy that has bytes, under its final name or not yet."""
    placed = [folder / path for path in digests(folder)]
    files = [*placed, *sorted((folder / UNFINISHED).glob("*"))]
    return [path for path in files if path.is_file() and path.stat().st_size]


def _edited(place: Place, chance: random.Random, first: Callable[[int], int]) -> Spoiled:
    """first: the first byte that may change, for a file's size."""
    done, files = Spoiled(), [place.card / path for path in digests(place.card)]
    files = [path for path in files if first(path.stat().st_size) < path.stat().st_size]
    for path in chance.sample(files, min(len(files), chance.randint(1, SOME))):
        data = bytearray(path.read_bytes())
        data[chance.randrange(first(len(data)), len(data))] ^= 0x40
        _rewrite(path, bytes(data))
        name = path.relative_to(place.card).as_posix()
        done.edits[name] = hashlib.sha256(data).hexdigest()
        done.said.append(f"edited {name} on the card")
    return done


def _rewrite(path: Path, data: bytes) -> None:
    """Other bytes in the same file; its times are what they were."""
    about = path.stat()
    with path.open("r+b") as file:
        file.write(data)
        file.truncate()
    os.utime(path, ns=(about.st_atime_ns, about.st_mtime_ns))


def _short(path: Path) -> str:
    return "/".join(path.parts[-3:])
