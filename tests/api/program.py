"""A program as somebody writes it who has only the types: mypy --strict reads it, and a test runs it."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor, ThreadPoolExecutor
from pathlib import Path

import sorter


def told(stage: str, done: int, total: int) -> None:
    """Nothing is shown."""
    assert stage
    assert done <= total or total == 0


def evening(card: Path, shoot: str, place: Path, command: str) -> Iterator[tuple[str, int]]:
    """Every call once, each with what it ended with."""
    token = sorter.Cancel()
    workers: Executor
    with ThreadPoolExecutor(2) as workers:
        scanned = sorter.scan(card, clock="0417=-4m", progress=told, cancel=token)
        yield "scan", scanned.exit_code
        plan = sorter.plan(str(card), shoot, name="limpet", executor=workers)
        kept: dict[str, object] = plan.to_dict()
        assert kept["moves"] is False
        carried = sorter.carry(plan, progress=told)
        yield "carry", carried.exit_code
        more = sorter.ingest(card, shoot, backup=place / "second", look=False, reread=True)
        yield "ingest", more.exit_code
        verified = sorter.verify(shoot, backup=place / "second", card=card)
        yield "verify", verified.exit_code
        checked = sorter.check(shoot, jobs=2, executor=workers, csv=place / "checks.csv")
        yield "check", checked.exit_code
        said = sorter.Correction(
            first="DCIM/100TIDES/IMG_0001.JPG",
            last="DCIM/100TIDES/IMG_0003.JPG",
            kind="manual-stack",
            name="limpet",
        )
        yield "regroup", sorter.regroup(shoot, [said], progress=told).exit_code
        yield "report", sorter.report(shoot, executor=workers).exit_code
        handed = sorter.hand_off(shoot, list=place / "lists", order="capture", only=[1])
        yield "hand_off", handed.exit_code
        merged = sorter.hand_off(shoot, run=command, only="1", time_limit="90s", executor=workers)
        yield "run", merged.exit_code
        yield "collect", sorter.collect(shoot, [place / "none.tif"], only=(1,)).exit_code
        counted = sorter.tally(shoot, place / "second", cancel=token)
        frames: int = counted.tally.together.total.counts.frames
        yield "tally", frames
        rows: int = len(sorter.steps(magnification=1.0, f_number=(4, 5.6)).rows)
        yield "steps", rows
        yield "undo", sorter.undo(shoot, card=card).exit_code
