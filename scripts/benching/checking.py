"""Looking at the pictures of a stack, against Pillow that but decodes them to grey at half their size."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Final

import cv2
import numpy as np
from PIL import Image

from benching.shots import TIDE_OUT, shot
from benching.timing import paired, silent, with_memory
from cardmaking.containers import jpeg
from cardmaking.defocus import focused, layers, moved, with_noise
from cardmaking.draw import encoded
from sorter.disk.card import Card
from sorter.pipeline.checking import check_account
from sorter.pipeline.scanning import account_of
from sorter.pipeline.working import Workers
from sorter.settings import Settings

SIDES: Final = (1620, 1080)
BLUR: Final = 1.5
"""Pixels of radius for a step from slice to slice."""
MOST_RATIO: Final = 2.5
MOST_MB: Final = 600.0
CHECK: Final = (sys.executable, "-m", "sorter", "check")


# ---- a stack ------------------------------------------------------------------------------------


def make_stack(root: Path, slices: int) -> None:
    """A card that holds one focus bracket of so many slices, written unless it is there already."""
    stamp = root.parent / f"{root.name}.made"
    if stamp.exists():
        return
    columns, rows = SIDES
    depth = np.tile(np.linspace(0, 1, rows, dtype=np.float32)[:, None], (1, columns))
    scene = layers(_texture(), depth, BLUR * min(slices, 40))
    folder = root / "DCIM" / "100ROCKP"
    folder.mkdir(parents=True, exist_ok=True)
    for index in range(slices):
        shown = focused(scene, index / (slices - 1), BLUR * slices)
        shown = with_noise(moved(shown, 0.3 * index, 0.1 * index), index, 1.5)
        picture = encoded(Image.fromarray(shown), width=columns, quality=88)
        taken = TIDE_OUT + timedelta(seconds=0.25 * index)
        described = replace(
            shot(0),
            captured=taken,
            subsec=f"{taken.microsecond // 10000:02d}",
            planned=slices,
            near_m=0.30 + 0.001 * index,
            far_m=0.301 + 0.001 * index,
        )
        (folder / f"POOL{index + 1:04d}.JPG").write_bytes(jpeg(described, picture))
    stamp.touch()


def _texture() -> np.ndarray:
    """Grains of several sizes, the coarse ones strongest."""
    dice, (columns, rows) = np.random.default_rng(7), SIDES
    whole = np.full((rows, columns, 3), 110, dtype=np.float32)
    for grain, strength in ((1.2, 60), (3, 90), (12, 200), (40, 500)):
        one = dice.normal(0, strength, (rows, columns)).astype(np.float32)
        whole += cv2.GaussianBlur(one, (0, 0), grain)[..., None]
    return np.clip(whole, 0, 255).astype(np.uint8)


# ---- measured -----------------------------------------------------------------------------------


def check_all(root: Path, jobs: int) -> Callable[[], Sequence[object]]:
    """A call that looks at the card, which is read and grouped before."""
    card = Card(root)
    account = account_of(card, card.listing(), Settings(), silent)
    return lambda: check_account(card, account, Workers(jobs=jobs), silent).checks


def decode_all(files: Sequence[Path], jobs: int, mode: str) -> Callable[[], object]:
    """A call that decodes each picture at half its size, and forgets it. mode: Pillow's, L for grey."""

    def decode(path: Path) -> None:
        with Image.open(path) as picture:
            picture.draft(mode, (SIDES[0] // 2, SIDES[1] // 2))
            picture.load()

    def every() -> None:
        with ThreadPoolExecutor(jobs) as workers:
            list(workers.map(decode, files))

    return every


def show_checking(cache: Path, numbers: Sequence[int], runs: int) -> None:
    """Prints what a check of stacks of these numbers of slices costs, in time and in memory."""
    print("check of one stack, against Pillow's bare decoding to grey at half size")
    for number in numbers:
        root = cache / f"stack-{number}"
        make_stack(root, number)
        files = sorted(root.rglob("*.JPG"))
        for jobs in sorted({1, os.cpu_count() or 1}):
            ours, bare = check_all(root, jobs), decode_all(files, jobs, "L")
            ratio, a, b = paired(ours, bare, runs, number)
            print(
                f"  {number:4} slices, {jobs} at a time: {a:.2f} ms a slice, bare {b:.2f} ms: "
                f"{ratio:.2f} x (at most {MOST_RATIO})"
            )
        _, memory = with_memory([*CHECK, str(root)])
        print(f"  {number:4} slices: {memory:.0f} MB at most (below {MOST_MB:.0f})")
