"""The demo card comes out right to the last frame, as far as the data tell.

The card is made by scripts/make_demo_card, which shares no code with the sorter; its truth table
lies beside it.
"""

from __future__ import annotations

import csv
import hashlib
import io
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
CORRECTIONS = ROOT / "fixtures" / "corrections.csv"
GOLDEN = Path(__file__).parent / "golden"
PLACED = ("source", "destination", "frame", "sequence", "kind", "position", "frames", "role")
COMPARED = ("frame", "sequence", "kind", "position", "frames", "planned", "role")


def _by_source(path: Path) -> dict[str, dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return {row["source"]: row for row in csv.DictReader(file)}


@pytest.fixture(scope="session")
def demo_manifest(
    demo_card: Path, tmp_path_factory: pytest.TempPathFactory
) -> dict[str, dict[str, str]]:
    manifest = tmp_path_factory.mktemp("scanned") / "manifest.csv"
    command = [sys.executable, "-m", "sorter", "scan", str(demo_card), "--manifest", str(manifest)]
    done = subprocess.run(command, check=False, capture_output=True)  # noqa: S603
    assert done.returncode == 1, done.stderr  # one file of the card is empty
    return _by_source(manifest)


def test_every_file_of_the_demo_card_is_what_its_truth_says(
    demo_card: Path, demo_manifest: dict[str, dict[str, str]]
) -> None:
    truth = _by_source(demo_card.parent / "card-truth.csv")
    assert set(demo_manifest) == set(truth)
    wrong = [
        (source, column, demo_manifest[source][column], row[column])
        for source, row in truth.items()
        for column in COMPARED
        if demo_manifest[source][column] != row[column]
    ]
    assert wrong == []


def test_a_clock_four_minutes_ahead_is_set_right(
    demo_card: Path, demo_manifest: dict[str, dict[str, str]], tmp_path: Path
) -> None:
    first = "DCIM/100OMSYS/P5170118.JPG"
    assert demo_manifest[first]["captured"] == "2026-05-17T13:16:12"
    manifest = tmp_path / "set-right.csv"
    clock = f"{demo_manifest[first]['serial']}=-4m"
    command = [sys.executable, "-m", "sorter", "scan", str(demo_card), "--clock", clock]
    subprocess.run([*command, "--manifest", str(manifest)], check=False, capture_output=True)  # noqa: S603
    assert _by_source(manifest)[first]["captured"] == "2026-05-17T13:12:12"


def test_the_demo_card_is_left_as_it_was(
    demo_card: Path, demo_manifest: dict[str, dict[str, str]]
) -> None:
    before = {p: (p.stat().st_mtime_ns, p.stat().st_size) for p in demo_card.rglob("*")}
    assert demo_manifest
    command = [sys.executable, "-m", "sorter", "scan", str(demo_card), "--why"]
    subprocess.run(command, check=False, capture_output=True)  # noqa: S603
    assert {p: (p.stat().st_mtime_ns, p.stat().st_size) for p in demo_card.rglob("*")} == before


def test_the_readmes_corrections_change_what_they_name_and_nothing_else(
    demo_card: Path, demo_manifest: dict[str, dict[str, str]], tmp_path: Path
) -> None:
    manifest = tmp_path / "corrected.csv"
    command = [sys.executable, "-m", "sorter", "scan", str(demo_card), "--manifest", str(manifest)]
    asked = ["--corrections", str(CORRECTIONS)]
    done = subprocess.run([*command, *asked], check=False, capture_output=True)  # noqa: S603
    assert done.returncode == 1, done.stderr  # one file of the card is empty
    kinds = {source: row["kind"] for source, row in _by_source(manifest).items()}
    today = {source: row["kind"] for source, row in demo_manifest.items()}
    cap = [source for source in kinds if "IMG_9958" in source]
    assert cap
    assert kinds == today | dict.fromkeys(cap, "marker")


def test_the_demo_cards_own_corrections_change_nothing(
    demo_card: Path, demo_manifest: dict[str, dict[str, str]], tmp_path: Path
) -> None:
    """Two bodies at work at the same time, so that frames of one lie between those of the other."""
    written, manifest = tmp_path / "own.csv", tmp_path / "own-manifest.csv"
    command = [sys.executable, "-m", "sorter", "scan", str(demo_card)]
    for options in (
        ["--write-corrections", written],
        ["--corrections", written, "--manifest", manifest],
    ):
        done = subprocess.run([*command, *map(str, options)], check=False, capture_output=True)  # noqa: S603
        assert done.returncode == 1, done.stderr  # one file of the card is empty
    again = _by_source(manifest)
    wrong = [
        (source, column)
        for source, row in demo_manifest.items()
        for column in COMPARED
        if again[source][column] != row[column]
    ]
    assert wrong == []


def test_the_corrections_in_the_readme_are_the_fixtures() -> None:
    example = CORRECTIONS.read_text(encoding="utf-8")
    assert f"```csv\n{example}```" in (ROOT / "README.md").read_text(encoding="utf-8")


# ---- carried --------------------------------------------------------------------------------


def test_every_file_of_the_demo_card_has_the_place_that_it_had_before(
    demo_shoot: Path, golden: Callable[[Path, bytes], None]
) -> None:
    """Digests are left out: another version of the encoder makes other pictures."""
    rows = _by_source(demo_shoot / "manifest.csv").values()
    text = io.StringIO(newline="")
    writer = csv.DictWriter(text, PLACED, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    golden(GOLDEN / "demo-shoot.csv", text.getvalue().encode())


def test_every_file_of_the_demo_card_is_in_the_shoot_byte_by_byte(
    demo_card: Path, demo_shoot: Path
) -> None:
    rows = _by_source(demo_shoot / "manifest.csv")
    assert set(rows) == set(_by_source(demo_card.parent / "card-truth.csv"))
    for source, row in rows.items():
        data = (demo_card / source).read_bytes()
        assert (demo_shoot / row["destination"]).read_bytes() == data
        assert row["sha256"] == hashlib.sha256(data).hexdigest()
        assert row["bytes"] == str(len(data))


def test_a_shoot_tells_of_every_file_what_a_scan_told(
    demo_shoot: Path, demo_manifest: dict[str, dict[str, str]]
) -> None:
    filled = {"destination", "sha256"}
    for source, row in _by_source(demo_shoot / "manifest.csv").items():
        scanned = demo_manifest[source]
        assert {name for name in row if row[name] != scanned[name]} == filled
