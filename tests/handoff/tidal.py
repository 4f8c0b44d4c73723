"""A shoot of a rock pool with real pictures: two stacks, a burst, and a splash of a stack's set-up."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path
from typing import Final

from click.testing import CliRunner, Result

from sorter.cli import commands
from sorter.manifest.csvfile import read_manifest
from sorter.model.correction import Correction
from sorter.model.row import Row
from writing.cards import LIMPETS, ingest, picture

STAND_IN: Final = Path(__file__).with_name("stand_in.py")
LIMPET, ANEMONE, SPRAY, SPLASH = 1, 2, 3, 4
FIRST: Final = "0001_focus-bracket_3_limpet"
SECOND: Final = "0002_manual-stack_4_anemone"
RECORDS: Final = ("manifest.csv", "SHA256SUMS")


def tidal_card(card: Path) -> Path:
    """Three slices, four slices, a burst of three and a lone frame, minutes apart."""
    number = 0
    for minute, count in ((0, 3), (6, 4), (12, 3), (18, 1)):
        for frame in range(count):
            number += 1
            path = card / LIMPETS / f"IMG_{number:04d}.JPG"
            picture(path, 60 * minute + 0.5 * frame, shade=20 * number, side=32)
    return card


def tidal_shoot(base: Path, folder: str = "shoot") -> Path:
    """The card carried into a shoot, each series under its name."""
    said = (
        (1, 3, "focus-bracket", "limpet"),
        (4, 7, "manual-stack", "anemone"),
        (8, 10, "burst", "spray"),
    )
    rows = tuple(
        Correction(first=_path(first), last=_path(last), kind=kind, name=name)
        for first, last, kind, name in said
    )
    ingest(tidal_card(base / "card"), base / folder, corrections=rows)
    return base / folder


def _path(number: int) -> str:
    return f"{LIMPETS}/IMG_{number:04d}.JPG"


def stand_in(how: str, *, fields: str = "{result} {frames}") -> str:
    """The stand-in as a command for --run."""
    return f"{shlex.join([sys.executable, str(STAND_IN), how])} {fields}"


def handoff(shoot: Path, *arguments: object) -> Result:
    """`sorter handoff SHOOT` as a user calls it."""
    return CliRunner().invoke(commands, ["handoff", str(shoot), *map(str, arguments)])


def run(shoot: Path, how: str, *arguments: object) -> Result:
    """The stand-in run over the stacks of the shoot."""
    return handoff(shoot, "--run", stand_in(how), *arguments)


def results(shoot: Path) -> list[Row]:
    """The manifest's rows of results."""
    rows = read_manifest((shoot / "manifest.csv").read_bytes())
    return [row for row in rows if row.role == "result"]
