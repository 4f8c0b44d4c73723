"""`sorter check` as its user runs it, on the demo card, whose truth by picture stands beside it."""

from __future__ import annotations

import csv
import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from sorter.cli import commands
from sorter.model.measurement import FrameSource
from sorter.pipeline import looking
from sorter.pixels.measuring import MeasuredStretch, measure_frames


@pytest.fixture(scope="module")
def card(demo_card: Path) -> Path:
    return demo_card


@pytest.fixture(scope="module")
def checked(card: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], Path]:
    """The card looked at once: the document, and the table."""
    table = tmp_path_factory.mktemp("checked") / "checks.csv"
    done = CliRunner().invoke(commands, ["check", str(card), "--json", "--csv", str(table)])
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout), table


@pytest.fixture
def shoot(demo_shoot: Path, tmp_path: Path) -> Path:
    """A shoot of the test's own, that nothing has looked at."""
    return shutil.copytree(demo_shoot, tmp_path / "shoot")


def truth(card: Path) -> dict[int, dict[str, str]]:
    with card.with_name("card-truth.csv").open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["sequence"] and row["role"] != "sidecar"]
    return {int(row["sequence"]): row for row in reversed(rows)}


def frames(card: Path) -> list[dict[str, str]]:
    """A row of the truth for each frame of a sequence."""
    with card.with_name("card-truth.csv").open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["sequence"] and row["position"]]
    return list({(row["sequence"], row["position"]): row for row in reversed(rows)}.values())[::-1]


def test_a_card_is_judged_as_its_truth_says(
    card: Path, checked: tuple[dict[str, Any], Path]
) -> None:
    found, _ = checked
    for check in found["checks"]:
        row = truth(card)[check["sequence"]]
        assert (check["verdict"] or "", check["missing_end"] or "") == (
            row["verdict"],
            row["missing_end"],
        ), check
        assert check["looks_like"] is None, check
    (marker,) = found["suggested"]
    (told,) = (row for row in frames(card) if row["kind_by_picture"] not in ("", row["kind"]))
    assert (marker["first"], marker["kind"]) == (told["source"], told["kind_by_picture"])


def test_what_is_said_of_single_frames_is_the_truth(
    card: Path, checked: tuple[dict[str, Any], Path]
) -> None:
    """Which are dark, in which order they are focused, and that none is surplus but at the ends."""
    seen = 0
    for check in checked[0]["checks"]:
        own = [row for row in frames(card) if row["sequence"] == str(check["sequence"])]
        assert check["dark"] == [int(row["position"]) for row in own if row["dark"]], check
        if not check["verdict"]:
            continue
        focus = {int(row["position"]): float(row["focus"]) for row in own}
        by_focus = sorted(focus, key=focus.__getitem__)
        assert by_focus in (list(focus), list(focus)[::-1])
        assert (check["order"], check["gaps"], check["jumps"]) == ([], [], []), check
        assert set(check["surplus"]) <= {*by_focus[:3], *by_focus[-3:]}, check
        seen += 1
    assert seen == 10


def test_a_shoot_gets_its_findings_and_a_hand_off_uses_them(card: Path, tmp_path: Path) -> None:
    shoot = tmp_path / "shoot"
    run = CliRunner().invoke
    assert run(commands, ["ingest", str(card), str(shoot), "--look"]).exit_code == 0
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


@pytest.mark.parametrize("jobs", ["1", "5"])
def test_the_number_of_workers_changes_nothing(
    card: Path, checked: tuple[dict[str, Any], Path], jobs: str, tmp_path: Path
) -> None:
    """Against as many as there are processors, which is what nobody asks for."""
    other = tmp_path / "other.csv"
    words = ["check", str(card), "--csv", str(other), "--jobs", jobs]
    assert CliRunner().invoke(commands, words).exit_code == 0
    assert other.read_bytes() == checked[1].read_bytes()


def test_ctrl_c_keeps_what_was_looked_at(shoot: Path, checked: tuple[dict[str, Any], Path]) -> None:
    run = CliRunner().invoke
    looked: list[int] = []

    def stopped(frames: tuple[FrameSource, ...]) -> MeasuredStretch:
        if len(looked) == 4:
            raise KeyboardInterrupt
        return counted(frames)

    def counted(frames: tuple[FrameSource, ...]) -> MeasuredStretch:
        looked.append(len(frames))
        return measure_frames(frames)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(looking, "measure_frames", stopped)
        done = run(commands, ["check", str(shoot)])
        assert done.exit_code == 3
        assert "Run the same command again" in done.stderr
        assert not (shoot / "checks.csv").exists()
        patch.setattr(looking, "measure_frames", counted)
        assert run(commands, ["check", str(shoot)]).exit_code == 0
        every = len(looked)
        assert run(commands, ["check", str(shoot)]).exit_code == 0
    assert len(looked) == every, "a second check looks at nothing"
    with (shoot / "checks.csv").open(newline="", encoding="utf-8") as file:
        verdicts = {int(row["sequence"]): row["verdict"] for row in csv.DictReader(file)}
    assert verdicts == {each["sequence"]: each["verdict"] or "" for each in checked[0]["checks"]}


def test_previews_that_cannot_be_read_are_named_and_the_rest_is_judged(shoot: Path) -> None:
    (folder,) = (path for path in shoot.iterdir() if path.name.startswith("0004_"))
    for path in sorted(folder.iterdir())[4:6]:
        data = path.read_bytes()
        path.write_bytes(data[:2000] + bytes(len(data) - 2000))
    done = CliRunner().invoke(commands, ["check", str(shoot), "--json"])
    assert done.exit_code == 1
    (four,) = (each for each in json.loads(done.stdout)["checks"] if each["sequence"] == 4)
    assert four["unseen"]
    assert "Cannot be looked at" in four["says"]
    assert four["verdict"] == "usable"


def test_pictures_above_the_limit_are_named_by_every_command_that_looks(tmp_path: Path) -> None:
    """Two of three frames of a burst have 2 megapixels; the limit stands in a file, and an option goes before it."""
    card, settings = tmp_path / "card", tmp_path / "pool.toml"
    folder = card / "DCIM" / "100ROCKP"
    folder.mkdir(parents=True)
    dice = np.random.default_rng(4)
    for index, side in enumerate([(1600, 1200), (1600, 1200), (900, 600)]):
        rough = dice.integers(0, 255, (side[1] // 20, side[0] // 20, 3)).astype(np.uint8)
        taken = Image.Exif()
        taken.get_ifd(0x8769)[0x9003] = f"2026:05:01 06:10:0{index}"  # Exif 2.32: DateTimeOriginal
        Image.fromarray(rough).resize(side).save(folder / f"POOL000{index + 1}.JPG", exif=taken)
    settings.write_text("[pictures]\nmost_megapixels = 1\n")
    run, limit = CliRunner().invoke, ["--settings", str(settings)]
    done = run(commands, ["check", str(card), "--json", *limit])
    assert done.exit_code == 1, done.stderr
    (burst,) = json.loads(done.stdout)["checks"]
    assert burst["unseen"] == [1, 2]
    assert (
        "1 has 2 megapixels, 2 has 2 megapixels, more than 1; set most_megapixels" in burst["says"]
    )
    raised = run(commands, ["check", str(card), "--json", *limit, "--most-megapixels", "2"])
    assert json.loads(raised.stdout)["checks"][0]["unseen"] == []
    shoot = tmp_path / "shoot"
    assert run(commands, ["ingest", str(card), str(shoot), "--look", *limit]).exit_code == 0
    assert run(commands, ["check", str(shoot), *limit]).exit_code == 1
    assert run(commands, ["check", str(shoot)]).exit_code == 0, "what was kept is of another limit"
    page = run(commands, ["report", str(shoot), "--most-megapixels", "1"])
    assert page.exit_code == 1
    assert "has 2 megapixels, more than 1; set most_megapixels in sorter.toml" in page.stderr
    assert run(commands, ["report", str(shoot)]).exit_code == 0
