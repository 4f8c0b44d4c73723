"""One course run: the command started, killed at a moment by chance, started again, ended, counted.

In a part of the runs copies are spoiled, and the card is edited, between a kill and the next start.
"""

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

from torturing.claims import Ended, Scene
from torturing.courses import BACKUP, MEND, UNDO, VERIFY, Course, Words
from torturing.judging import after_a_kill, at_the_end, words_alone
from torturing.pool import Place, Tally, digests, while_stopped
from torturing.spoiling import spoil_by_chance
from torturing.states import Known, State, state_of
from torturing.tools import against_words

SCRIPTS: Final = Path(__file__).resolve().parents[1]
ENOUGH: Final = 256 * 1024 * 1024
"""Bytes of a disk in memory that the card always fits on."""
IN_A_ROW: Final = 3
"""Kills at most before the work may come to its end."""
MOST_TRIES: Final = 5
"""Starts at most for each kill."""
SPOILING: Final = 0.5
"""The part of the starts in which copies are spoiled, or the card is edited, between kill and resume."""
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
    """Runs one course again and again, each time from the start, with kills by chance.

    tools: whether sha256sum and rsync look at all that the words call verified.
    """

    def __init__(
        self,
        course: Course,
        place: Place,
        original: Path,
        chance: random.Random,
        *,
        tools: bool = False,
    ) -> None:
        self._course = course
        self._place = place
        self._original = original
        self._originals = digests(original)
        self._chance = chance
        self._tools = tools
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
        process = self._started(self._course.work)
        held = _until_held(process, self._place) - began
        code, said = _ended(process)
        if code != 0:
            raise SystemExit(f"the work fails without a kill: {said}")
        return Pace(reading_s=held, work_s=time.perf_counter() - began - held)

    def _once(self, pace: Pace, kills: int) -> Tally:
        """From the start: killed so many times, and run to its end.

        In a part of the starts copies are spoiled, and the card is edited, before each of the resumes.
        """
        tally = Tally()
        self._prepare()
        known = Known.of(self._originals, self._course.work)
        spoils = self._chance.random() < SPOILING
        before = state_of(self._place)
        for number in range(kills):
            ended = self._cut(pace, fills=number == 0)
            if ended.code >= 0 and ended.code != STOPPED:  # it was through before
                break
            tally.kills += ended.code < 0
            tally.full += ended.code == STOPPED
            tally.resumes += 1
            tally.add(self._while_stopped(before, known))
            self._spoil(tally, known, spoils=spoils)
            before = state_of(self._place)
        else:
            self._make_room()
            ended = self._run(self._course.work)
        tally.add(self._judged(ended, before, known))
        if known.spoiled and self._course.work != UNDO:
            tally.add(self._verified(known))
        return tally

    def _prepare(self) -> None:
        self._make_room()
        self._place.clear()
        shutil.copytree(self._original, self._place.card)
        shutil.rmtree(self._reference, ignore_errors=True)
        if self._tools:
            shutil.copytree(self._original, self._reference)
        for words in self._course.before:
            ended = self._run(words)
            if ended.code != 0:
                raise SystemExit(f"what comes before the work fails: {ended.said}")
        self._course.spoil(self._place)

    def _cut(self, pace: Pace, *, fills: bool) -> Ended:
        """How a run ended that was killed: its exit code is below zero where it was not through before."""
        process = self._started(self._course.work)
        if self._chance.random() < EARLY:
            time.sleep(self._chance.uniform(0, pace.reading_s))
        else:
            _until_held(process, self._place)
            if fills and self._course.disk == "small":
                self._take_room()
            time.sleep(self._chance.uniform(0, pace.work_s))
        process.kill()
        ended = self._told(self._course.work, process)
        if ended.code == STOPPED:
            self._make_room()
        return ended

    def _while_stopped(self, before: State, known: Known) -> Tally:
        if not known.spoiled:
            return while_stopped(self._place, self._originals)
        return after_a_kill(before, state_of(self._place), known)

    def _spoil(self, tally: Tally, known: Known, *, spoils: bool) -> None:
        if not spoils:
            return
        done = spoil_by_chance(self._place, self._chance, card=self._course.work != MEND)
        known.take_in(done)
        tally.spoiled += bool(done.said)
        if self._tools:
            for path in done.edits:
                shutil.copy2(self._place.card / path, self._reference / path)

    # ---- the end of one start --------------------------------------------------------------

    def _judged(self, ended: Ended, before: State, known: Known) -> Tally:
        """What is wrong after the last run: by the course where nothing was spoiled, and by its words."""
        scene = Scene(ended=ended, before=before, after=state_of(self._place), known=known)
        tally = at_the_end(scene)
        if not known.spoiled:
            tally = self._course.wrong(self._place, self._originals)
            tally.add(words_alone(scene))
            if ended.code not in (0, NOTHING_LEFT):
                tally.failed += 1
                tally.said.append(f"the last run ended with {ended.code}: {ended.said}")
        if self._tools:
            told = against_words(scene, self._place, self._reference)
            tally.misleading += len(told)
            tally.said += told
        done = "; ".join(known.spoiled)
        tally.said = [f"{line} (after: {done})" if done else line for line in tally.said]
        return tally

    def _verified(self, known: Known) -> Tally:
        """The copies spoiled once more, and what `verify` says of them and of the card."""
        tally = Tally()
        self._spoil(tally, known, spoils=True)
        before = state_of(self._place)
        words = (*VERIFY, *BACKUP) if known.two else VERIFY
        tally.add(self._judged(self._run(words), before, known))
        return tally

    @property
    def _reference(self) -> Path:
        """What the card is to hold, or to have held; only where tools look at it."""
        return self._original.with_name("reference")

    def _run(self, words: Words) -> Ended:
        return self._told(words, self._started(words))

    def _told(self, words: Words, process: subprocess.Popen[str]) -> Ended:
        code, said = _ended(process)
        return Ended(command=words[0], code=code, said=said, other=str(self._place.other.resolve()))

    def _started(self, words: Words) -> subprocess.Popen[str]:
        place = self._place
        folders = [str(folder) for folder in (place.card, place.shoot, place.other)]
        return subprocess.Popen(  # noqa: S603  our own program
            [sys.executable, "-m", "torturing.three_disks", *folders, *place.filled(words)],
            cwd=SCRIPTS, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
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
    """The exit code of the process once it has ended, and all that it said."""
    answer, remarks = process.communicate()
    return process.returncode, f"{answer}{remarks}".strip()


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
