"""What tests on disks with faults share: whether there are any, the command run there, reads of all kinds."""

from __future__ import annotations

import mmap
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final, Literal

import pytest

from faults.commands import HOME
from faults.faulty import why_not
from processes import ran
from writing.cards import ANEMONES, LIMPETS, by_source, picture, stamped

PATIENCE_S: Final = 60
WIDE: Final = "200"
"""Signs of a line: no name is broken in two."""
Way = Literal["cached", "past the cache"]


def needed() -> None:
    """Skips the test where no disk with faults can be had, and says why; with CI set it fails."""
    reason = why_not()
    if reason and os.environ.get("CI"):
        pytest.fail(f"no disk with faults: {reason}")
    if reason:
        pytest.skip(f"no disk with faults: {reason}")


def started(*words: str | Path) -> subprocess.Popen[str]:
    """The command in a process of its own; nobody listens to it."""
    return subprocess.Popen(  # noqa: S603  our own program
        [sys.executable, "-m", "sorter", *map(str, words)],
        cwd=HOME,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        text=True,
    )


def sorter(*words: str | Path) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own, at its end. Fails where that was a traceback."""
    environment = {**os.environ, "COLUMNS": WIDE}
    done = ran([*map(str, words)], HOME, environment, PATIENCE_S)
    assert "Traceback" not in done.stderr, done.stderr
    return done


def said(done: subprocess.CompletedProcess[str]) -> str:
    """All that it said."""
    return done.stdout + done.stderr


def on_one_line(done: subprocess.CompletedProcess[str]) -> str:
    """All that it said, wherever its lines are broken."""
    return " ".join(said(done).split())


def killed(process: subprocess.Popen[str], when: Callable[[], bool]) -> int:
    """The process is killed as soon as this is so; its exit code, below zero where it was not through."""
    end = time.monotonic() + PATIENCE_S
    while process.poll() is None and not when() and time.monotonic() < end:
        time.sleep(0.001)
    process.kill()
    return process.wait()


# ---- cards -------------------------------------------------------------------------------------

LARGE: Final = 900
"""Pixels a side of a picture that is read in many requests: about 600 kB."""


def large_card(card: Path, count: int = 3) -> Path:
    """A burst of so many large frames, the first with a sidecar, and a lone frame in another folder."""
    for number in range(1, count + 1):
        stem = card / LIMPETS / f"IMG_{number:04d}"
        picture(stem.with_suffix(".JPG"), 0.25 * number, shade=20 * number, side=LARGE)
    (card / LIMPETS / "IMG_0001.xmp").write_text("<x:xmpmeta>limpet 1</x:xmpmeta>")
    picture(card / ANEMONES / "IMG_0009.JPG", 300, shade=7, side=LARGE)
    stamped(card)
    return card


def hold_carried(shoot: Path, gone: dict[str, bytes]) -> None:
    """Fails where what is gone from the card is not in the shoot."""
    carried = by_source(shoot)
    assert {path: carried[path] for path in gone} == gone


# ---- reads -------------------------------------------------------------------------------------


def read(path: Path, way: Way) -> bytes:
    """The file's bytes, out of the page cache where they are there, or by O_DIRECT."""
    return path.read_bytes() if way == "cached" else b"".join(_blocks(path))


def _blocks(path: Path) -> Iterator[bytes]:
    """Memory of its own pages is aligned."""
    handle = os.open(path, os.O_RDONLY | os.O_DIRECT)
    try:
        with mmap.mmap(-1, 1 << 20) as memory:
            at = 0
            while count := os.preadv(handle, [memory], at):
                yield memory[:count]
                at += count
    finally:
        os.close(handle)


@contextmanager
def mapped(path: Path) -> Iterator[int]:
    """The file's size; all of it is mapped and in memory meanwhile."""
    with (
        path.open("rb") as stream,
        mmap.mmap(stream.fileno(), 0, prot=mmap.PROT_READ) as memory,
    ):
        yield len(memory[:])
