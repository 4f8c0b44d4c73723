"""Carrying a card: `sorter ingest` against copying by hand, each into folders that are not there yet.

The ways are taken in turn, and again in turn, so that whatever else the machine does meets them all.
Before each of them, outside of its time: what was written is forced to the disk, and the card is read
once so that it is in the system's cache for all alike, or the whole cache is dropped so that it is in
it for none.

Copies stay as long as there is room, and each lies apart from the others (`apart`): ext4 gives no
file the inode of one that was removed within the last minutes, and seeks past all of those. On two
cores with a virtual disk, copying 4,000 files and their sums took 4.4 s by hand, 4.4 to 5.2, where each
copy was removed at once, and 2.7 s, 2.7 to 3.1, where all of them stayed.
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from PIL import Image

from benching.shots import shot
from benching.timing import quietly, seconds
from cardmaking.containers import jpeg
from cardmaking.draw import encoded

COPY: Final = "cp -a, sync"
HAND: Final = "cp -a, sync, sha256sum of both"
OURS: Final = "sorter ingest"
BACKUP: Final = "sorter ingest --backup"
REREAD: Final = "sorter ingest --reread"
MOVE: Final = "sorter ingest --move --backup"
"""With a second copy a move is no rename on one disk either: all is read once more before it leaves."""
CACHES: Final = Path("/proc/sys/vm/drop_caches")
"""Linux: 3 drops all clean pages, and what is known of folders (proc_sys_vm(5))."""

_INGEST: Final = (sys.executable, "-m", "sorter", "ingest")
_COPYING: Final = ("sh", "-c", 'cp -a "$0" "$1" && sync')
_SUMS: Final = (
    'cd "$0" && find . -type f -print0 | sort -z | xargs -0 sha256sum > "$1.sums"'
    ' && cd "$1" && sha256sum --check --quiet "$1.sums"'
)
_SUMMING: Final = ("sh", "-c", _SUMS)
_STAYING: Final = 12_000_000_000
"""Bytes that copies may take together: more than that is removed, between two ways."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """A card: so many files of so many bytes. bars: what ours may take at most, as ratios to others."""

    files: int
    size: int
    bars: Mapping[str, float]


LOADS: Final = (
    Load(files=400, size=5_000_000, bars={HAND: 0.4, COPY: 1.8, BACKUP: 1.9}),
    Load(files=4_000, size=100_000, bars={HAND: 1.0, BACKUP: 1.9}),
)


def loads(files: int | None, size: int | None) -> Sequence[Load]:
    """Those of the usual loads that have these numbers; else one of its own, without bars."""
    fitting = [each for each in LOADS if files in (None, each.files) and size in (None, each.size)]
    usual = LOADS[0]
    return fitting or [Load(files=files or usual.files, size=size or usual.size, bars={})]


# ---- the card -----------------------------------------------------------------------------------


def make_full_card(root: Path, load: Load) -> None:
    """Writes a card of JPEGs of so many bytes without holes, unless it is there already."""
    stamp = root.parent / f"{root.name}.made"
    if stamp.exists():
        return
    small = encoded(Image.new("RGB", (320, 214), (90, 110, 120)), width=320, quality=70)
    folder = root / "DCIM" / "100ROCKP"
    folder.mkdir(parents=True, exist_ok=True)
    for index in range(load.files):
        made = jpeg(shot(index), small)
        filling = os.urandom(max(load.size - len(made), 0))
        (folder / f"POOL{index + 1:04d}.JPG").write_bytes(made[:-2] + filling + made[-2:])
    stamp.touch()


# ---- the ways -----------------------------------------------------------------------------------


def can_back_up() -> bool:
    """Whether `sorter ingest` can carry into a second folder, by what its help says."""
    told = subprocess.run([*_INGEST, "--help"], check=True, capture_output=True, text=True)  # noqa: S603 - our own module
    return "--backup" in told.stdout


def ways(card: str, target: str, *, backup: bool) -> dict[str, list[list[str]]]:
    """The commands of each way to carry the card into the target, one after the other."""
    by_hand, ours = [*_COPYING, card, target], [*_INGEST, card, target]
    found = {COPY: [by_hand], HAND: [by_hand, [*_SUMMING, card, target]], OURS: [ours]}
    if not backup:
        return found
    both = [*ours, "--backup", f"{target}-too"]
    return found | {
        BACKUP: [both],
        REREAD: [[*ours, "--reread"]],
        MOVE: [[*both, "--move", "--yes"]],
    }


def carried(root: Path, runs: int, *, cold: bool, backup: bool) -> Iterator[tuple[str, float]]:
    """Each way and its seconds as they come, all ways once a run."""
    card = root.absolute()
    with TemporaryDirectory(dir=card.parent) as made:
        scratch = apart(Path(made))
        for number, name in enumerate(list(ways("", "", backup=backup)) * runs):
            folder = scratch / str(number)
            folder.mkdir()
            own = card
            if name == MOVE:  # it empties its card
                own = folder / "card"
                shutil.copytree(card, own)
            commands = ways(str(own), f"{folder}/copy", backup=backup)[name]
            _prepare(own, cold=cold)
            yield name, seconds(partial(_all, commands))
            _make_room(scratch)


def apart(folder: Path) -> Path:
    """The folder, marked so that ext4 puts each folder in it where the disk is little used.

    The attribute T of chattr(1). Elsewhere, and without that program, nothing happens.
    """
    if shutil.which("chattr"):
        subprocess.run(["chattr", "+T", str(folder)], check=False, stderr=subprocess.DEVNULL)  # noqa: S603, S607 - our own folder
    return folder


def _all(commands: Sequence[list[str]]) -> None:
    for command in commands:
        quietly(command)


def _prepare(card: Path, *, cold: bool) -> None:
    """The same beginning for every way: nothing waits to be written; the card in the cache, or not."""
    os.sync()
    if cold:
        _drop_caches()
    else:
        for path in card.rglob("*.JPG"):
            path.read_bytes()


def _make_room(scratch: Path) -> None:
    copied = [path for path in scratch.rglob("*") if path.is_file()]
    if sum(path.stat().st_size for path in copied) > _STAYING:
        for folder in scratch.iterdir():
            shutil.rmtree(folder)


def _drop_caches() -> None:
    try:
        CACHES.write_text("3")
    except OSError as error:
        raise SystemExit(
            f"--cold: {CACHES}: {error.strerror}. Run it as root on a machine of your own, or "
            "leave the option out."
        ) from error


# ---- shown --------------------------------------------------------------------------------------


def show_carrying(cache: Path, chosen: Sequence[Load], runs: int, *, cold: bool) -> None:
    """Prints a table for each load: the seconds of each way, and run by run ours against the others."""
    backup = can_back_up()
    if not backup:
        print("sorter ingest has no option --backup: left out")
    for load in chosen:
        root = cache / f"full-{load.files}-{load.size}"
        make_full_card(root, load)
        where = "not in" if cold else "in"
        print(
            f"carrying {load.files} files of {load.size / 1e6:g} MB, {runs} runs in turn, the card"
            f" {where} the cache, new folders: {root}"
        )
        taken: dict[str, list[float]] = {}
        for name, one in carried(root, runs, cold=cold, backup=backup):
            taken.setdefault(name, []).append(one)
        _show(taken, load)


def _show(taken: Mapping[str, Sequence[float]], load: Load) -> None:
    ours = taken[OURS]
    for name, each in taken.items():
        said = ""
        if name in (BACKUP, REREAD):
            said = f"it is {_ratio(each, ours)} x the one without{_bar(name, load)}"
        elif name == MOVE:
            said = f"it is {_ratio(each, taken[BACKUP])} x the copy into two"
        elif name != OURS:
            said = f"ours is {_ratio(ours, each)} x{_bar(name, load)}"
        median = statistics.median(each)
        print(f"  {name:30} {median:6.2f} s ({min(each):.2f}..{max(each):.2f})  {said}".rstrip())


def _ratio(one: Sequence[float], other: Sequence[float]) -> str:
    """The median of the ratios of each run, and from where to where they go."""
    ratios = [a / b for a, b in zip(one, other, strict=True)]
    return f"{statistics.median(ratios):.2f} ({min(ratios):.2f}..{max(ratios):.2f})"


def _bar(name: str, load: Load) -> str:
    return f", bar: {load.bars[name]:g} at most" if name in load.bars else ""
