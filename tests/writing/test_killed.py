"""Killed at any instant: the next run ends with every file once, equal, and nothing left over."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

import sorter
from sorter.disk import files as door
from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.errors import CardEmpty
from sorter.pipeline import Undo
from sorter.writing import carry, moving, undo
from sorter.writing.ledger import Ledger
from writing.cards import LIMPETS, contents, found, hold_whole, ingest, limpets, picture, tide_card

HOME = Path(sorter.__file__).parents[1]

# The verbs that change something, and those before and after which a cut could matter.
VERBS: list[tuple[object, str]] = [
    (os, "fsync"),
    (os, "unlink"),
    (os, "rmdir"),
    (os, "utime"),
    (os, "write"),
    (os, "makedirs"),
    (os, "replace"),
    (door, "_rename_exclusive"),
    (Ledger, "__init__"),
    (Ledger, "_check_form"),
    (Ledger, "add_run"),
    (Ledger, "note"),
    (Ledger, "set_state"),
    (Ledger, "forget"),
    (Ledger, "forget_run"),
    (moving, "remove_from_card"),
    (Shoot, "place"),
    (Shoot, "take"),
    (Shoot, "give_back"),
    (undo, "digest"),
]


def die_at(call: int) -> None:
    """The process kills itself before or after the verb of this number, counted over all verbs."""
    made = [0]

    def count() -> None:
        made[0] += 1
        if made[0] == call:
            os.kill(os.getpid(), signal.SIGKILL)

    def watched(done: Callable[..., object]) -> Callable[..., object]:
        def verb(*given: object, **named: object) -> object:
            count()
            result = done(*given, **named)
            count()
            return result

        return verb

    for owner, name in VERBS:
        setattr(owner, name, watched(getattr(owner, name)))


def is_killed_at(call: int, work: Callable[[], object]) -> bool:
    """Whether the work, done in a process of its own, came as far as this verb."""
    child = os.fork()
    if child == 0:
        try:
            die_at(call)
            work()
        finally:
            os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.WIFSIGNALED(status)


def two_disks(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(Card, "device", lambda *_: -1)


def finish(card: Path, shoot: Path, *, moves: bool) -> None:
    """Run again. A move that was whole when it was killed leaves nothing to run on."""
    try:
        ingest(card, shoot, moves=moves)
    except CardEmpty:
        assert moves


MODES = ["copy", "move on one disk", "move to another disk"]
# A prime, so that all verbs of a batch have their turn; every instant takes ten times as long.
STRIDE = 11


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("start", [1, 4])
def test_after_any_verb(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, mode: str, start: int
) -> None:
    monkeypatch.setattr(carry, "BATCH_FILES", 3)
    if mode.endswith("another disk"):
        two_disks(monkeypatch)
    moves, call, killed = mode != "copy", start, True
    while killed:
        card, shoot = tide_card(tmp_path / f"card{call}"), tmp_path / f"shoot{call}"
        (card / "latest.JPG").unlink()
        originals = contents(card)
        killed = is_killed_at(call, lambda: ingest(card, shoot, moves=moves))  # noqa: B023
        finish(card, shoot, moves=moves)
        hold_whole(shoot, originals)
        assert contents(card) == ({} if moves else originals)
        call += STRIDE
    assert call > 10 * STRIDE


@pytest.mark.parametrize("mode", MODES)
def test_twice_before_it_ends(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, mode: str) -> None:
    if mode.endswith("another disk"):
        two_disks(monkeypatch)
    chance, moves = random.Random(mode), mode != "copy"
    for attempt in range(12):
        card, shoot = limpets(tmp_path / f"card{attempt}"), tmp_path / f"shoot{attempt}"
        originals = contents(card)
        for _ in range(2):
            is_killed_at(chance.randrange(1, 90), lambda: ingest(card, shoot, moves=moves))  # noqa: B023
        finish(card, shoot, moves=moves)
        hold_whole(shoot, originals)
        assert contents(card) == ({} if moves else originals)


def test_an_undo_of_the_second_ingest_never_takes_the_first(tmp_path: Path) -> None:
    call, killed = 1, True
    while killed:
        card, shoot = limpets(tmp_path / f"card{call}"), tmp_path / f"shoot{call}"
        ingest(card, shoot)
        before = contents(shoot)
        picture(card / LIMPETS / "IMG_0009.JPG", 1.25)
        ingest(card, shoot)
        killed = is_killed_at(call, lambda: take_back(shoot))  # noqa: B023
        if killed and contents(shoot) != before:
            take_back(shoot)
        assert contents(shoot) == before
        call += 3
    assert call > 5 * 3


def take_back(shoot: Path) -> None:
    with Undo(shoot, None) as work:
        work.carry(lambda *_: None)


@pytest.mark.parametrize("mode", MODES)
def test_an_undo_after_any_verb(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, mode: str) -> None:
    if mode.endswith("another disk"):
        two_disks(monkeypatch)
    moves, call, killed = mode != "copy", 1, True
    while killed:
        card, shoot = tide_card(tmp_path / f"card{call}"), tmp_path / f"shoot{call}"
        originals = contents(card)
        ingest(card, shoot, moves=moves)
        killed = is_killed_at(call, lambda: take_back(shoot))  # noqa: B023
        if (shoot / ".sorter" / "ledger.db").exists():
            take_back(shoot)
            assert not shoot.exists()
        assert contents(card) == originals
        assert not any(path.is_file() for path in shoot.rglob("*"))
        call += STRIDE
    assert call > 5 * STRIDE


# ---- by the clock ------------------------------------------------------------------------------

# The command itself, on a disk that takes 4 ms to force a file: a card of an hour in a second.
_SLOWLY = """
import os, sys, time
force = os.fsync
def slowly(handle):
    time.sleep(0.004)
    force(handle)
os.fsync = slowly
from sorter.cli import run
run()
"""


def started(card: Path, shoot: Path, *options: str) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-c", _SLOWLY, "ingest", str(card), str(shoot), *options]
    return subprocess.Popen(  # noqa: S603  our own program
        command, cwd=HOME, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )


def killed_after(delay_s: float, card: Path, shoot: Path, *options: str) -> int:
    """The exit code of an ingest that is killed so long after its ledger was there."""
    process = started(card, shoot, *options)
    while process.poll() is None and not (shoot / ".sorter" / "ledger.db").exists():
        time.sleep(0.002)
    time.sleep(delay_s)
    process.kill()
    return process.wait()


@pytest.mark.slow
@pytest.mark.parametrize("options", [(), ("--move", "--yes")])
def test_by_the_clock(tmp_path: Path, options: tuple[str, ...]) -> None:
    card, shoot = limpets(tmp_path / "card", 60), tmp_path / "shoot"
    originals, chance = contents(card), random.Random(417)
    ends = [killed_after(chance.uniform(0, 0.15), card, shoot, *options) for _ in range(6)]
    assert ends.count(-signal.SIGKILL) >= 3, ends
    assert started(card, shoot, *options).wait() in (0, 2)  # 2: a move was whole already
    hold_whole(shoot, originals)
    assert contents(card) == ({} if options else originals)
    assert found(shoot).good == len(originals)
