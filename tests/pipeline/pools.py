"""A rock pool's stack as a shoot, and executors that count what they are handed."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import numpy as np
import piexif
from click.testing import CliRunner
from PIL import Image

from checking.scene import black, slices, whole
from sorter.cli import commands
from writing.cards import LIMPETS, picture


def run(*words: object) -> int:
    """The exit code of a command."""
    return CliRunner().invoke(commands, [str(word) for word in words]).exit_code


def card_of(base: Path) -> Path:
    """A stack of which one slice is dark and one is cut off, a stack of another scene, and three singles."""
    shown = slices(whole())
    shown[4] = (shown[4] * 0.1).astype(np.uint8)
    others = slices(whole(9), seed=2)
    lone = [slices([0.5], seed=3)[0], black(), slices([0.2], seed=4)[0]]
    taken = [0.3 * n for n in range(14)] + [90 + 0.3 * n for n in range(9)] + [300, 500, 700]
    for number, (each, after) in enumerate(zip([*shown, *others, *lone], taken, strict=True), 1):
        path = picture(base / "card" / LIMPETS / f"IMG_{number:04d}.JPG", after)
        exif = piexif.load(str(path))
        Image.fromarray(each).convert("RGB").save(path, quality=92, exif=piexif.dump(exif))
    cut = base / "card" / LIMPETS / "IMG_0009.JPG"
    cut.write_bytes(cut.read_bytes()[:3000])
    return base / "card"


class Counting(Executor):
    """Threads, and how many tasks were handed over at most and were not done. It may die."""

    def __init__(self, workers: int) -> None:
        self._threads = ThreadPoolExecutor(workers)
        self._lock = threading.Lock()
        self._open = 0
        self.most = 0
        self.tasks = 0

    def submit(self, work: Callable[..., Any], /, *given: object, **named: object) -> Future[Any]:
        with self._lock:
            self._open += 1
            self.tasks += 1
            self.most = max(self.most, self._open)
        future = self._threads.submit(work, *given, **named)
        future.add_done_callback(self._done)
        return future

    def _done(self, _: object) -> None:
        with self._lock:
            self._open -= 1

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        self._threads.shutdown(wait, cancel_futures=cancel_futures)
