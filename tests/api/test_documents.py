"""Every command's JSON is its result's own, and keeps its names."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import pytest
from click.testing import CliRunner, Result

import sorter
import tides
from sorter.cli import COMMANDS, commands

card = tides.whole_card
shoot = tides.shoot_of_card

GOLDEN: Final = Path(__file__).with_name("golden")


def run(*arguments: object) -> Result:
    return CliRunner().invoke(commands, [*map(str, arguments)])


def names(value: object, at: str = "") -> Iterator[str]:
    """Every name in the document, with those that it stands in; of a list, of all its parts."""
    if isinstance(value, dict):
        for name, each in value.items():
            yield f"{at}{name}"
            yield from names(each, f"{at}{name}.")
    elif isinstance(value, list):
        for each in value:
            yield from names(each, f"{at}")


@pytest.fixture
def documents(card: Path, shoot: Path, tmp_path: Path) -> dict[str, dict[str, Any]]:
    """One of each, in which as much as can be has a value."""
    merged = tmp_path / "0001_burst_4.tif"
    merged.write_bytes(b"no picture")
    steps = sorter.steps(magnification=1, f_number=5.6, depth=10)
    (shoot / "added.txt").write_text("added")
    second = tmp_path / "second"
    return {
        "scan": sorter.scan(card).to_dict(),
        "plan": sorter.plan(card, tmp_path / "other", backup=second).to_dict(),
        "ingest": sorter.ingest(card, tmp_path / "other", backup=second).to_dict(),
        "verify": sorter.verify(shoot, card=card).to_dict(),
        "check": sorter.check(shoot).to_dict(),
        "report": sorter.report(shoot).to_dict(),
        "handoff": sorter.hand_off(shoot, list=tmp_path / "lists", kind="burst").to_dict(),
        "collect": sorter.collect(shoot, [merged]).to_dict(),
        "tally": sorter.tally(shoot).to_dict(),
        "steps": steps.to_dict(),
        "regroup": sorter.regroup(shoot, []).to_dict(),
        "undo": sorter.undo(tmp_path / "other").to_dict(),
    }


def test_names_of_documents_stay(
    documents: dict[str, dict[str, Any]], golden: Callable[[Path, bytes], None]
) -> None:
    for name, document in documents.items():
        assert json.loads(json.dumps(document, allow_nan=False)) == document
        told = sorted({each for each in names(document) if not _is_a_path(each)})
        golden(GOLDEN / f"{name}.txt", "".join(f"{each}\n" for each in told).encode())


def _is_a_path(name: str) -> bool:
    """Some objects have paths for names."""
    return "/" in name or name.endswith((".JPG", ".txt", ".MP4", ".xmp"))


def test_every_command_has_json_from_its_result(card: Path, shoot: Path, tmp_path: Path) -> None:
    calls: dict[str, tuple[tuple[object, ...], Callable[[], Any]]] = {
        "scan": ((card,), lambda: sorter.scan(card)),
        "verify": ((shoot,), lambda: sorter.verify(shoot)),
        "check": ((shoot,), lambda: sorter.check(shoot)),
        "report": ((shoot,), lambda: sorter.report(shoot)),
        "tally": ((shoot,), lambda: sorter.tally(shoot)),
        "steps": (("--magnification", 1), lambda: sorter.steps(magnification=1)),
        "handoff": (
            (shoot, "--list", tmp_path / "lists"),
            lambda: sorter.hand_off(shoot, list=tmp_path / "lists"),
        ),
        "ingest": (
            (card, tmp_path / "new", "--dry-run"),
            lambda: sorter.plan(card, tmp_path / "new"),
        ),
        "undo": ((shoot, "--yes"), lambda: None),
    }
    assert calls.keys() == COMMANDS.keys()
    for command, (arguments, call) in calls.items():
        wanted = call()
        printed = run(command, *arguments, "--json")
        found = json.loads(printed.stdout)
        if wanted is not None:
            assert found == wanted.to_dict(), command
    assert found["operation"] == "ingest"
