"""Trial merges and the report of a large shoot, against Pillow that but decodes the same previews small."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Final

import cv2

from benching.checking import decode_all, make_stack
from benching.shots import TIDE_OUT, shot
from benching.timing import paired, quietly, seconds, with_memory
from browsing.chromium import browser, executable
from cardmaking.containers import jpeg
from sorter.model.measurement import FrameSource, PreviewSource
from sorter.pixels.drawn import GOOD, false_colour
from sorter.pixels.drawn import jpeg as drawn
from sorter.pixels.merging import TrialMerge
from sorter.pixels.reduced import COLOUR, reduced

MOST_RATIO: Final = 12.0
MOST_SECONDS: Final = 20.0
MOST_BYTES: Final = 1_000_000
FRAMES: Final = 2000
SLICES: Final = 50
SORTER: Final = (sys.executable, "-m", "sorter")


def make_shoot(cache: Path) -> Path:
    """A shoot of FRAMES frames in stacks of SLICES, ingested unless it is there already."""
    card, shoot = cache / "report-card", cache / "report-shoot"
    if (cache / "report-shoot.made").exists():
        return shoot
    make_stack(cache / f"stack-{SLICES}", SLICES)
    slices = sorted((cache / f"stack-{SLICES}").rglob("*.JPG"))
    pictures = [_without_exif(path) for path in slices]
    for number in range(FRAMES):
        stack, index = divmod(number, SLICES)
        taken = TIDE_OUT + timedelta(seconds=stack * 60 + 0.25 * index)
        told = replace(
            shot(0),
            captured=taken,
            subsec=f"{taken.microsecond // 10000:02d}",
            planned=SLICES,
            near_m=0.30 + 0.001 * index,
            far_m=0.301 + 0.001 * index,
        )
        folder = card / "DCIM" / f"{100 + number // 1000}ROCKP"
        folder.mkdir(parents=True, exist_ok=True)
        data = jpeg(told, pictures[index])  # each of other bytes: what is equal is drawn once
        (folder / f"POOL{number % 1000 + 1:04d}.JPG").write_bytes(data)
    quietly([*SORTER, "ingest", str(card), str(shoot)])
    (cache / "report-shoot.made").touch()
    return shoot


def _without_exif(path: Path) -> bytes:
    """The picture alone, as the builder of JPEGs wants it."""
    data = path.read_bytes()
    length = int.from_bytes(data[4:6], "big")
    return data[:2] + data[4 + length :]


# ---- measured -----------------------------------------------------------------------------------


def merge_all(files: Sequence[Path]) -> Callable[[], object]:
    """A call that makes the trial merge and the depth map of these slices, as files."""

    def merged() -> object:
        cv2.setNumThreads(1)
        trial = TrialMerge()
        for path in files:
            trial.add(
                reduced(FrameSource(previews=(PreviewSource(path=str(path)),)), COLOUR).samples,
                None,
            )
        found = trial.merged()
        if found is None:
            raise SystemExit("there was nothing to merge")
        depth = found.depth / max(1, found.slices - 1)
        return drawn(found.picture, GOOD), false_colour(depth, found.textured)

    return merged


def show_trials(cache: Path, numbers: Sequence[int], runs: int) -> None:
    """Prints what a trial merge with its depth map costs, one thread against one."""
    print("trial merge and depth map, against Pillow's bare decoding in colour to half size")
    for number in numbers:
        root = cache / f"stack-{number}"
        make_stack(root, number)
        files = sorted(root.rglob("*.JPG"))
        ours, bare = merge_all(files), decode_all(files, 1, COLOUR)
        ratio, a, b = paired(ours, bare, runs, number)
        print(
            f"  {number:4} slices: {a:.1f} ms a slice, bare {b:.2f} ms: {ratio:.1f} x "
            f"(at most {MOST_RATIO:.0f})"
        )


def show_report(cache: Path) -> None:
    """Prints what the report of a large shoot costs: looked at before, drawn, and drawn again."""
    shoot = make_shoot(cache)
    shutil.rmtree(shoot / "report", ignore_errors=True)
    files = sorted(shoot.rglob("*.JPG"))
    jobs = os.cpu_count() or 1
    print(f"report of {len(files)} frames in stacks of {SLICES}, {jobs} at a time")
    looked = seconds(lambda: _run([*SORTER, "check", str(shoot)]))
    bare = seconds(decode_all(files, jobs, COLOUR))
    first, memory = with_memory([*SORTER, "report", str(shoot)])
    for path in (shoot / "report" / "pictures").glob("[ls]*.jpg"):  # the large and the small ones
        path.unlink()
    without, _ = with_memory([*SORTER, "report", str(shoot)])
    second = seconds(lambda: quietly([*SORTER, "report", str(shoot)]))
    size = (shoot / "report" / "index.html").stat().st_size
    print(f"  the check before it                {looked:6.1f} s")
    print(f"  bare decoding of the same          {bare:6.1f} s")
    print(
        f"  the report with all merges         {first:6.1f} s, {first / bare:.1f} x; "
        f"{memory:.0f} MB at most"
    )
    print(
        f"  the same, the merges being there   {without:6.1f} s, {without - bare:.1f} s beside the "
        f"decoding (at most {MOST_SECONDS:.0f}), {without / bare:.1f} x"
    )
    print(f"  again, nothing being new           {second:6.1f} s")
    print(f"  the page without its pictures      {size:,} bytes (below {MOST_BYTES:,})")
    if executable() is not None:
        print(
            f"  opened in a browser                {_opened(shoot / 'report' / 'index.html'):6.2f} s"
        )


def _run(command: Sequence[str]) -> None:
    """Runs the command; its exit code may say that something deserves a look."""
    subprocess.run(command, check=False, stdout=subprocess.DEVNULL)  # noqa: S603  our own commands


def _opened(page: Path) -> float:
    """Seconds from asking for the page to all that it shows at first being there."""
    with browser() as opened:
        opened.new_page().goto("about:blank")
        shown = opened.new_page(viewport={"width": 1440, "height": 900})
        began = time.perf_counter()
        shown.goto(page.resolve().as_uri())
        return time.perf_counter() - began
