"""`sorter handoff --run` as a user calls it, with a stand-in for the stacking program."""

from __future__ import annotations

import errno
import hashlib
import os
import shlex
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest
from click.testing import CliRunner
from PIL import Image

from handoff import stand_in as stand_in_program
from handoff.tidal import (
    ANEMONE,
    FIRST,
    LIMPET,
    SECOND,
    handoff,
    results,
    run,
    stand_in,
    tidal_shoot,
)
from sorter.cli import commands, console
from sorter.disk.shoot import Shoot
from sorter.handoff import choose
from sorter.pipeline import stacking
from writing.cards import contents, found, hold_consistent, ingest, undo


@pytest.fixture(scope="module")
def ingested(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tidal_shoot(tmp_path_factory.mktemp("tide"))


@pytest.fixture
def shoot(ingested: Path, tmp_path: Path) -> Path:
    """A shoot of one's own, and the card that it came from beside it."""
    shutil.copytree(ingested.parent / "card", tmp_path / "card")
    return shutil.copytree(ingested, tmp_path / "shoot")


def hidden(shoot: Path) -> list[str]:
    """What lies under .sorter beside the ledger and the logs."""
    return sorted(path.name for path in (shoot / ".sorter").iterdir() if path.name != "logs")


# ---- results --------------------------------------------------------------------------------


def test_each_stack_gets_a_result_and_a_row(shoot: Path) -> None:
    before = contents(shoot)
    outcome = run(shoot, "average")
    assert (outcome.exit_code, outcome.stderr) == (0, "")
    one, two = results(shoot)
    assert (one.source, one.frame, one.position) == ("", None, None)
    assert (one.sequence, one.kind, one.frames) == (LIMPET, "focus-bracket", 3)
    assert one.destination == f"results/{FIRST}.tif"
    assert one.captured == "2026-05-17T13:02:00.00"
    assert (one.camera, one.lens, one.f_number) == ("Tidepool R8", "100mm Macro", 5.6)
    assert one.notes == f"result of sequence 1; merged by {Path(sys.executable).name} of 3 frames"
    assert (two.sequence, two.destination) == (ANEMONE, f"results/{SECOND}.tif")
    hold_consistent(shoot)
    same = {path: data for path, data in contents(shoot).items() if path in before}
    changed = {path for path in before if same[path] != before[path]}
    assert changed == {"manifest.csv", "SHA256SUMS"}
    assert found(shoot).good == 13
    assert not found(shoot).has_remarks
    assert hidden(shoot) == ["ledger.db", "unfinished"]


def test_the_result_is_the_programs_picture(shoot: Path, tmp_path: Path) -> None:
    """Held against the same program run by hand: every pixel, as Pillow decodes it."""
    run(shoot, "average", "--result-type", "png")
    frames = sorted((shoot / FIRST).iterdir())
    by_hand = tmp_path / "by hand.png"
    command = shlex.split(stand_in("average", fields=""))
    subprocess.run(  # noqa: S603  our own program
        [*command, by_hand, *frames], check=True, capture_output=True
    )
    with Image.open(by_hand) as one, Image.open(shoot / f"results/{FIRST}.png") as two:
        assert one.tobytes() == two.tobytes()


@pytest.mark.parametrize("form", ["tif", "jpg", "png"])
def test_forms(shoot: Path, form: str) -> None:
    assert run(shoot, "average", "--result-type", form).exit_code == 0
    with Image.open(shoot / f"results/{FIRST}.{form}") as picture:
        assert {"tif": "TIFF", "jpg": "JPEG", "png": "PNG"}[form] == picture.format


@pytest.mark.parametrize(
    ("how", "fields"), [("list", "{result} {list}"), ("folder of slices", "{result} {folder}")]
)
def test_lists_and_folders(shoot: Path, tmp_path: Path, how: str, fields: str) -> None:
    other = shutil.copytree(shoot, tmp_path / "other")
    assert handoff(shoot, "--run", stand_in(how, fields=fields)).exit_code == 0
    assert run(other, "average").exit_code == 0
    digests = [row.sha256 for row in results(shoot)]
    assert len(digests) == 2
    assert digests == [row.sha256 for row in results(other)]


def test_order_and_columns_reach_the_command(shoot: Path) -> None:
    says = "import sys, PIL.Image as I; print(sys.argv[2:]); I.new('L', (4, 4)).save(sys.argv[1])"
    command = f"{shlex.join([sys.executable, '-c', says])} {{result}} {{sequence:03d}} f{{f_number:.1f}} {{lens}} {{frames}}"
    assert handoff(shoot, "--run", command, "--only", 1).exit_code == 0
    said = (shoot / ".sorter" / "logs" / f"{FIRST}.log").read_text()
    frames = [str(path) for path in sorted((shoot / FIRST).iterdir())]
    assert said.splitlines()[0] == str(["001", "f5.6", "100mm Macro", *frames])


@pytest.mark.parametrize(
    "name", ["a b", "it's", 'the "pool"', "Gezeitentümpel 潮", "-rf", "$(x);&"]
)
def test_odd_paths(tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    shoot = tidal_shoot(tmp_path, name)
    outcome = run(shoot, "average")
    assert (outcome.exit_code, outcome.stderr) == (0, "")
    assert len(results(shoot)) == 2
    command = ["handoff", "--run", stand_in("average"), "--again", "--", name]
    assert CliRunner().invoke(commands, command).exit_code == 0


def test_many_at_a_time_give_the_same(shoot: Path, tmp_path: Path) -> None:
    other = shutil.copytree(shoot, tmp_path / "other")
    run(shoot, "average", "--jobs", 4, "--kind", "burst", "--kind", "focus-bracket")
    run(other, "average", "--jobs", 1, "--kind", "burst", "--kind", "focus-bracket")
    assert [(r.sequence, r.sha256) for r in results(shoot)] == [
        (r.sequence, r.sha256) for r in results(other)
    ]
    assert len(results(shoot)) == 2


# ---- again ----------------------------------------------------------------------------------


def test_done_ones_are_not_done_again(shoot: Path) -> None:
    run(shoot, "average", "--only", 1)
    before = contents(shoot)
    outcome = run(shoot, "fail")
    assert outcome.exit_code == 1
    assert "1 had a result already" in outcome.stdout
    assert contents(shoot) == before


def test_again_keeps_the_earlier_result_beside(shoot: Path) -> None:
    run(shoot, "average")
    before = contents(shoot)
    assert run(shoot, "average", "--again", "--only", 1).exit_code == 0
    assert [row.destination for row in results(shoot)] == [
        f"results/{FIRST}.tif",
        f"results/{FIRST}_2.tif",
        f"results/{SECOND}.tif",
    ]
    assert contents(shoot)[f"results/{FIRST}.tif"] == before[f"results/{FIRST}.tif"]


def test_a_result_that_was_removed_is_made_anew(shoot: Path) -> None:
    run(shoot, "average")
    (shoot / f"results/{FIRST}.tif").unlink()
    assert run(shoot, "average").exit_code == 0
    assert [row.destination for row in results(shoot)] == [
        f"results/{FIRST}.tif",
        f"results/{SECOND}.tif",
    ]
    assert not found(shoot).has_failed


def test_what_lies_in_its_place_is_never_overwritten(shoot: Path) -> None:
    (shoot / "results").mkdir()
    own = shoot / f"results/{FIRST}.tif"
    own.write_text("retouched by hand")
    assert run(shoot, "average", "--only", 1).exit_code == 0
    assert own.read_text() == "retouched by hand"
    assert [row.destination for row in results(shoot)] == [f"results/{FIRST}_2.tif"]


# ---- programs that misbehave ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ("fail", "the program ended with exit code 9"),
        ("die", "the program was ended by signal 6"),
        ("nothing", f"the program ended well, and wrote no {FIRST}.tif"),
        ("folder", f"the program ended well, and wrote no {FIRST}.tif"),
        ("link", "its result"),
        ("empty", "its result"),
        ("half", "its result"),
    ],
)
def test_a_failed_stack_is_named_and_leaves_nothing(shoot: Path, how: str, said: str) -> None:
    before = contents(shoot)
    outcome = run(shoot, how)
    assert outcome.exit_code == 1
    first, second = outcome.stderr.splitlines()
    assert first.startswith(f"no result: {FIRST}: {said}")
    assert second.startswith(f"no result: {SECOND}: ")
    assert outcome.stdout == "0 stacks merged; 2 gave no result.\n"
    log = Path(first.rpartition("What it said: ")[2])
    assert log.read_text().startswith(f"{how}: 3 frames\n")
    assert contents(shoot) == before
    assert hidden(shoot) == ["ledger.db", "unfinished"]
    assert not list((shoot / ".sorter" / "unfinished").iterdir())


def test_a_failed_stack_does_not_stop_the_others(shoot: Path) -> None:
    fails_once = "import sys, PIL.Image as I; '0001' in sys.argv[1] and sys.exit(3); I.new('RGB', (4, 4)).save(sys.argv[1])"
    command = f"{shlex.join([sys.executable, '-c', fails_once])} {{result}} {{frames}}"
    outcome = handoff(shoot, "--run", command)
    assert outcome.exit_code == 1
    assert [row.sequence for row in results(shoot)] == [ANEMONE]
    assert "1 stack merged; 1 gave no result" in outcome.stdout


def test_one_that_talks_a_lot_is_merged(shoot: Path) -> None:
    assert run(shoot, "talk", "--only", 1).exit_code == 0
    assert (shoot / ".sorter" / "logs" / f"{FIRST}.log").stat().st_size > 10_000_000


def test_one_that_writes_to_a_slice_is_found_out(shoot: Path) -> None:
    outcome = run(shoot, "spoil", "--only", 1)
    assert outcome.exit_code == 1
    assert f"the program changed {FIRST}/IMG_0001.JPG, a frame of the shoot" in outcome.stderr
    assert results(shoot) == []


def test_a_time_limit(shoot: Path) -> None:
    outcome = run(shoot, "hang with a child", "--only", 1, "--time-limit", "3s")
    assert outcome.exit_code == 1
    assert "the program was ended at the time limit of 3 s" in outcome.stderr
    assert not is_alive(child_of(shoot))


def is_alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


def child_of(shoot: Path) -> int:
    """The process that the program said it started."""
    log = shoot / ".sorter" / "logs" / f"{FIRST}.log"
    return int(log.read_text().rpartition("child ")[2])


@pytest.mark.parametrize("by", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_the_children_and_the_next_run_goes_on(
    shoot: Path, by: signal.Signals
) -> None:
    run(shoot, "average", "--only", 2)
    log = shoot / ".sorter" / "logs" / f"{FIRST}.log"
    command = [sys.executable, "-m", "sorter", "handoff", str(shoot)]
    with subprocess.Popen(  # noqa: S603  our own program
        [*command, "--run", stand_in("hang with a child"), "--jobs", "2"],
        stderr=subprocess.PIPE,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),  # noqa: PLW1509
    ) as process:
        until = time.monotonic() + 30
        while not (log.exists() and "child" in log.read_text()) and time.monotonic() < until:
            time.sleep(0.05)
        time.sleep(0.1)
        child = child_of(shoot)
        assert is_alive(child)
        process.send_signal(by)
        _, said = process.communicate(timeout=30)
    assert process.returncode == 3
    assert said.decode().splitlines()[-1].startswith("Error: stopped. Nothing was lost")
    assert not is_alive(child)
    assert hidden(shoot) == ["ledger.db", "unfinished"]
    assert [row.sequence for row in results(shoot)] == [ANEMONE]
    assert run(shoot, "average").exit_code == 0
    assert [row.sequence for row in results(shoot)] == [LIMPET, ANEMONE]


def test_a_full_disk_stops_the_run_and_leaves_no_part(
    shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fill(shoot: Shoot, number: int, *_: object) -> None:
        with shoot.new_file(number) as file:
            file.write(memoryview(b"a part of a picture"))
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patched:
        patched.setattr(stacking, "finish", fill)
        outcome = run(shoot, "average")
    assert outcome.exit_code == 3
    assert "the disk is full. Nothing is lost" in outcome.stderr
    assert not list((shoot / ".sorter" / "unfinished").iterdir())
    assert run(shoot, "average").exit_code == 0
    assert len(results(shoot)) == 2


# ---- wrong usage ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--run", "no-such-program {result} {frames}"), "there is no program 'no-such-program'"),
        (("--run", "true {frames}"), "does not say {result}"),
        (("--run", "true {result} {slices}"), "there is no field 'slices'"),
        (("--run", "true {result} {frames}", "--list", "x"), "each goes by itself"),
        (("--run", "true {result} {frames}", "--time-limit", "soon"), "is not understood"),
        (("--run", "true {result} {frames}", "--only", "99"), "no sequence 99"),
        (("--run", "true {result} {frames}", "--best", "3"), "checks.csv is not there"),
        (("--run", "true {result} {frames}", "x.tif"), "with --collect"),
        (("--list", "x", "--jobs", "2"), "go with --run"),
        (("--collect",), "name the files"),
    ],
)
def test_refused(shoot: Path, arguments: tuple[str, ...], said: str) -> None:
    before = contents(shoot)
    outcome = handoff(shoot, *arguments)
    assert outcome.exit_code == 2
    assert said in outcome.stderr
    assert outcome.stdout == ""
    assert contents(shoot) == before


def test_long_work_shows_how_far_it_is(shoot: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[tuple[int, int]] = []
    monkeypatch.setattr(console.Bar, "advance", lambda _, done, total: told.append((done, total)))
    run(shoot, "average")
    assert (told[0], told[-1]) == ((0, 2), (2, 2))


# ---- what goes along ------------------------------------------------------------------------


def test_best_frames_by_the_findings(shoot: Path) -> None:
    (shoot / "checks.csv").write_text("sequence,best_frames\r\n3,2;3;1\r\n")
    outcome = run(shoot, "average", "--kind", "burst", "--best", 2)
    assert outcome.exit_code == 0
    (row,) = results(shoot)
    assert row.destination == "results/0003_burst_3_spray_best-2.tif"
    assert row.notes.endswith("of 2 frames")


def test_related_frames_reach_the_command(shoot: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As if the notes said that the splash is of the limpet's set-up."""
    monkeypatch.setattr(choose, "related", lambda *_: (4,))
    says = "import sys, PIL.Image as I; print(sys.argv[2:]); I.new('L', (4, 4)).save(sys.argv[1])"
    command = f"{shlex.join([sys.executable, '-c', says])} {{result}} {{frames}} --over={{related}}"
    outcome = handoff(shoot, "--run", command, "--only", 1, "--with-related")
    assert outcome.exit_code == 0
    said = (shoot / ".sorter" / "logs" / f"{FIRST}.log").read_text()
    assert said.rstrip().endswith(f"'--over={shoot}/singles/IMG_0011.JPG']")


# ---- a shoot with results -------------------------------------------------------------------


def test_a_second_copy_gets_the_results_too(shoot: Path, tmp_path: Path) -> None:
    run(shoot, "average")
    ingest(tmp_path / "card", shoot, backup=tmp_path / "second")
    there = {path for path in contents(tmp_path / "second") if path.startswith("results/")}
    assert there == {f"results/{FIRST}.tif", f"results/{SECOND}.tif"}
    assert [row.destination for row in results(tmp_path / "second")] == sorted(there)
    ingest(tmp_path / "card", shoot, backup=tmp_path / "second")
    (shoot / f"results/{FIRST}.tif").unlink()
    run(shoot, "average")
    report = ingest(tmp_path / "card", shoot, backup=tmp_path / "second")
    assert report.is_whole
    assert len(results(tmp_path / "second")) == 3


def test_a_lost_result_is_mended_from_the_second_copy(shoot: Path, tmp_path: Path) -> None:
    run(shoot, "average")
    ingest(tmp_path / "card", shoot, backup=tmp_path / "second")
    before = contents(shoot)
    (shoot / f"results/{FIRST}.tif").unlink()
    mended = CliRunner().invoke(
        commands, ["verify", str(shoot), "--backup", str(tmp_path / "second"), "--mend"]
    )
    assert mended.exit_code == 0
    assert contents(shoot) == before
    run(shoot, "average", "--again", "--only", 1)
    told = CliRunner().invoke(
        commands, ["verify", str(shoot), "--backup", str(tmp_path / "second")]
    )
    assert told.exit_code == 1
    assert f"results/{FIRST}_2.tif" in told.stdout


def test_an_ingest_more_leaves_results_as_they_are(shoot: Path, tmp_path: Path) -> None:
    run(shoot, "average")
    before = contents(shoot)
    assert ingest(tmp_path / "card", shoot).is_whole
    assert contents(shoot) == before
    shutil.copy(
        tmp_path / "card/DCIM/100TIDES/IMG_0011.JPG", tmp_path / "card/DCIM/100TIDES/IMG_0012.JPG"
    )
    assert ingest(tmp_path / "card", shoot).is_whole
    hold_consistent(shoot)
    assert [row.sequence for row in results(shoot)] == [LIMPET, ANEMONE]


def test_an_undo_leaves_results_and_names_them(shoot: Path, tmp_path: Path) -> None:
    run(shoot, "average")
    undone = undo(shoot, tmp_path / "card")
    assert undone.removed == 11
    assert sorted(undone.stay) == [f"results/{FIRST}.tif", f"results/{SECOND}.tif"]
    assert sorted(contents(shoot)) == sorted(undone.stay)
    assert not (shoot / ".sorter").exists()
    assert ingest(tmp_path / "card", shoot).is_whole
    assert sorted(found(shoot).added) == sorted(undone.stay)


def test_digests_are_those_of_the_files(shoot: Path) -> None:
    run(shoot, "average")
    for row in results(shoot):
        data = (shoot / row.destination).read_bytes()
        assert (row.bytes, row.sha256) == (len(data), hashlib.sha256(data).hexdigest())
    assert os.path.lexists(shoot / "results")


def test_what_the_program_made_has_its_own_digest_in_the_ledger(
    shoot: Path, tmp_path: Path
) -> None:
    """The stand-in merges the same frames again by itself; what the sorter wrote has Exif besides."""
    run(shoot, "average")
    frames = [str(path) for path in sorted((shoot / FIRST).glob("*.JPG"))]
    stand_in_program.average(str(tmp_path / "again.tif"), frames)
    made = (tmp_path / "again.tif").read_bytes()
    with closing(sqlite3.connect(shoot / ".sorter" / "ledger.db")) as base:
        given = base.execute(
            "SELECT given_bytes, given_sha256 FROM files WHERE destination = ?",
            (f"results/{FIRST}.tif",),
        ).fetchone()
    assert given == (len(made), hashlib.sha256(made).hexdigest())
    assert (shoot / "results" / f"{FIRST}.tif").read_bytes() != made
