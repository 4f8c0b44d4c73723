"""`sorter report` as its user runs it: what it writes, what a second run does, and what it refuses."""

from __future__ import annotations

import csv
import errno
import itertools
import os
import re
import shutil
from concurrent.futures import ALL_COMPLETED, Future, wait
from pathlib import Path

import numpy as np
import piexif
import pytest
from click.testing import CliRunner, Result
from PIL import Image

import sorter.disk.shoot
from checking.scene import scene, slices, whole
from sorter.cli import commands
from sorter.disk.shoot import Shoot
from sorter.pipeline import working
from sorter.writing.ledger import Ledger
from writing.cards import LIMPETS, limpets, picture, stamped

FRAMES = 6


@pytest.fixture
def card(tmp_path: Path) -> Path:
    """A burst of four frames and two singles."""
    folder = limpets(tmp_path / "card", 4, side=96)
    picture(folder / LIMPETS / "IMG_0011.JPG", 300, shade=7, side=96)
    picture(folder / LIMPETS / "IMG_0012.JPG", 700, shade=9, side=300)
    stamped(folder)
    return folder


@pytest.fixture
def shoot(card: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "shoot"
    assert run("ingest", card, folder).exit_code == 0
    return folder


def run(*words: object) -> Result:
    return CliRunner().invoke(commands, [str(word) for word in words])


def pictures(shoot: Path) -> dict[str, int]:
    """The names of the report's pictures, and when each was written."""
    folder = shoot / "report" / "pictures"
    return {path.name: path.stat().st_mtime_ns for path in folder.iterdir()}


def others(shoot: Path) -> dict[str, bytes]:
    """All that is in the shoot but the report, and what measuring keeps."""
    found = {}
    for path in sorted(shoot.rglob("*")):
        name = path.relative_to(shoot).as_posix()
        if path.is_file() and not name.startswith(("report/", ".sorter/")):
            found[name] = path.read_bytes()
    return found


def test_it_writes_a_page_and_its_pictures_and_nothing_else(shoot: Path) -> None:
    before = others(shoot)
    done = run("report", shoot)
    assert done.exit_code == 0, done.output
    assert "3 sequences, 0 trial merges; 1 sequence deserves a look." in done.stdout
    assert str(shoot / "report" / "index.html") in done.stdout.replace("\n", "")
    assert others(shoot) == before
    assert sorted(path.name for path in (shoot / "report").iterdir()) == ["index.html", "pictures"]
    assert len(pictures(shoot)) == 2 * FRAMES
    assert run("verify", shoot).exit_code == 0


def test_pictures_are_small_and_large(shoot: Path) -> None:
    run("report", shoot)
    sides = []
    for name in pictures(shoot):
        with Image.open(shoot / "report" / "pictures" / name) as shown:
            sides.append((name.split("-")[0], max(shown.size)))
    assert sorted(sides) == [("large", 96)] * 5 + [("large", 300)] + [("small", 96)] * 5 + [
        ("small", 240)
    ]


def test_a_second_run_draws_nothing_anew(shoot: Path) -> None:
    run("report", shoot)
    before, page = pictures(shoot), (shoot / "report" / "index.html").read_bytes()
    assert run("report", shoot).exit_code == 0
    assert pictures(shoot) == before
    assert (shoot / "report" / "index.html").read_bytes() == page


def test_a_picture_that_was_lost_or_emptied_is_drawn_again(shoot: Path) -> None:
    run("report", shoot)
    before = pictures(shoot)
    first, second, *_ = sorted(before)
    (shoot / "report" / "pictures" / first).unlink()
    (shoot / "report" / "pictures" / second).write_bytes(b"")
    run("report", shoot)
    after = pictures(shoot)
    assert after.keys() == before.keys()
    drawn = {name for name in after if after[name] != before[name]}
    assert {first, second} <= drawn
    assert len(drawn) <= 4


def test_only_what_is_new_is_drawn(shoot: Path, card: Path) -> None:
    run("report", shoot)
    before = pictures(shoot)
    picture(card / LIMPETS / "IMG_0013.JPG", 1300, shade=3, side=96)
    assert run("ingest", card, shoot).exit_code == 0
    assert run("report", shoot).exit_code == 0
    after = pictures(shoot)
    assert len(after) == len(before) + 2
    assert {name: after[name] for name in before} == before


def test_pictures_that_are_shown_no_more_go_and_other_files_stay(shoot: Path) -> None:
    run("report", shoot)
    folder = shoot / "report" / "pictures"
    (folder / "small-0123456789abcdef.jpg").write_bytes(b"of frames that were here")
    (folder / "notes on small-limpets.jpg").write_bytes(b"the user's own")
    run("report", shoot)
    names = set(pictures(shoot))
    assert "small-0123456789abcdef.jpg" not in names
    assert "notes on small-limpets.jpg" in names


def test_a_page_of_another_is_never_replaced(shoot: Path) -> None:
    (shoot / "report").mkdir()
    (shoot / "report" / "index.html").write_text("<p>The tide tables of May.</p>")
    done = run("report", shoot)
    assert done.exit_code == 3
    assert "was not made by `sorter report`: it is never replaced. Move it away" in said(done)
    assert [path.name for path in (shoot / "report").iterdir()] == ["index.html"]


def test_a_link_in_the_folder_s_place_is_refused(shoot: Path, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (shoot / "report").symlink_to(tmp_path / "elsewhere")
    done = run("report", shoot)
    assert done.exit_code != 0
    assert "is a link to another place" in said(done)
    assert not list((tmp_path / "elsewhere").iterdir())


def test_a_file_in_the_folder_s_place_is_named(shoot: Path) -> None:
    (shoot / "report").write_text("the tide tables of May")
    done = run("report", shoot)
    assert done.exit_code == 3
    assert "is a file, and a folder of this name is needed" in said(done)


def test_what_is_no_shoot_is_refused(card: Path, tmp_path: Path) -> None:
    for folder in (card, tmp_path / "nowhere"):
        done = run("report", folder)
        assert done.exit_code == 2
    assert not (card / "report").exists()


def said(done: Result) -> str:
    return " ".join(done.stderr.split())


def test_a_frame_that_cannot_be_decoded_is_named(card: Path, tmp_path: Path) -> None:
    path = card / LIMPETS / "IMG_0012.JPG"
    path.write_bytes(path.read_bytes()[:1500])
    shoot = tmp_path / "cut"
    assert run("ingest", card, shoot).exit_code <= 1
    done = run("report", shoot)
    assert done.exit_code == 1
    assert "IMG_0012.JPG has no picture on the page: it cannot be decoded" in said(done)
    assert "no picture, it cannot be decoded" in (shoot / "report" / "index.html").read_text()
    assert len(pictures(shoot)) == 2 * (FRAMES - 1)


def test_a_full_disk_ends_it_in_words_and_it_goes_on(
    shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = sorter.disk.shoot._write_again  # noqa: SLF001  where the disk fails
    left = [5]

    def failing(path: str, data: bytes) -> None:
        left[0] -= 1
        if left[0] < 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), path)
        real(path, data)

    run("check", shoot)
    monkeypatch.setattr(sorter.disk.shoot, "_write_again", failing)
    done = run("report", shoot)
    assert done.exit_code == 3
    assert "the disk is full. Nothing is lost" in said(done)
    assert not (shoot / "report" / "index.html").exists()
    kept = pictures(shoot)
    left[0] = 1000
    assert run("report", shoot).exit_code == 0
    after = pictures(shoot)
    assert len(after) == 2 * FRAMES
    assert len(kept) == 5
    assert sum(after[name] == kept[name] for name in kept) >= 4


def test_a_stop_leaves_what_is_drawn(shoot: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    waits = iter([KeyboardInterrupt])

    def stopped(futures: list[Future[object]], return_when: str = ALL_COMPLETED) -> object:
        for interrupt in waits:
            raise interrupt
        return wait(futures, return_when=return_when)

    run("check", shoot)
    monkeypatch.setattr(working, "wait", stopped)
    done = run("report", shoot)
    assert done.exit_code == 3
    monkeypatch.undo()
    assert run("report", shoot).exit_code == 0
    assert len(pictures(shoot)) == 2 * FRAMES


def test_another_run_in_the_shoot_is_waited_for_by_the_user(shoot: Path) -> None:
    with Ledger(Shoot(shoot).hidden, hold=True):
        done = run("report", shoot)
    assert done.exit_code == 3
    assert not (shoot / "report").exists()


def test_an_undo_takes_the_report_with_it(shoot: Path) -> None:
    run("report", shoot)
    assert run("undo", shoot, "--yes").exit_code == 0
    assert not shoot.exists()


def test_an_undo_leaves_what_is_not_ours(shoot: Path) -> None:
    run("report", shoot)
    (shoot / "report" / "words.txt").write_text("low tide at 13:40")
    run("undo", shoot, "--yes")
    left = [path.relative_to(shoot).as_posix() for path in shoot.rglob("*") if path.is_file()]
    assert left == ["report/words.txt"]


def test_a_regrouping_takes_the_page_and_leaves_its_pictures(shoot: Path, tmp_path: Path) -> None:
    run("report", shoot)
    before = pictures(shoot)
    file = tmp_path / "corrections.csv"
    first, last = (f"{LIMPETS}/IMG_000{number}.JPG" for number in (1, 2))
    file.write_text(f"first,last,kind,name\n{first},{last},,west\n")
    assert run("check", shoot, "--apply", "--corrections", file).exit_code == 0
    assert not (shoot / "report" / "index.html").exists()
    assert pictures(shoot) == before
    assert run("report", shoot).exit_code == 0
    assert pictures(shoot) == before


def test_a_moved_shoot_keeps_its_page(shoot: Path, tmp_path: Path) -> None:
    """Nothing in it says where it lies."""
    run("report", shoot)
    assert str(tmp_path) not in (shoot / "report" / "index.html").read_text()
    before = pictures(shoot)
    moved = tmp_path / "west-pool"
    shutil.move(shoot, moved)
    assert run("report", moved).exit_code == 0
    assert pictures(moved) == before
    assert "<title>west-pool: report</title>" in (moved / "report" / "index.html").read_text()


# ---- a stack -----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def stack(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A stack of fourteen slices at a rock pool; the flash misfired in the fifth, the ninth is cut off."""
    base = tmp_path_factory.mktemp("stack")
    shown = slices(whole())
    shown[4] = (shown[4] * 0.1).astype(np.uint8)
    for number, each in enumerate(shown, 1):
        path = picture(base / "card" / LIMPETS / f"IMG_{number:04d}.JPG", 0.3 * number)
        exif = piexif.load(str(path))
        Image.fromarray(each).convert("RGB").save(path, quality=92, exif=piexif.dump(exif))
    cut = base / "card" / LIMPETS / "IMG_0009.JPG"
    cut.write_bytes(cut.read_bytes()[:3000])
    assert run("ingest", base / "card", base / "shoot", "--look").exit_code <= 1
    assert run("report", base / "shoot").exit_code == 1
    return base / "shoot"


def test_a_merge_leaves_out_what_broke_and_says_so(stack: Path) -> None:
    text = (stack / "report" / "index.html").read_text()
    (caption,) = re.findall(r"Trial merge of (.*?)</figcaption>", text)
    assert caption.startswith("12 of 14 slices")
    assert "5 (dark)" in caption
    assert "9 (cannot be looked at)" in caption


def test_a_merge_is_sharp_all_over(stack: Path) -> None:
    """Against the picture that the slices were made of, but for the slices that are lost."""
    (name,) = (stack / "report" / "pictures").glob("merge-*.jpg")
    with Image.open(name) as shown:
        found = np.asarray(shown.convert("L")).astype(float)
    sharp = scene().picture[..., 0].astype(float)
    single = min(np.abs(each.astype(float) - sharp).mean() for each in slices(whole()))
    assert np.abs(found - sharp).mean() < 0.45 * single


def test_its_depth_map_goes_down_the_slope(stack: Path) -> None:
    (name,) = (stack / "report" / "pictures").glob("depth-*.png")
    with Image.open(name) as shown:
        index = np.asarray(shown)
    rows = [np.median(row[row > 0]) for row in np.array_split(index, 8)]
    assert (np.diff(rows) > 0).all()
    assert (index > 0).mean() > 0.8


def test_other_slices_make_another_merge(stack: Path, tmp_path: Path) -> None:
    """Half of the stack, by a correction: its merge is drawn, the frames are not drawn again."""
    shoot = tmp_path / "shoot"
    shutil.copytree(stack, shoot)
    run("report", shoot)
    before = pictures(shoot)
    file = tmp_path / "corrections.csv"
    first, last = (f"{LIMPETS}/IMG_{number:04d}.JPG" for number in (1, 7))
    file.write_text(f"first,last,kind,name\n{first},{last},focus-bracket,\n")
    assert run("check", shoot, "--apply", "--corrections", file).exit_code <= 1
    assert run("report", shoot).exit_code == 1
    after = pictures(shoot)
    frames = {name for name in before if name.startswith(("small", "large"))}
    assert {name: after[name] for name in frames} == {name: before[name] for name in frames}
    assert not {name for name in before if name.startswith("merge")} & after.keys()
    assert sum(name.startswith("merge") for name in after) >= 1


def test_a_slice_that_is_lost_moves_no_other_on_the_depth_map(tmp_path: Path) -> None:
    """Focus went there and back, and the second slice is lost after the check.

    Against the slope that the scene was made with: in each stretch of it the slice of its place is
    sharpest, and its colour is that of the slice's place in the order that the check found.
    """
    places = whole()
    captured = [*range(1, 14, 2), *range(12, -1, -2)]
    for number, each in enumerate(slices(places[captured]), 1):
        path = picture(tmp_path / "card" / LIMPETS / f"IMG_{number:04d}.JPG", 0.3 * number)
        exif = piexif.load(str(path))
        Image.fromarray(each).convert("RGB").save(path, quality=92, exif=piexif.dump(exif))
    shoot = tmp_path / "shoot"
    assert run("ingest", tmp_path / "card", shoot).exit_code == 0
    assert run("check", shoot).exit_code == 0
    with (shoot / "checks.csv").open(newline="", encoding="utf-8") as file:
        (row,) = csv.DictReader(file)
    order = [int(position) for position in row["order"].split(";")]
    order.remove(2)
    (lost,) = shoot.glob("*/IMG_0002.JPG")
    lost.write_bytes(lost.read_bytes()[:3000])
    for _ in range(2):  # the second time what was drawn is there
        assert run("report", shoot).exit_code == 1
        text = (shoot / "report" / "index.html").read_text()
        (caption,) = re.findall(r"Trial merge of (.*?)</figcaption>", text)
        assert caption.startswith("13 of 14 slices")
        (name,) = (shoot / "report" / "pictures").glob("depth-*.png")
        with Image.open(name) as shown:
            index = np.asarray(shown).astype(float)
        edges = np.linspace(0, len(index), 14).round().astype(int)
        found, wanted = [], []
        for start, stop in itertools.pairwise(edges):
            told = index[start:stop][index[start:stop] > 0]
            found.append((np.median(told) - 1) / 254 * (len(order) - 1))
            off = np.abs(places[captured] - (start + stop) / 2 / len(index))
            off[1] = np.inf
            wanted.append(order.index(int(off.argmin()) + 1))
        assert np.median(np.abs(np.subtract(found, wanted))) < 0.1, (found, wanted)


def test_a_slice_that_comes_back_is_in_the_merge_again(stack: Path, tmp_path: Path) -> None:
    shoot = tmp_path / "shoot"
    shutil.copytree(stack, shoot)
    before = {name for name in pictures(shoot) if name.startswith(("merge", "depth"))}
    (third,) = shoot.glob("*/IMG_0003.JPG")
    sound = third.read_bytes()
    shutil.rmtree(shoot / "report")
    third.write_bytes(sound[:3000])
    run("report", shoot)
    without = {name for name in pictures(shoot) if name.startswith(("merge", "depth"))}
    third.write_bytes(sound)
    run("report", shoot)
    after = {name for name in pictures(shoot) if name.startswith(("merge", "depth"))}
    assert len(without) == 2
    assert not without & before, "what is made of other slices has another name"
    assert after == before
