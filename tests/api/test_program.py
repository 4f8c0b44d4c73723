"""The typed program runs, and every call of the front door is in it."""

from __future__ import annotations

import inspect
from pathlib import Path

import sorter
from api import program
from handoff.tidal import stand_in, tidal_card


def test_a_typed_program_runs(tmp_path: Path) -> None:
    card = tidal_card(tmp_path / "card")
    ended = program.evening(card, str(tmp_path / "shoot"), tmp_path, stand_in("average"))
    assert dict(ended) == {
        "scan": 0,
        "carry": 0,
        "ingest": 0,
        "verify": 0,
        "check": 1,  # pictures of 32 pixels cannot be judged
        "regroup": 0,
        "report": 1,
        "hand_off": 0,
        "run": 0,
        "collect": 1,
        "tally": 22,
        "steps": 2,
        "undo": 0,
    }


def test_every_call_is_in_it() -> None:
    source = inspect.getsource(program)
    calls = [name for name in sorter.__all__ if name.islower()]
    assert all(f"sorter.{name}(" in source for name in calls)
