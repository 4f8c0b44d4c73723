"""`sorter steps` as a user calls it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from PIL import Image

from handoff.pools import changed, stack
from sorter import optics
from sorter.cli import commands
from sorter.model.plan import Entry
from sorter.pipeline import covering


def steps(*arguments: object) -> Result:
    return CliRunner().invoke(commands, ["steps", *map(str, arguments)])


def document(*arguments: object) -> dict[str, Any]:
    result = steps(*arguments, "--json")
    assert (result.exit_code, result.stderr) == (0, "")
    answer: dict[str, Any] = json.loads(result.stdout)
    return answer


def test_a_table_over_full_stops() -> None:
    result = steps("--magnification", 1, "--depth", 10, "--sensor", "four-thirds")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    heading = "f/ effective geometric wave counts Airy disk step frames"
    assert lines[0].split() == heading.split()
    assert [line.split()[0] for line in lines[1:11]] == [f"{stop:g}" for stop in optics.FULL_STOPS]
    # m = 1, f/8, c = 0.015: 2 N c (m + 1) / m² is 0.48 mm (textbooks). By wave optics it is more.
    eight = next(line for line in lines if line.split()[0] == "8")
    assert eight.split() == [
        "8",
        "16",
        "0.48",
        "mm",
        "0.563",
        "mm",
        "wave",
        "21.5",
        "µm",
        "0.422",
        "mm",
        "24",
    ]
    assert "circle of confusion 0.015 mm (four-thirds)" in result.stdout
    assert "step width has no unit" in result.stdout


def test_the_document_says_what_the_formulas_give() -> None:
    said = document(
        *("--magnification", 2, "--f-number", 8, "--coc", 0.03, "--pupil", 0.5),
        *("--depth", 3, "--overlap", 0.2, "--criterion", "geometric"),
    )
    (row,) = said["steps"]
    assert row["geometric_mm"] == pytest.approx(0.60)  # worked out by hand: P 0.5 at m = 2
    assert row["effective_f_number"] == pytest.approx(40)
    assert row["decides"] == "geometric"
    assert row["frames"] == optics.frames_needed(3, 0.6, 0.48) == 6
    assert said["setup"]["estimated"] == ""


def test_the_criterion_is_named_and_the_larger_counts() -> None:
    rows = document("--magnification", 5, "--f-number", 8, "--f-number", 11)["steps"]
    assert [row["decides"] for row in rows] == ["wave", "wave"]
    few = document("--magnification", 0.2, "--f-number", 2.8)["steps"][0]
    assert few["decides"] == "geometric"
    assert few["depth_mm"] == max(few["geometric_mm"], few["wave_mm"])


def test_by_focal_length_and_distance_it_is_an_estimate() -> None:
    said = document("--focal-length", 100, "--distance", 0.45, "--f-number", 4)
    assert said["setup"]["magnification"] == pytest.approx(0.5)  # f (2 + m + 1/m) = 450 mm
    result = steps("--focal-length", 100, "--distance", 0.45, "--f-number", 4)
    assert "The magnification is an estimate, from 100 mm at 0.45 m: lenses" in result.stdout


def test_nearer_than_a_thin_lens_focuses_it_is_taken_for_life_size() -> None:
    """Macro lenses of 100 mm focus at about 0.3 m, and are at life size there (makers' data sheets)."""
    near = ("--focal-length", 100, "--distance", 0.3, "--f-number", 4)
    assert document(*near)["setup"]["magnification"] == 1
    assert "nearer than a thin lens of that focal length can focus" in steps(*near).stdout


@pytest.mark.parametrize("more", [(), ("--depth", 6)])
def test_a_plot(tmp_path: Path, more: tuple[object, ...]) -> None:
    path = tmp_path / "steps.png"
    result = steps("--magnification", 1, "--plot", path, *more)
    assert result.exit_code == 0
    with Image.open(path) as picture:
        picture.load()
        assert picture.format == "PNG"
        assert picture.height == (1080 if more else 540)
        assert len(set(picture.convert("RGB").tobytes())) > 100  # something is drawn


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "say how large"),
        (("--magnification", 0), "not in the range"),
        (("--magnification", "nan"), "nan"),
        (("--magnification", "inf"), "no finite number"),
        (("--magnification", 1, "--f-number", -4), "not in the range"),
        (("--magnification", 1, "--overlap", 1), "not in the range"),
        (("--magnification", 1, "--sensor", "medium"), "is not one of"),
        (("--magnification", 1, "--sensor", "aps-c", "--coc", 0.02), "two ways"),
        (("--magnification", 1, "--distance", 0.4), "or --focal-length and --distance together"),
        (("--magnification", 1, "--sequence", 7), "go together"),
        (("pool",), "go together"),
        (("pool", "--sequence", 7), "no shoot"),
        (("pool", "--sequence", 7, "--depth", 4), "come from the shoot"),
    ],
)
def test_refused(arguments: tuple[object, ...], said: str, tmp_path: Path) -> None:
    result = steps(*arguments)
    assert result.exit_code == 2
    assert said in result.stderr.replace("\n", " ")
    assert result.stdout == ""
    assert not list(tmp_path.iterdir())


# ---- what was shot ---------------------------------------------------------------------------


@pytest.fixture
def known(monkeypatch: pytest.MonkeyPatch) -> None:
    """A stack of five frames from 0.45 to 0.49 m, and one of which no distance is told."""
    told = [
        changed(
            each, focal_length_mm=100.0, f_number=8.0, focus_near_m=0.45 + 0.01 * n,
            focus_far_m=0.45 + 0.01 * n,
        )
        for n, each in enumerate(stack(7, 5))
    ]  # fmt: skip
    entries: tuple[Entry, ...] = (*told, *stack(9, 2))
    monkeypatch.setattr(covering, "entries_of", lambda _: entries)


@pytest.mark.usefixtures("known")
def test_what_a_sequence_covered() -> None:
    said = document("pool", "--sequence", 7, "--coc", 0.03, "--criterion", "geometric")
    assert (said["frames"], said["near_m"], said["far_m"]) == (5, 0.45, 0.49)
    assert said["near_magnification"] == pytest.approx(0.5)
    assert said["near"]["depth_mm"] == pytest.approx(2 * 8 * 0.03 * 1.5 / 0.25)
    assert said["mean_step_mm"] == pytest.approx(10)
    half = (said["near"]["depth_mm"] + said["far"]["depth_mm"]) / 2
    assert said["subject_mm"] == pytest.approx(40 + half)
    near = said["near"]
    assert said["needed"] == optics.frames_needed(40 + half, near["depth_mm"], near["step_mm"])
    assert "lenses shorten" in said["estimated"]


@pytest.mark.usefixtures("known")
def test_a_sequence_on_the_screen() -> None:
    result = steps("pool", "--sequence", 7)
    assert result.exit_code == 0
    assert result.stdout.startswith(
        "sequence 7, focus-bracket of 5 frames: 100 mm at f/8, all of it"
    )
    assert "5 were taken." in result.stdout
    assert "full-frame, as nothing else was said" in result.stdout
    assert "An estimate: lenses shorten" in result.stdout


@pytest.mark.usefixtures("known")
@pytest.mark.parametrize(
    ("number", "said"),
    [(9, "the camera told no focal length"), (8, "no sequence 8. It has 7,9")],
)
def test_what_cannot_be_estimated(number: int, said: str) -> None:
    result = steps("pool", "--sequence", number)
    assert result.exit_code == 2
    assert said in result.stderr
