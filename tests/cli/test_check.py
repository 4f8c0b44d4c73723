"""`sorter check` as its user runs it, on the demo card, whose truth by picture stands beside it."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from cardmaking.card import make_card
from sorter.cli import commands


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo") / "card"
    make_card(folder, folder.with_name("truth.csv"))
    return folder


def truth(card: Path) -> dict[int, dict[str, str]]:
    with card.with_name("truth.csv").open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["sequence"] and row["role"] != "sidecar"]
    return {int(row["sequence"]): row for row in reversed(rows)}


def test_a_card_is_judged_as_its_truth_says(card: Path) -> None:
    done = CliRunner().invoke(commands, ["check", str(card), "--json"])
    assert done.exit_code == 0, done.stderr
    found = json.loads(done.stdout)
    for check in found["checks"]:
        row = truth(card)[check["sequence"]]
        assert (check["verdict"] or "", check["missing_end"] or "") == (
            row["verdict"],
            row["missing_end"],
        ), check
        assert check["looks_like"] is None, check
    assert [each["kind"] for each in found["suggested"]] == ["marker"]


def test_a_shoot_gets_its_findings_and_a_hand_off_uses_them(card: Path, tmp_path: Path) -> None:
    shoot = tmp_path / "shoot"
    run = CliRunner().invoke
    assert run(commands, ["ingest", str(card), str(shoot), "--look"]).exit_code == 1
    assert [path.suffix for path in (shoot / "markers").iterdir()] == [".CR3"]
    assert run(commands, ["check", str(shoot)]).exit_code == 0
    first = (shoot / "checks.csv").read_bytes()
    assert run(commands, ["check", str(shoot)]).exit_code == 0
    assert (shoot / "checks.csv").read_bytes() == first
    assert b"Stops short" in (shoot / "manifest.csv").read_bytes()
    assert run(commands, ["verify", str(shoot)]).exit_code == 0
    lists = tmp_path / "lists"
    asked = ["handoff", str(shoot), "--list", str(lists), "--verdict", "incomplete"]
    done = run(commands, asked)
    assert done.exit_code == 0, done.stderr
    with (shoot / "checks.csv").open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["verdict"] == "incomplete"]
    assert len(list(lists.iterdir())) == len(rows) == 2
    trimmed = run(commands, ["handoff", str(shoot), "--list", str(tmp_path / "t"), "--trim"])
    assert trimmed.exit_code == 0, trimmed.stderr
