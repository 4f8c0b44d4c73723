"""A short run of scripts/torture with every test run, and that it would see what it looks for."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from torturing import command
from torturing.courses import COURSES, copied, moved, taken_back
from torturing.pool import Place, digests, make_card, while_stopped
from writing.cards import ingest

FILES = 24


@pytest.mark.slow
def test_nothing_is_lost_by_a_few_kills(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    few = ["--kills", str(len(COURSES)), "--files", str(FILES), "--where", str(tmp_path)]
    assert command.main(few) == 0, capsys.readouterr().out
    lines = capsys.readouterr().out.splitlines()
    *_, kills, full, resumes, lost, duplicated, damaged, failed = lines[-1].split()
    assert int(kills) > len(COURSES) // 2
    assert int(resumes) == int(kills) + int(full)
    assert (lost, duplicated, damaged, failed) == ("0", "0", "0", "0")
    assert list(tmp_path.iterdir()) == []


def test_every_course_is_told_of_or_left_out_loudly(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(command, "MEMORY", tmp_path)
    one = ["--kills", "1", "--only", "move to another disk", "--where", str(tmp_path / "where")]
    assert command.main(one) == 1
    told = capsys.readouterr()
    assert "move to another disk: left out" in told.err
    assert "no run was killed" in told.out


def test_help_has_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        command.main(["--help"])
    assert "scripts/torture --kills 40" in capsys.readouterr().out


# ---- that it would see what it looks for -------------------------------------------------------


@pytest.fixture
def place(tmp_path: Path) -> Place:
    make_card(tmp_path / "card", FILES)
    return Place(card=tmp_path / "card", shoot=tmp_path / "shoot")


def test_the_card_has_as_many_files_as_asked_and_all_of_other_bytes(tmp_path: Path) -> None:
    for number in (1, 10, 150, 151):
        make_card(tmp_path / str(number), number)
        assert len(set(digests(tmp_path / str(number)).values())) == number


def a_picture(folder: Path) -> Path:
    return next(path for path in sorted(folder.rglob("*.JPG")) if path.is_file())


def lose(place: Place) -> None:
    a_picture(place.shoot).unlink()


def double(place: Place) -> None:
    path = a_picture(place.shoot)
    shutil.copy(path, path.with_name("again.JPG"))


def damage(place: Place) -> None:
    path = a_picture(place.shoot)
    path.write_bytes(path.read_bytes()[:-1])


def lose_on_card(place: Place) -> None:
    a_picture(place.card).unlink()


def add_to_card(place: Place) -> None:
    (place.card / "crab.txt").write_text("a crab")


PLANTED: list[tuple[Callable[[Place], None], tuple[int, int, int]]] = [
    (lose, (1, 0, 1)),  # the digests list it
    (double, (0, 1, 1)),  # they do not list it
    (damage, (1, 0, 2)),
    (lose_on_card, (1, 0, 0)),
    (add_to_card, (0, 1, 0)),
]


@pytest.mark.parametrize(("plant", "expected"), PLANTED)
def test_a_planted_fault_is_counted(
    place: Place, plant: Callable[[Place], None], expected: tuple[int, int, int]
) -> None:
    originals = digests(place.card)
    ingest(place.card, place.shoot)
    assert copied(place, originals).faults == 0
    plant(place)
    tally = copied(place, originals)
    assert (tally.lost, tally.duplicated, tally.damaged) == expected
    assert len(tally.said) == sum(expected)


def test_what_stays_on_a_moved_card_or_in_an_undone_shoot_is_counted(place: Place) -> None:
    originals = digests(place.card)
    ingest(place.card, place.shoot)
    assert moved(place, originals).duplicated == FILES
    assert taken_back(place, originals).duplicated == FILES


def test_what_a_kill_costs_is_counted(place: Place) -> None:
    originals = digests(place.card)
    place.shoot.mkdir()
    assert while_stopped(place, originals).faults == 0
    path = a_picture(place.card)
    (place.shoot / "half.JPG").write_bytes(path.read_bytes()[:50])
    path.unlink()
    tally = while_stopped(place, originals)
    assert (tally.lost, tally.damaged) == (1, 1)
