"""One course run: the command started, killed at a moment by chance, started again, ended, counted."""

from __future__ import annotations

import contextlib
import random
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from torturing.courses import Course
from torturing.pool import Place, Tally, digests, while_stopped

HOME: Final = Path(__file__).resolve().parents[2]
ENOUGH: Final = 256 * 1024 * 1024
"""Bytes of a disk in memory that the card always fits on."""
IN_A_ROW: Final = 3
"""Kills at most before the work may come to its end."""
MOST_TRIES: Final = 5
"""Starts at most for each kill."""
EARLY: Final = 0.1
"""The part of the kills that comes before the ledger is held: at the start, and while the card is read."""
STOPPED: Final = 3
NOTHING_LEFT: Final = 2
"""The exit code where a killed run was through and there is nothing more to be done."""
EVERY_S: Final = 0.001


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How long a whole run takes: until it holds the ledger, and from there to its end."""

    reading_s: float
    work_s: float


class Torturer:
    """Runs one course again and again, each time from the start, with kills by chance."""

    def __init__(self, course: Course, place: Place, original: Path, chance: random.Random) -> None:
        self._course = course
        self._place = place
        self._original = original
        self._originals = digests(original)
        self._chance = chance
        self._room = ENOUGH

    def kills(self, count: int) -> Iterator[Tally]:
        """What each start of the course led to, until there were so many kills.

        A run may be through before its kill; it ends too where that is so far too often.
        """
        pace = self._learned()
        left, tries = count, MOST_TRIES * count
        while left > 0 and tries > 0:
            tally = self._once(pace, min(left, self._chance.randint(1, IN_A_ROW)))
            left -= tally.kills
            tries -= 1
            yield tally

    # ---- one start -------------------------------------------------------------------------

    def _learned(self) -> Pace:
        self._prepare()
        began = time.perf_counter()
        process = self._started()
        held = _until_held(process, self._place) - began
        code, said = _ended(process)
        if code != 0:
            raise SystemExit(f"the work fails without a kill: {said}")
        return Pace(reading_s=held, work_s=time.perf_counter() - began - held)

    def _once(self, pace: Pace, kills: int) -> Tally:
        """From the start: killed so many times, and run to its end."""
        tally = Tally()
        self._prepare()
        for number in range(kills):
            code = self._cut(pace, fills=number == 0)
            if code >= 0 and code != STOPPED:  # it was through before
                break
            tally.kills += code < 0
            tally.full += code == STOPPED
            tally.resumes += 1
            tally.add(while_stopped(self._place, self._originals))
        self._make_room()
        self._end(tally)
        return tally

    def _prepare(self) -> None:
        self._make_room()
        self._place.clear()
        shutil.copytree(self._original, self._place.card)
        for words in self._course.before:
            code, said = _ended(self._started(words))
            if code != 0:
                raise SystemExit(f"what comes before the work fails: {said}")
        self._course.spoil(self._place)

    def _cut(self, pace: Pace, *, fills: bool) -> int:
        """The exit code of a run that was killed; below zero where it was not through before."""
        process = self._started()
        if self._chance.random() < EARLY:
            time.sleep(self._chance.uniform(0, pace.reading_s))
        else:
            _until_held(process, self._place)
            if fills and self._course.disk == "small":
                self._take_room()
            time.sleep(self._chance.uniform(0, pace.work_s))
        process.kill()
        code, _ = _ended(process)
        if code == STOPPED:
            self._make_room()
        return code

    def _end(self, tally: Tally) -> None:
        code, said = _ended(self._started())
        wrong = self._course.wrong(self._place, self._originals)
        if code not in (0, NOTHING_LEFT):
            wrong.failed += 1
            wrong.said.append(f"the last run ended with {code}: {said}")
        tally.add(wrong)

    def _started(self, words: tuple[str, ...] = ()) -> subprocess.Popen[str]:
        arguments = self._place.filled(words or self._course.work)
        return subprocess.Popen(  # noqa: S603  our own program
            [sys.executable, "-m", "sorter", *arguments],
            cwd=HOME, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip

    # ---- a disk that fills -----------------------------------------------------------------

    def _take_room(self) -> None:
        """Another program takes the room for half of what is still to be written."""
        used = sum(path.stat().st_size for path in _files(self._place.shoot))
        card = sum(path.stat().st_size for path in _files(self._original))
        with contextlib.suppress(subprocess.CalledProcessError):  # it is fuller by now than that
            self._resize(used + self._chance.randrange(card // 2))

    def _make_room(self) -> None:
        if self._course.disk == "small" and self._room != ENOUGH:
            self._resize(ENOUGH)

    def _resize(self, size: int) -> None:
        mount("-o", f"remount,size={max(size, 4096)}", str(self._place.shoot))
        self._room = size


def _files(root: Path) -> Iterator[Path]:
    for path in root.rglob("*"):
        if path.is_file():
            yield path


def _until_held(process: subprocess.Popen[str], place: Place) -> float:
    """The moment when the process holds the ledger, or when it ended without."""
    holder = place.shoot / ".sorter" / "holder"
    mine = f"process {process.pid},"
    while process.poll() is None:
        with contextlib.suppress(OSError):
            if holder.read_text().startswith(mine):
                break
        time.sleep(EVERY_S)
    return time.perf_counter()


def _ended(process: subprocess.Popen[str]) -> tuple[int, str]:
    """The exit code of the process once it has ended, and what it said on stderr."""
    _, said = process.communicate()
    return process.returncode, said.strip()


# ---- disks in memory ---------------------------------------------------------------------------


def mount(*arguments: str) -> None:
    """Raises CalledProcessError where the system refuses it, OSError where it has no such program."""
    program = shutil.which("mount") or "mount"
    subprocess.run([program, *arguments], check=True, capture_output=True)  # noqa: S603  named here


@contextlib.contextmanager
def disk_in_memory(folder: Path) -> Iterator[None]:
    """The folder on a disk of its own, which has enough room; gone at the end."""
    folder.mkdir(parents=True)
    mount("-t", "tmpfs", "-o", f"size={ENOUGH}", "tmpfs", str(folder))
    try:
        yield
    finally:
        program = shutil.which("umount") or "umount"
        subprocess.run([program, "--lazy", str(folder)], check=True)  # noqa: S603  named here
