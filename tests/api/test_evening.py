"""A whole evening through the front door: as by the command line, stopped anywhere, in any thread."""

from __future__ import annotations

import random
import shutil
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path

import pytest
from click.testing import CliRunner

import sorter
from handoff.tidal import stand_in, tidal_card
from sorter.cli import commands
from sorter.errors import Cancelled
from writing.cards import contents

SAID = (
    sorter.Correction(
        first="DCIM/100TIDES/IMG_0001.JPG",
        last="DCIM/100TIDES/IMG_0003.JPG",
        kind="focus-bracket",
        name="limpet",
    ),
    sorter.Correction(
        first="DCIM/100TIDES/IMG_0004.JPG",
        last="DCIM/100TIDES/IMG_0007.JPG",
        kind="manual-stack",
        name="anemone",
    ),
)
_Step = Callable[..., object]


@pytest.fixture
def card(tmp_path: Path) -> Path:
    return tidal_card(tmp_path / "card")


def steps_of(card: Path, shoot: Path, second: Path) -> list[_Step]:
    """What is done in an evening, each step as a call that can be told of progress, and cancelled."""
    return [
        lambda **more: sorter.ingest(card, shoot, backup=second, corrections=SAID, **more),
        lambda **more: sorter.verify(shoot, backup=second, card=card, **more),
        lambda **more: sorter.check(shoot, **more),
        lambda **more: sorter.hand_off(shoot, run=stand_in("average"), **more),
        lambda **more: sorter.hand_off(shoot, list=shoot.with_name("lists"), **more),
        lambda **more: sorter.report(shoot, **more),
        lambda **more: sorter.tally(shoot, **more),
    ]


def by_command_line(card: Path, shoot: Path, second: Path) -> None:
    """The same evening as a user types it."""
    said = shoot.with_name("said.csv")
    rows = "".join(f"{each.first},{each.last},{each.kind},{each.name}\n" for each in SAID)
    said.write_text(f"first,last,kind,name\n{rows}")
    for words in (
        ("ingest", card, shoot, "--backup", second, "--corrections", said),
        ("verify", shoot, "--backup", second, "--card", card),
        ("check", shoot),
        ("handoff", shoot, "--run", stand_in("average")),
        ("handoff", shoot, "--list", shoot.with_name("lists")),
        ("report", shoot),
        ("tally", shoot),
    ):
        outcome = CliRunner().invoke(commands, [*map(str, words)])
        assert outcome.exit_code in (0, 1), outcome.output


def lying(shoot: Path) -> dict[str, bytes]:
    """What is in the shoot; the page tells paths of its own folder."""
    return {path: data for path, data in contents(shoot).items() if path != "report/index.html"}


def test_an_evening_comes_to_what_the_command_line_makes(card: Path, tmp_path: Path) -> None:
    (tmp_path / "typed").mkdir()
    by_command_line(card, tmp_path / "typed" / "shoot", tmp_path / "typed" / "second")
    (tmp_path / "called").mkdir()
    with ThreadPoolExecutor(1) as thread:  # not the main one: no signal reaches it
        for step in steps_of(card, tmp_path / "called" / "shoot", tmp_path / "called" / "second"):
            thread.submit(step).result()
    for name in ("shoot", "second"):
        assert lying(tmp_path / "called" / name) == lying(tmp_path / "typed" / name)


@pytest.mark.parametrize("seed", range(4))
def test_cancelled_anywhere_it_goes_on_and_loses_nothing(
    card: Path, tmp_path: Path, seed: int
) -> None:
    """Each step is taken back at a point by chance, from within its own progress, and called again."""
    chance = random.Random(seed)
    (tmp_path / "whole").mkdir()
    for step in steps_of(card, tmp_path / "whole" / "shoot", tmp_path / "whole" / "second"):
        step()
    (tmp_path / "cut").mkdir()
    cuts = 0
    for step in steps_of(card, tmp_path / "cut" / "shoot", tmp_path / "cut" / "second"):
        for _ in range(3):
            cuts += _cut(step, chance.randrange(12))
        step()
    assert cuts > 5
    for name in ("shoot", "second"):
        assert lying(tmp_path / "cut" / name) == lying(tmp_path / "whole" / name)


def _cut(step: _Step, after: int) -> bool:
    """Whether the step was taken back, once so much progress was told."""
    token, told = sorter.Cancel(), [0]

    def progress(stage: str, done: int, total: int) -> None:
        assert isinstance(stage, str)
        assert 0 <= done <= max(total, done)
        told[0] += 1
        if told[0] > after:
            token.cancel()

    try:
        step(progress=progress, cancel=token)
    except Cancelled:
        return True
    return False


def test_taken_back_before_it_begins_nothing_is_done(card: Path, tmp_path: Path) -> None:
    token = sorter.Cancel()
    token.cancel()
    for step in steps_of(card, tmp_path / "shoot", tmp_path / "second"):
        with pytest.raises(Cancelled):
            step(cancel=token)
    assert not (tmp_path / "shoot").exists()


def test_it_runs_in_a_thread_of_its_own_and_is_cancelled_from_another(
    card: Path, tmp_path: Path
) -> None:
    token, begun = sorter.Cancel(), threading.Event()

    def progress(_stage: str, _done: int, _total: int) -> None:
        begun.set()

    def wait_and_cancel() -> None:
        begun.wait(30)
        token.cancel()

    shoot = tmp_path / "shoot"
    with ThreadPoolExecutor(2) as threads:
        threads.submit(wait_and_cancel)
        work = threads.submit(sorter.ingest, card, shoot, progress=progress, cancel=token)
        with suppress(Cancelled):
            work.result(60)
        assert threads.submit(sorter.ingest, card, shoot).result(60).exit_code == 0
    assert sorter.verify(shoot).exit_code == 0


def test_a_plan_is_carried_later_or_refused(card: Path, tmp_path: Path) -> None:
    shoot = tmp_path / "shoot"
    made = sorter.plan(card, shoot)
    assert sorter.carry(made).exit_code == 0
    shutil.copy(card / "DCIM/100TIDES/IMG_0001.JPG", card / "DCIM/100TIDES/IMG_0099.JPG")
    with pytest.raises(sorter.SorterError) as refused:
        sorter.carry(made)
    assert refused.value.code == "plan-outdated"


def test_a_move_that_was_stopped_is_not_gone_on_with_by_accident(
    card: Path, tmp_path: Path
) -> None:
    shoot = tmp_path / "shoot"
    cut = _cut(lambda **more: sorter.ingest(card, shoot, move=True, **more), 14)
    left = contents(card)
    if cut and left:
        with pytest.raises(sorter.SorterError) as refused:
            sorter.ingest(card, shoot)
        assert refused.value.code == "not-agreed"
        assert contents(card) == left
    sorter.ingest(card, shoot, move=True)
    assert sorter.verify(shoot).exit_code == 0
    assert sorter.undo(shoot).exit_code == 0
