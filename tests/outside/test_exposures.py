"""Exposure sets of real pictures on made cards, without a look at them and with one; then a shoot that is checked.

The cards are those of scripts/score_exposures, of other seeds than its rules were set by.
"""

from __future__ import annotations

import csv
from collections import Counter
from pathlib import Path

import numpy as np
from click.testing import CliRunner

from examples import share_of
from outside import corpus
from scoring import exposures
from sorter.cli import commands

SEEDS = range(901, 901 + share_of(3))


def pictures() -> list[Path]:
    corpus.need()
    return [corpus.FOLDER / "depth" / name for name in exposures.PICTURES]


def pool(folder: Path, seed: int) -> exposures.Pool:
    folder.mkdir()
    return exposures.Pool(folder=folder, dice=np.random.default_rng(seed), pictures=pictures())


def test_four_in_five_sets_are_whole_and_none_is_joined_falsely(tmp_path: Path) -> None:
    before: Counter[str] = Counter()
    after: Counter[str] = Counter()
    for seed in SEEDS:
        card = pool(tmp_path / str(seed), seed)
        exposures.made(card)
        plain, looked = exposures.accounts(card.folder)
        before += exposures.counted(card, plain)
        after += exposures.counted(card, looked, plain)
    sets, whole = (
        sum(n for name, n in after.items() if name.endswith(what)) for what in (": sets", ": whole")
    )
    assert whole >= 0.8 * sets > sum(n for name, n in before.items() if name.endswith(": whole"))
    assert after["joined falsely"] == 0
    assert after["frames in them"] <= before["frames in them"]


def run(*words: object) -> str:
    result = CliRunner().invoke(commands, [str(word) for word in words])
    assert result.exit_code == 0, result.output
    return result.output


def kinds(shoot: Path) -> list[tuple[str, int]]:
    """Kind and frames of each sequence, in order."""
    with (shoot / "manifest.csv").open(newline="", encoding="utf-8") as file:
        rows = {row["sequence"]: row for row in csv.DictReader(file)}
    return [(row["kind"], int(row["frames"])) for row in rows.values()]


def test_a_ladder_set_by_hand_is_one_set_by_a_look_at_it_and_by_a_check(tmp_path: Path) -> None:
    card = pool(tmp_path / "card", 7)
    place = card.place()
    card.take_set("by hand", place, 20, (9, 14), (-2.0, 0.0, 2.0))
    card.take_set("by hand", card.place(), 200, (9, 14), (0.0, -1.0, 1.0))
    run("ingest", card.folder, tmp_path / "plain")
    assert kinds(tmp_path / "plain") == [("single", 1)] * 6, "metadata alone do not join them"
    run("ingest", "--look", card.folder, tmp_path / "looked")
    wanted = [("exposure-bracket", 3)] * 2
    assert kinds(tmp_path / "looked") == wanted
    said = run("check", tmp_path / "plain")
    assert said.count("one view in even steps of exposure") == 2
    assert run("check", tmp_path / "plain") == said, "what was found is kept"
    run("check", "--apply", tmp_path / "plain")
    assert kinds(tmp_path / "plain") == wanted
    assert "one view" not in run("check", tmp_path / "plain")
