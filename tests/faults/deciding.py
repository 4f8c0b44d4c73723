"""Whether a run of pytest makes a sample of the cuts and kills, or all; said in its head and at its end.

It is decided where the run is started. Its workers are told by the options.
"""

from __future__ import annotations

import random
from pathlib import Path
from typing import Final

import pytest

from faults.imports import ROOT
from faults.sampling import BESIDE, Cuts, changed, digests, note

MOST_NAMED: Final = 5
AGAIN: Final = "--cuts-seed"
MADE: Final = "cuts and kills"
"""The property of a test that makes some."""


def add_options(parser: pytest.Parser) -> None:
    """The options by which a run is told what to make."""
    group = parser.getgroup("cuts and kills")
    group.addoption(
        "--thorough", action="store_true", help="make all cuts and kills, not a sample of them"
    )
    group.addoption(
        AGAIN, type=int, metavar="N", help="make the sample of the run that named this seed"
    )


def decide(config: pytest.Config) -> None:
    """Sets the seed, and why all cuts are made; a worker has been told."""
    option = config.option
    if hasattr(config, "workerinput"):
        vars(option).update(config.workerinput[MADE])
        return
    is_asked_for = option.thorough or option.cuts_seed is not None
    option.changed = [] if is_asked_for else changed(digests())
    option.every_cut = option.thorough or bool(option.changed)
    if option.cuts_seed is None:
        option.cuts_seed = random.SystemRandom().randrange(10**6)


def told_to_a_worker(config: pytest.Config) -> dict[str, object]:
    """What it needs to know of what was decided."""
    known = vars(config.option)
    return {name: known[name] for name in ("thorough", "changed", "cuts_seed", "every_cut")}


def cuts_of(config: pytest.Config) -> Cuts:
    """What the run makes."""
    return Cuts(seed=config.option.cuts_seed, every=config.option.every_cut)


def head(config: pytest.Config) -> str:
    """One line on what is made, and why."""
    option = config.option
    if not option.every_cut:
        return f"cuts and kills: a sample; {AGAIN} {option.cuts_seed} gives it again"
    return f"cuts and kills: all of them, {_why(config)}; {AGAIN} {option.cuts_seed} for what is chance"


def _why(config: pytest.Config) -> str:
    if config.option.thorough:
        return "as asked for"
    paths = config.option.changed
    named = ", ".join(paths[:MOST_NAMED]) + (", …" if paths[MOST_NAMED:] else "")
    return f"which takes minutes: of what they are about, {named} changed since all were made"


def made_by(report: pytest.TestReport) -> bool:
    """Whether this tells of a test that made its cuts to the end and found no fault."""
    return report.when == "call" and report.passed and MADE in dict(report.user_properties)


def ended(config: pytest.Config, made: int, *, well: bool) -> str:
    """Notes a full run that found no fault; what is to be said of it. made: tests that made their cuts."""
    if not (well and made and config.option.every_cut and _is_whole(config)):
        return head(config)
    now = digests()
    if not changed(now):
        return "cuts and kills: all were made, and none found a fault"
    note(now)
    return (
        "cuts and kills: all were made, and none found a fault. tests/faults/last_full_run.txt says so:"
        " commit it, and later runs make a sample until something changes"
    )


def _is_whole(config: pytest.Config) -> bool:
    """Whether none of the tests of faults was left out, and none beside them that makes cuts."""
    option = config.option
    if option.keyword or option.markexpr or option.deselect or option.ignore or option.lf:
        return False
    given = {(config.invocation_params.dir / each).resolve() for each in config.args}
    wanted = [Path(__file__).resolve().parent, *(ROOT / "tests" / path for path in BESIDE)]
    return all(given & {path, *path.parents} for path in wanted)
