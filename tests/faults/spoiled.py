"""Killed, then spoiled, then run again: what a run does, and says, when copies are not what it left.

A disk may lose files while nobody looks; a card may be edited. Each trial kills a scenario's work at a
point, spoils what lies there by chance, and calls the command as a user would. Where files lie, and
which of them are whole, is counted by digests of our own and by tools of others.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import traceback
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Final

import pytest
from click.testing import CliRunner

from faults.cuts import prepared, put
from faults.dying import NEVER, died
from faults.scenarios import (
    BATCH,
    SCENARIOS,
    Pool,
    Scenario,
    copy_to_two,
    move_to_two,
    undone_after,
)
from outside.tools import differences, unlike_their_digests
from sorter.cli import commands
from sorter.disk.systems import SYSTEM
from sorter.model.disks import Disk, Lies
from sorter.writing import carry
from torturing.claims import Ended, Scene, is_all_verified
from torturing.judging import at_the_end
from torturing.pool import Place
from torturing.spoiling import STROKES, Spoiled
from torturing.states import Known, state_of
from writing.cards import ANEMONES, limpets, rows, stamped

COPY: Final = ("ingest", "{card}", "{shoot}")
MOVE: Final = (*COPY, "--move", "--yes")
BACKUP: Final = ("--backup", "{other}")
UNDO: Final = ("undo", "{shoot}", "--yes")
TRIALS: Final = 2
"""Of a course with one kind of stroke and one seed."""
MOST: Final = 12
"""Points tried at most for these: at some there is nothing to spoil yet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """A scenario, and the command that goes on with it."""

    scenario: Scenario
    command: tuple[str, ...]


def _course(name: str, *command: str) -> Course:
    return Course(scenario=SCENARIOS[name], command=command)


COURSES: Final[dict[str, Course]] = {
    "copy": _course("copy", *COPY),
    "move on one disk": _course("move on one disk", *MOVE),
    "move to another disk": _course("move to another disk", *MOVE),
    "two copies": _course("two copies", *COPY, *BACKUP),
    "move into two copies": _course("move into two copies", *MOVE, *BACKUP),
    "move to another disk into two copies": _course(
        "move to another disk into two copies", *MOVE, *BACKUP
    ),
    "undo of a copy": _course("undo of a copy", *UNDO),
    "undo of a move on one disk": _course("undo of a move on one disk", *UNDO),
    "undo of a move to another disk": _course("undo of a move to another disk", *UNDO),
    "undo of two copies": Course(scenario=undone_after(copy_to_two), command=UNDO),
    "undo of a move into two copies": Course(scenario=undone_after(move_to_two), command=UNDO),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """One trial: what was done to the files, how the run after it ended, and what is wrong then."""

    point: int
    spoiled: Spoiled
    ended: Ended
    scene: Scene
    faults: tuple[str, ...]

    def __str__(self) -> str:
        done = "; ".join(self.spoiled.said)
        wrong = "\n  ".join(self.faults)
        return f"killed at {self.point}, {done}; exit code {self.ended.code}\n  {wrong}\n{self.ended.said}"


def deep_card(card: Path) -> None:
    """Files that are longer than a look at their heads goes: a burst with sidecars, a clip, a lone text."""
    limpets(card, 3, side=56)
    (card / ANEMONES).mkdir()
    splash = random.Random("splash").randbytes(20_000)
    (card / ANEMONES / "MVI_0004.MP4").write_bytes(b"\0\0\0\x10ftypmp42\0\0\0\0" + splash)
    (card / "tides.txt").write_text("low tide at 13:40\n" * 400)
    stamped(card)


def trials(name: str, seed: int, base: Path, *, strokes: Iterable[str] = STROKES) -> list[Tried]:
    """Some trials of the course with each of the strokes, all by chance: the same for a seed.

    A trial in which there was nothing to spoil yet is made again at another point.
    """
    course, chance = COURSES[name], random.Random(f"{seed} {name}")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(carry, "BATCH_FILES", BATCH)
        course.scenario.disk(patch)
        pool = prepared(course.scenario, base, deep_card)
        three_disks(patch, pool)
        trial = _Trial(course, pool, chance)
        return [tried for stroke in strokes for tried in trial.several(stroke)]


class _Trial:
    """A course whose place is put back as it was before each kill."""

    def __init__(self, course: Course, pool: Pool, chance: random.Random) -> None:
        self._course = course
        self._pool = pool
        self._chance = chance
        self._place = Place(card=pool.card, shoot=pool.shoot)
        self._before = pool.base / "before"
        shutil.copytree(pool.disk, self._before)
        self._points = self._killed(NEVER)

    def several(self, stroke: str) -> list[Tried]:
        """TRIALS of them, where there is something to spoil at enough of the points."""
        each = (self._tried(stroke) for _ in range(MOST))
        return list(islice((tried for tried in each if tried is not None), TRIALS))

    def _tried(self, stroke: str) -> Tried | None:
        """One trial; None where there was nothing to spoil."""
        known = self._known()
        point = self._chance.randrange(self._points // 4, self._points)
        self._killed(point)
        spoiled = STROKES[stroke](self._place, self._chance)
        if not spoiled.said:
            return None
        known.take_in(spoiled)
        self._remember(spoiled)
        return self._judged(known, spoiled, point)

    def _killed(self, point: int) -> int:
        """Killed there; at which point it was. NEVER lets it come to its end."""
        put(self._before, self._pool.disk)
        return died(
            partial(self._course.scenario.work, self._pool), point, self._pool.scratch
        ).point

    def _known(self) -> Known:
        put(self._pool.original, self._reference)
        once = state_of(Place(card=self._reference, shoot=self._pool.base / "none")).card
        return Known.of(once, self._course.command)

    @property
    def _reference(self) -> Path:
        """What the card is to hold, or to have held: tools compare with it."""
        return self._pool.base / "reference"

    def _remember(self, spoiled: Spoiled) -> None:
        for path in spoiled.edits:
            shutil.copy2(self._pool.card / path, self._reference / path)

    def _judged(self, known: Known, spoiled: Spoiled, point: int) -> Tried:
        before = state_of(self._place)
        ended = self._ended()
        scene = Scene(ended=ended, before=before, after=state_of(self._place), known=known)
        faults = (*at_the_end(scene).said, *self._by_tools(ended))
        return Tried(point=point, spoiled=spoiled, ended=ended, scene=scene, faults=faults)

    def _ended(self) -> Ended:
        words = self._place.filled(self._course.command)
        result = CliRunner().invoke(commands, words, prog_name="sorter")
        assert isinstance(result.exception, SystemExit | None), result.exc_info
        other = str(self._place.other.resolve())
        said = result.stdout + result.stderr
        return Ended(command=words[0], code=result.exit_code, said=said, other=other)

    def _by_tools(self, ended: Ended) -> list[str]:
        """What sha256sum and rsync have against a state that the words call verified, or taken back."""
        found: list[str] = []
        for folder, is_other in ((self._pool.shoot, False), (self._pool.other, True)):
            if is_all_verified(ended, other=is_other):
                found += unlike_their_digests(folder)
                found += self._unlike(self._rebuilt(folder), ended)
        if ended.undoes and ended.code == 0:
            found += differences(self._reference, self._pool.card)
        return found

    def _unlike(self, folder: Path, ended: Ended) -> list[str]:
        """What rsync would do, but for files of the card that are named: as edited there, say."""
        told = differences(self._reference, folder)
        return [line for line in told if line.rpartition(" ")[2] not in ended.said]

    def _rebuilt(self, folder: Path) -> Path:
        """The card as the manifest tells it; of a path's several files the last one."""
        again = self._pool.base / "rebuilt"
        shutil.rmtree(again, ignore_errors=True)
        for place in {row.source: row.destination for row in rows(folder)}.items():
            source, destination = place
            path = again / source
            path.parent.mkdir(parents=True, exist_ok=True)
            os.link(folder / destination, path)
        return again


def three_disks(patch: pytest.MonkeyPatch, pool: Pool) -> None:
    """Card, shoot and second copy lie on three disks, as far as the sorter is told: its words need that."""
    folders = {str(each.resolve()): each.name for each in (pool.card, pool.shoot, pool.other)}
    told = SYSTEM.disk

    def disk(path: str) -> Disk:
        above = [os.path.realpath(path), *map(str, Path(os.path.realpath(path)).parents)]
        name = next((folders[each] for each in above if each in folders), None)
        if name is None or not Path(path).is_dir():
            return told(path)
        return Disk(lies=Lies.DISK, device=hash(name), parts=frozenset({name}))

    patch.setattr(SYSTEM, "disk", disk)


def killed_in(work: Callable[[], object], owner: object, verb: str, *, call: int) -> None:
    """The work done in a child that is killed instead of the call of this number."""
    child = os.fork()
    if child == 0:
        made, done = [0], getattr(owner, verb)

        def die(*given: object, **named: object) -> object:
            made[0] += 1
            if made[0] == call:
                os.kill(os.getpid(), signal.SIGKILL)
            return done(*given, **named)

        setattr(owner, verb, die)
        try:
            work()
        except BaseException:  # noqa: BLE001  the parent is the one that can fail
            traceback.print_exc()
        finally:
            os._exit(1)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), "the work ended before that call"
