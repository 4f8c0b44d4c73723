"""Random cards: the same seed gives the same bytes, and the truth names every file."""

from __future__ import annotations

import csv
import random
from collections import Counter
from itertools import pairwise
from pathlib import Path

import pytest

from cardmaking import cards, habits, randomcard
from cardmaking.afternoon import RECYCLED, SCENARIOS, afternoon
from cardmaking.cameras import BY_NAME, CAMERAS, SPEEDS, Camera, told

NAMES = tuple(BY_NAME)
SEEDS = range(1, 7)


def tree(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Some cards, made once. To be read, never changed."""
    folder = tmp_path_factory.mktemp("random")
    for seed in SEEDS:
        cards.write_card(folder, seed, 120, NAMES)
    return folder


def test_the_same_seed_gives_the_same_bytes(made: Path, tmp_path: Path) -> None:
    cards.write_card(tmp_path, 3, 120, NAMES)
    again = tree(tmp_path)
    assert len(again) > 100
    assert again == {key: data for key, data in tree(made).items() if key.startswith("card-3")}


def test_another_seed_gives_another_card() -> None:
    one, other = (randomcard.truth(randomcard.planned(seed, 60, CAMERAS)) for seed in (1, 2))
    assert one != other


@pytest.mark.parametrize("seed", SEEDS)
def test_the_truth_names_every_file_of_a_card_once(made: Path, seed: int) -> None:
    sources = [row["source"] for row in rows(made / f"card-{seed}-truth.csv")]
    assert sorted(sources) == sorted(tree(made / f"card-{seed}"))


@pytest.mark.parametrize("seed", SEEDS)
def test_no_two_frames_have_the_same_bytes(made: Path, seed: int) -> None:
    card = tree(made / f"card-{seed}")
    images = [data for name, data in card.items() if name.endswith("JPG") and data]
    assert len(set(images)) == len(images)


def test_a_file_is_small(made: Path) -> None:
    """A block of most disks is 4096 bytes: with one or two a file, 60,000 files take 400 MB."""
    sizes = [len(data) for name, data in tree(made).items() if name.endswith((".JPG", ".ORF"))]
    assert max(sizes) < 4096


# ---- what is on them ------------------------------------------------------------------------


@pytest.fixture(scope="module")
def planned() -> list[randomcard.Named]:
    """The series of many cards, as values."""
    return [one for seed in range(60) for one in randomcard.planned(seed, 200, CAMERAS)]


def test_all_kinds_and_all_makers_occur(planned: list[randomcard.Named]) -> None:
    kinds = {"focus-bracket", "manual-stack", "exposure-bracket", "burst", "interval", "single"}
    assert {one.series.kind for one in planned} == kinds | {"clip"}
    assert {one.camera.name for one in planned} == set(NAMES)
    taken = [taken for one in planned for taken in one.taken]
    assert {one.press.harm for one in taken} == {"", "cut", "empty"}
    assert any(one.press.result for one in taken)
    assert {Path(source).suffix for one in taken for source in one.files} == {
        ".JPG",
        ".CR3",
        ".ORF",
        ".MP4",
        ".xmp",
    }


def test_few_series_cannot_be_decided_and_they_say_why(planned: list[randomcard.Named]) -> None:
    unclear = [one.series for one in planned if not one.series.decidable]
    assert 0 < len(unclear) < len(planned) / 50
    assert all("alike" in series.about for series in unclear)


def test_a_focus_bracket_of_a_body_without_a_flag_is_a_burst_by_its_tags(
    planned: list[randomcard.Named],
) -> None:
    shown = Counter(
        (one.camera.tells_focus_bracket, randomcard.by_tags(one.camera, one.series))
        for one in planned
        if one.series.kind == "focus-bracket"
    )
    assert set(shown) == {(True, "focus-bracket"), (False, "burst")}


def test_numbers_go_on_behind_9999_in_a_new_folder(planned: list[randomcard.Named]) -> None:
    over = [
        (former.files[0], later.files[0])
        for one in planned
        for former, later in pairwise(one.taken)
        if "9999." in former.files[0]
    ]
    assert over
    for former, later in over:
        assert later.rpartition(".")[0].endswith("0001")
        assert int(later.split("/")[1][:3]) == int(former.split("/")[1][:3]) + 1


def test_deleted_frames_leave_gaps_in_the_numbers(planned: list[randomcard.Named]) -> None:
    holed = [one for one in planned if any(press.gone for press in one.series.presses)]
    assert holed
    assert all(len(one.taken) < len(one.series.presses) for one in holed)


@pytest.mark.parametrize("camera", CAMERAS, ids=lambda camera: camera.name)
def test_time_runs_on_and_every_scenario_can_be_shot(camera: Camera) -> None:
    dice = random.Random(1)
    shoot = afternoon(camera, dice, 2000, keeps_raw=True, own_folders=True)
    seconds = [press.second for series in shoot for press in series.presses]
    assert seconds == sorted(seconds)
    assert sum(series.count for series in shoot) >= 2000


@pytest.mark.parametrize("name", ["pentax", "nikon", "plain", "canon-blind"])
def test_what_only_a_pause_tells_has_a_pause_that_stands_out(name: str) -> None:
    """A flash recycles within 26 s (common practice, no source)."""
    camera = BY_NAME[name]
    shoot = afternoon(camera, random.Random(2), 3000, keeps_raw=True, own_folders=False)
    checked = 0
    for former, later in pairwise(shoot):
        last, first = former.presses[-1].shot, later.presses[0].shot
        alike = all(
            getattr(last, field) == getattr(first, field)
            for field in ("bracket", "drive", "exposure", "f_number", "iso", "lens", "flash")
        )
        told_by_plan = last.bracket == "focus" and camera.tells_focus_bracket
        many = len(former.presses) > 1 or len(later.presses) > 1
        if alike and many and last.bracket != "exposure" and not told_by_plan and later.decidable:
            gap = later.presses[0].second - former.presses[-1].second
            assert gap >= (RECYCLED if last.flash == "fired" else 1.5), (former.about, later.about)
            checked += 1
    assert checked > 5


def test_every_scenario_has_a_weight() -> None:
    assert all(weight > 0 for weight in SCENARIOS.values())
    assert len(SCENARIOS) > 20


# ---- habits ---------------------------------------------------------------------------------


def test_exposure_times_are_those_of_the_dial() -> None:
    """Engraved thirds of a stop are rounded: a step is 2 to the third, give or take a ninth.

    Common practice, no source.
    """
    assert list(SPEEDS) == sorted(SPEEDS, reverse=True)
    ratios = [float(former / later) for former, later in pairwise(SPEEDS)]
    assert all(1.15 < ratio < 1.34 for ratio in ratios)


def test_exposures_by_hand_go_mostly_one_way() -> None:
    for seed in range(40):
        dice = random.Random(seed)
        shot = BY_NAME["plain"].shot
        draft = habits.exposures_by_hand(dice, habits.Subject(base=shot, speed=30), 60)
        times = [shot.exposure for shot in draft.shots]
        ups = sum(later > former for former, later in pairwise(times))
        assert min(ups, len(times) - 1 - ups) <= 1
        assert 4 <= len(times) <= 42


def test_a_body_tells_no_more_than_it_can() -> None:
    camera = BY_NAME["sony"]
    dice = random.Random(1)
    subject = habits.Subject(base=camera.shot, speed=30)
    plan = habits.focus_plan(dice, subject, 20)
    shot = habits.focus_bracket(dice, camera, subject, plan).shots[1]
    seen = told(camera, shot, randomcard.BEGIN)
    assert (seen.near_m, seen.focus_step, seen.planned, seen.shot_number) == (None, None, None, 2)
    assert told(BY_NAME["nikon"], shot, randomcard.BEGIN).shot_number == 0
    assert told(BY_NAME["canon"], shot, randomcard.BEGIN).planned == plan.planned


# ---- the command ----------------------------------------------------------------------------


def test_the_command_makes_cards_twice_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "cards"
    asked = [str(folder), "--number", "2", "--seed", "5", "--frames", "20", "--maker", "sony"]
    assert cards.main(asked) == 0
    assert "2 of 2  card-6" in capsys.readouterr().out
    first = tree(folder)
    assert cards.main(asked) == 0
    assert tree(folder) == first
    assert {path.name for path in folder.iterdir()} == {
        "card-5",
        "card-6",
        "card-5-truth.csv",
        "card-6-truth.csv",
    }


def test_a_folder_of_others_is_refused_and_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "mine.txt").write_text("keep")
    assert cards.main([str(tmp_path), "--number", "1", "--frames", "10"]) == 2
    assert "mine.txt" in capsys.readouterr().err
    assert tree(tmp_path) == {"mine.txt": b"keep"}


def test_a_card_with_a_foreign_file_is_refused_before_anything_is_written(tmp_path: Path) -> None:
    cards.write_card(tmp_path, 2, 10, NAMES)
    (tmp_path / "card-2" / "mine.txt").write_text("keep")
    before = tree(tmp_path)
    assert cards.main([str(tmp_path), "--number", "2", "--frames", "10"]) == 2
    assert tree(tmp_path) == before


def test_a_card_without_its_table_is_refused(tmp_path: Path) -> None:
    cards.write_card(tmp_path, 1, 10, NAMES)
    (tmp_path / "card-1-truth.csv").unlink()
    assert cards.main([str(tmp_path), "--number", "1", "--frames", "10"]) == 2
