"""A stand-in for a stacking program: averages what it is given, or misbehaves in one of many ways.

    stand_in.py HOW RESULT FRAME...

It is run as a program of its own, and knows nothing of the sorter.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from PIL import Image


def average(result: str, frames: list[str]) -> None:
    """The mean of the frames, pixel by pixel, without any Exif."""
    mean: Image.Image | None = None
    for number, frame in enumerate(frames, 1):
        with Image.open(frame) as picture:
            mean = picture.copy() if mean is None else Image.blend(mean, picture, 1 / number)
    assert mean is not None, "no frames"
    Image.frombytes(mean.mode, mean.size, mean.tobytes()).save(result)


def hang(result: str) -> None:
    """Waits for longer than anyone would."""
    Path(f"{result}.begun").touch()
    time.sleep(120)


def hang_with_a_child(_: str) -> None:
    """Waits for a child that waits, and says which it is."""
    child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(120)"])
    say(f"child {child.pid}")
    child.wait()


def half(result: str, frames: list[str]) -> None:
    """A picture that stops in the middle."""
    average(result, frames)
    data = Path(result).read_bytes()
    Path(result).write_bytes(data[: len(data) // 2])


def spoil(result: str, frames: list[str]) -> None:
    """Writes to what it was given to read."""
    average(result, frames)
    with Path(frames[0]).open("ab") as file:
        file.write(b"spray")


def talk(result: str, frames: list[str]) -> None:
    """Says more than a pipe holds."""
    say("merging slice by slice\n" * 500_000)
    average(result, frames)


def say(text: str) -> None:
    """Puts the text on stdout at once."""
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


WAYS: dict[str, Callable[[str, list[str]], object]] = {
    "average": average,
    "list": lambda result, given: average(result, Path(given[0]).read_text().splitlines()),
    "folder of slices": lambda result, given: average(
        result, [str(path) for path in sorted(Path(given[0]).iterdir())]
    ),
    "fail": lambda *_: sys.exit(9),
    "die": lambda *_: os.abort(),
    "hang": lambda result, _: hang(result),
    "hang with a child": lambda result, _: hang_with_a_child(result),
    "nothing": lambda *_: None,
    "empty": lambda result, _: Path(result).touch(),
    "folder": lambda result, _: Path(result).mkdir(),
    "link": lambda result, frames: Path(result).symlink_to(frames[0]),
    "half": half,
    "spoil": spoil,
    "talk": talk,
}

if __name__ == "__main__":
    say(f"{sys.argv[1]}: {len(sys.argv) - 3} frames")
    WAYS[sys.argv[1]](sys.argv[2], sys.argv[3:])
