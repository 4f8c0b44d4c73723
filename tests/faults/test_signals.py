"""Ctrl-C and a request to end: a clean stop, a sentence that says how to go on, and it goes on."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from faults.commands import HOME, Ended, signalled, started
from faults.cuts import nothing_is_lost, prepared, put
from faults.dying import NEVER
from faults.sampling import Cuts
from faults.scenarios import SCENARIOS, Pool, Scenario, copy, is_copied
from sorter.writing import carry
from writing.cards import contents, hold_whole, ingest, limpets

STRIDES = [(signal.SIGINT, 1), (signal.SIGTERM, 5)]
"""The second is taken for the first as soon as the command has begun."""
INGEST = ("ingest", "{card}", "{shoot}")
MOVE = (*INGEST, "--move", "--yes")
UNDO = ("undo", "{shoot}", "--yes")
WORKS: dict[str, tuple[str, ...]] = {
    "copy": INGEST,
    "move on one disk": MOVE,
    "move to another disk": MOVE,
    "undo of a copy": UNDO,
    "undo of a move on one disk": UNDO,
    "undo of a move to another disk": UNDO,
    "verify": ("verify", "{shoot}"),
}
DONE = (0, 1)
"""1: the card holds a file that is no picture, which is told."""
STOPPED = 3


def scenario_of(name: str) -> Scenario:
    verify = Scenario(prepare=copy, work=copy, holds=is_copied)
    return verify if name == "verify" else SCENARIOS[name]


def filled(arguments: tuple[str, ...], pool: Pool) -> tuple[str, ...]:
    return tuple(word.format(card=pool.card, shoot=pool.shoot) for word in arguments)


def ends_clearly(code: int, said: str) -> None:
    """Done, or stopped with one sentence that says what to do."""
    assert code in (*DONE, STOPPED), said
    errors = [line for line in said.splitlines() if line.startswith("Error: ")]
    assert len(errors) == (code == STOPPED), said
    assert all("again" in line for line in errors), said
    assert "Traceback" not in said


def is_clean(ended: Ended, pool: Pool) -> None:
    ends_clearly(ended.code, ended.said)
    nothing_is_lost(pool)
    assert list(pool.card.rglob("*.sorter-unfinished")) == []


@pytest.mark.parametrize(("by", "stride"), STRIDES)
@pytest.mark.parametrize("name", WORKS)
def test_at_every_call(
    base: Path,
    monkeypatch: pytest.MonkeyPatch,
    cuts: Cuts,
    *,
    name: str,
    by: signal.Signals,
    stride: int,
) -> None:
    """At every call, or at a sample of them; the last is behind the end, where none comes."""
    scenario = scenario_of(name)
    monkeypatch.setattr(carry, "BATCH_FILES", 3)
    scenario.disk(monkeypatch)
    pool = prepared(scenario, base)
    shutil.copytree(pool.disk, base / "before")
    points = signalled(pool, filled(WORKS[name], pool), NEVER, by).points
    codes = []
    for point in (*cuts.points(points, name, by)[:: stride if cuts.every else 1], points + 1):
        put(base / "before", pool.disk)
        ended = signalled(pool, filled(WORKS[name], pool), point, by)
        assert ended.signalled == (point <= points), point
        is_clean(ended, pool)
        codes.append(ended.code)
        scenario.goes_on(pool)
        scenario.holds(pool)
    assert codes.count(STOPPED) > (6 // stride if cuts.every else 0)
    assert codes[-1] in DONE


# What a signal that comes while a dataclass is made does: it runs its methods out of a text.
WHILE_TEXT_IS_RUN = """
import sys
from sorter import cli
from sorter.cli import console
def stopped(*_): exec("raise KeyboardInterrupt")
cli.Commands.get_command = stopped
sys.argv = ["sorter", "scan", "card"]
cli.run()
"""


def test_a_stop_while_code_is_made_has_the_same_exit_code(tmp_path: Path) -> None:
    (tmp_path / "limpets.py").write_text(WHILE_TEXT_IS_RUN)
    done = subprocess.run(
        [sys.executable, "-m", "limpets"],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(HOME)},
        capture_output=True,
        text=True,
        check=False,
    )
    ends_clearly(done.returncode, done.stderr)
    assert done.returncode == STOPPED


# ---- from outside ------------------------------------------------------------------------------


def stopped_after(delay_s: float, by: signal.Signals, pool: Pool, *arguments: str) -> int:
    """The exit code of a command that gets the signal so long after it took hold of the ledger.

    The interpreter, once the command has ended, no longer catches a signal while it tidies up.
    """
    holder = pool.shoot / ".sorter" / "holder"
    holder.unlink(
        missing_ok=True
    )  # a run that is stopped at once may leave it; nothing depends on it
    with started(filled(arguments, pool)) as process:
        while process.poll() is None and not holder.exists():
            time.sleep(0.001)
        time.sleep(delay_s)
        process.send_signal(by)
        assert process.stderr is not None
        code, said = process.wait(), process.stderr.read()
    if code == -by:
        assert not holder.exists()
    else:
        ends_clearly(code, said)
    return code


@pytest.mark.slow
@pytest.mark.parametrize("by", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("options", [(), ("--move", "--yes")])
def test_by_the_clock(
    tmp_path: Path, cuts: Cuts, by: signal.Signals, options: tuple[str, ...]
) -> None:
    """On a real disk: ingests until one is through, then undos until one is."""
    chance = cuts.chance("clock", by, options)
    later, soon = (
        ((1, 2, 3), (0, 1)) if cuts.every else ((3 * chance.random(),), (chance.random(),))
    )
    pool = Pool(base=tmp_path)
    limpets(pool.card, 60)
    pool.originals = contents(pool.card)
    codes = [stopped_after(0.02 * n, by, pool, *INGEST, *options) for n in (0, *later)]
    assert STOPPED in codes
    ingest(pool.card, pool.shoot, moves=bool(options))
    hold_whole(pool.shoot, pool.originals)
    codes = [stopped_after(0.01 * n, by, pool, *UNDO) for n in soon]
    SCENARIOS["undo of a copy"].goes_on(pool)
    SCENARIOS["undo of a copy"].holds(pool)
