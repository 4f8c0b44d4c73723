"""What handing stacks to a command costs on top of the command itself."""

from __future__ import annotations

import shlex
import shutil
import statistics
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image

from benching.shots import shot
from benching.timing import quietly, seconds, silent
from cardmaking.containers import jpeg
from cardmaking.draw import encoded
from sorter.model.correction import Correction
from sorter.pipeline import Ingest, IngestOptions, StageProgress

FRAMES = 3
BAR_MS = 30.0


def make_shoot(base: Path, stacks: int) -> Path:
    """A shoot of so many stacks of three small frames, made once."""
    shoot, card = base / f"stacks-{stacks}", base / f"stacks-{stacks}-card"
    if (shoot / "manifest.csv").exists():
        return shoot
    small = encoded(Image.new("RGB", (320, 214), (90, 110, 120)), width=320, quality=70)
    paths = [f"DCIM/100ROCKP/POOL{number:04d}.JPG" for number in range(1, stacks * FRAMES + 1)]
    (card / "DCIM/100ROCKP").mkdir(parents=True, exist_ok=True)
    for index, path in enumerate(paths):
        (card / path).write_bytes(jpeg(shot(index), small))
    rows = tuple(
        Correction(first=paths[at], last=paths[at + FRAMES - 1], kind="focus-bracket")
        for at in range(0, len(paths), FRAMES)
    )
    quiet = StageProgress(reading=silent, comparing=silent, carrying=silent)
    with Ingest(card, shoot, IngestOptions(corrections=rows)) as work:
        work.carry(work.inspect(quiet, hold=True), quiet)
    return shoot


def show_merging(cache: Path, stacks: int, runs: int) -> None:
    """Prints what a stack costs beside the command, and how often that is of copying by hand.

    The command copies one small picture to the result. By hand: the same command once a stack, and
    `cp` of each result, forced to the disk.
    """
    made = make_shoot(cache.absolute(), stacks)
    taken = [_measured(made, stacks) for _ in range(runs)]
    ours, bare = (statistics.median(column) for column in zip(*taken, strict=True))
    each = statistics.median((a - b) / stacks * 1e3 for a, b in taken)
    ratio = statistics.median(a / b for a, b in taken)
    print(
        f"handing {stacks} stacks of {FRAMES} frames to a trivial command; medians of {runs} runs"
    )
    print(
        f"  sorter handoff --run {ours:.2f} s, the same commands by hand {bare:.2f} s: {ratio:.2f} x"
    )
    print(f"  own overhead {each:.1f} ms a stack (bar {BAR_MS:g} ms), start-up included")


def _measured(made: Path, stacks: int) -> tuple[float, float]:
    """Seconds of our run and of the commands by hand, on a shoot of one's own."""
    with TemporaryDirectory(dir=made.parent) as scratch:
        shoot = Path(shutil.copytree(made, Path(scratch) / "shoot"))
        picture = Path(scratch) / "merged.tif"
        Image.new("RGB", (320, 214), (90, 110, 120)).save(picture)
        command = f"cp --no-target-directory {shlex.quote(str(picture))} {{result}}"
        # The slices have to be named; the command takes them as a name that it does not look at.
        command = f"env SLICES={{list}} {command}"
        line = [sys.executable, "-m", "sorter", "handoff", str(shoot), "--run", command]
        ours = seconds(lambda: quietly(line))
        there = len(list((shoot / "results").iterdir()))
        if there != stacks:
            raise SystemExit(f"{there} results of {stacks}")
        return ours, seconds(lambda: _by_hand(picture, Path(scratch), stacks))


def _by_hand(picture: Path, folder: Path, stacks: int) -> None:
    for number in range(stacks):
        result = str(folder / f"{number}.tif")
        quietly(["env", "SLICES=x", "cp", "--no-target-directory", str(picture), result])
        quietly(["sync", result])
