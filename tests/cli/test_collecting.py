"""`sorter handoff --collect` as a user calls it: results that were made by hand come home."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import piexif
import pytest
from PIL import Image

from handoff.tidal import FIRST, LIMPET, SECOND, handoff, results, run, tidal_shoot
from sorter.cli import console
from writing.cards import contents, found, hold_consistent, ingest


@pytest.fixture(scope="module")
def ingested(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tidal_shoot(tmp_path_factory.mktemp("tide"))


@pytest.fixture
def shoot(ingested: Path, tmp_path: Path) -> Path:
    return shutil.copytree(ingested, tmp_path / "shoot")


def by_hand(path: Path, when: str = "", shade: str = "teal") -> Path:
    """A picture as a person saves it, with a time where the program kept it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    said = {"Exif": {piexif.ExifIFD.DateTimeOriginal: when.encode()}} if when else {}
    Image.new("RGB", (20, 10), shade).save(path, exif=piexif.dump(said))
    return path


def test_by_name(shoot: Path, tmp_path: Path) -> None:
    file = by_hand(tmp_path / f"{FIRST} depth map.tif")
    before = file.read_bytes()
    outcome = handoff(shoot, "--collect", file)
    assert (outcome.exit_code, outcome.stderr) == (0, "")
    assert "1 result taken in." in outcome.stdout
    (row,) = results(shoot)
    assert (row.sequence, row.destination) == (LIMPET, f"results/{file.name}")
    assert row.notes == "result of sequence 1; merged by hand of 3 frames"
    assert row.captured == "2026-05-17T13:02:00.00"
    assert file.read_bytes() == before
    with Image.open(shoot / row.destination) as taken:
        assert taken.getexif()[piexif.ImageIFD.Model] == "Tidepool R8"
    hold_consistent(shoot)
    assert not found(shoot).has_remarks


def test_by_the_name_of_a_slice(shoot: Path, tmp_path: Path) -> None:
    handoff(shoot, "--collect", by_hand(tmp_path / "IMG_0005 merged.jpg"))
    assert [row.sequence for row in results(shoot)] == [2]


def test_by_time(shoot: Path, tmp_path: Path) -> None:
    file = by_hand(tmp_path / "barnacle.jpg", "2026:05:17 13:08:01")
    outcome = handoff(shoot, "--collect", file)
    assert outcome.exit_code == 0
    assert "its time" in outcome.stdout
    assert [row.sequence for row in results(shoot)] == [2]


def test_what_cannot_be_matched_is_named(shoot: Path, tmp_path: Path) -> None:
    before = contents(shoot)
    lost, good = by_hand(tmp_path / "tide.jpg"), by_hand(tmp_path / f"{SECOND}.jpg")
    outcome = handoff(shoot, "--collect", lost, good)
    assert outcome.exit_code == 1
    assert f"not taken in: {lost}: which stack it was merged from cannot be told" in outcome.stderr
    assert contents(shoot).keys() - before.keys() == {f"results/{SECOND}.jpg"}


def test_one_is_asked_for(shoot: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []

    def answer(question: str) -> int:
        asked.append(question)
        return 2

    monkeypatch.setattr(console, "can_ask", lambda: True)
    monkeypatch.setattr(console, "number", answer)
    assert handoff(shoot, "--collect", by_hand(tmp_path / "tide.jpg")).exit_code == 0
    assert "1 (focus-bracket, 3), 2 (manual-stack, 4)" in asked[0]
    assert [row.sequence for row in results(shoot)] == [2]


def test_ones_own_word(shoot: Path, tmp_path: Path) -> None:
    outcome = handoff(
        shoot, "--only", 3, "--kind", "burst", "--collect", by_hand(tmp_path / "x.png")
    )
    assert outcome.exit_code == 0
    assert [row.sequence for row in results(shoot)] == [3]


def test_the_same_file_twice_is_there_already(shoot: Path, tmp_path: Path) -> None:
    file = by_hand(tmp_path / f"{FIRST}.tif")
    handoff(shoot, "--collect", file)
    before = contents(shoot)
    outcome = handoff(shoot, "--collect", file)
    assert outcome.exit_code == 0
    assert "1 there already" in outcome.stdout
    assert contents(shoot) == before
    assert not list((shoot / ".sorter" / "unfinished").iterdir())


def test_another_picture_of_one_name_stands_beside(shoot: Path, tmp_path: Path) -> None:
    handoff(shoot, "--collect", by_hand(tmp_path / f"{FIRST}.tif"))
    handoff(shoot, "--collect", by_hand(tmp_path / "later" / f"{FIRST}.tif", shade="sienna"))
    assert [row.destination for row in results(shoot)] == [
        f"results/{FIRST}.tif",
        f"results/{FIRST}_2.tif",
    ]


def test_a_result_that_was_saved_into_the_shoot_is_taken_in_there(shoot: Path) -> None:
    file = by_hand(shoot / "results" / f"{FIRST}.tif")
    own = file.read_bytes()
    assert handoff(shoot, "--collect", file).exit_code == 0
    assert [row.destination for row in results(shoot)] == [f"results/{FIRST}.tif"]
    (aside,) = (shoot / ".sorter" / "replaced").iterdir()
    assert aside.read_bytes() == own
    assert not found(shoot).has_remarks


def test_other_forms_come_as_they_are(shoot: Path, tmp_path: Path) -> None:
    file = tmp_path / f"{FIRST}.exr"
    file.write_bytes(b"v/1\1 a wide range of light")
    outcome = handoff(shoot, "--collect", file)
    assert outcome.exit_code == 0
    assert "its form is not looked into" in outcome.stderr
    assert (shoot / f"results/{FIRST}.exr").read_bytes() == file.read_bytes()


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "is empty"),
        (b"II*\0 no tiff", "is no picture"),
        (b"no picture", "is no picture"),
        (None, "cannot be read"),
    ],
)
def test_what_is_no_picture_is_refused(
    shoot: Path, tmp_path: Path, data: bytes | None, said: str
) -> None:
    before, file = contents(shoot), tmp_path / f"{FIRST}.tif"
    if data is not None:
        file.write_bytes(data)
    outcome = handoff(shoot, "--collect", file)
    assert outcome.exit_code == 1
    assert f"not taken in: {file}: " in outcome.stderr
    assert said in outcome.stderr
    assert contents(shoot) == before
    assert not list((shoot / ".sorter" / "unfinished").iterdir())


def test_a_slice_and_a_link_are_no_results(shoot: Path, tmp_path: Path) -> None:
    (tmp_path / f"{FIRST}.tif").symlink_to(by_hand(tmp_path / "real.tif"))
    slice_ = shoot / FIRST / "IMG_0001.JPG"
    outcome = handoff(shoot, "--collect", slice_, tmp_path / f"{FIRST}.tif")
    assert outcome.exit_code == 1
    assert f"{slice_}: is a file of the shoot already" in outcome.stderr
    assert results(shoot) == []


def test_a_killed_taking_in_is_gone_on_with(shoot: Path, tmp_path: Path) -> None:
    """Cut before every rename and every commit, as a power cut would, and run again."""
    file = by_hand(tmp_path / f"{FIRST}.tif")
    for stop in range(1, 40):
        other = shutil.copytree(shoot, tmp_path / f"cut{stop}")
        code = _cut(other, file, stop)
        assert handoff(other, "--collect", file).exit_code == 0
        assert [row.destination for row in results(other)] == [f"results/{FIRST}.tif"]
        hold_consistent(other)
        assert not found(other).has_remarks
        if code == 0:
            assert stop > 5
            return
    pytest.fail("it was never through")


def _cut(shoot: Path, file: Path, stop: int) -> int:
    """The exit code of a child that is gone before its so-manieth rename, force or commit."""
    child = os.fork()
    if child == 0:
        code = 70
        try:
            _count_down(stop)
            code = handoff(shoot, "--collect", file).exit_code
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _count_down(left: int) -> None:
    real = {name: getattr(os, name) for name in ("fsync", "rename", "replace", "open", "unlink")}

    def counted(name: str, *arguments: object, **more: object) -> object:
        nonlocal left
        left -= 1
        if left == 0:
            os._exit(71)
        return real[name](*arguments, **more)

    for name in real:
        setattr(os, name, lambda *a, name=name, **k: counted(name, *a, **k))


def test_both_ways_in_one_shoot(shoot: Path, tmp_path: Path) -> None:
    run(shoot, "average")
    handoff(shoot, "--collect", by_hand(tmp_path / f"{FIRST}.tif"))
    assert [row.sequence for row in results(shoot)] == [1, 1, 2]
    assert run(shoot, "average").exit_code == 0
    assert len(results(shoot)) == 3


def test_an_ingest_again_knows_them(ingested: Path, shoot: Path, tmp_path: Path) -> None:
    handoff(shoot, "--collect", by_hand(tmp_path / f"{FIRST}.tif"))
    assert ingest(ingested.parent / "card", shoot, backup=tmp_path / "second").is_whole
    assert results(tmp_path / "second") == results(shoot)
