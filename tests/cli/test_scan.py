"""The command as a user calls it, on folders made for the purpose."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import piexif
import pytest
from click.testing import CliRunner, Result
from PIL import Image

import sorter
from manifest.accounts import account_of, rock_pool, single
from sorter.api import scanning
from sorter.cli import commands
from sorter.errors import CardGone
from sorter.model.card import CardFile
from sorter.model.frame import Frame, ReadFile
from sorter.model.kinds import Role
from sorter.model.sequence import Account

HOME = Path(sorter.__file__).parents[1]


def scan(*arguments: str | Path) -> Result:
    return CliRunner().invoke(commands, ["scan", *map(str, arguments)], prog_name="sorter")


def run(*arguments: str | Path, **more: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(  # noqa: S603  our own program
        [sys.executable, "-m", "sorter", "scan", *map(str, arguments)],
        capture_output=True, check=False, cwd=HOME, env={**os.environ, **more},
    )  # fmt: skip


def refused(result: Result, *says: str) -> None:
    """Exit code 2, nothing on stdout, one sentence on stderr."""
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith("Error: ")
    assert result.stderr.count("\n") == 1
    for words in says:
        assert words in result.stderr


def tree(folder: Path) -> dict[str, tuple[int, int, bytes]]:
    """All that a write would change: kinds, times and contents, of folders too."""
    found = [folder, *folder.rglob("*")]
    return {
        str(path): (
            path.lstat().st_mode,
            path.lstat().st_mtime_ns,
            path.read_bytes() if path.is_file() else b"",
        )
        for path in found
    }


@pytest.fixture
def card(tmp_path: Path) -> Path:
    """Three pictures of a limpet, one file that is none, one that is empty."""
    folder = tmp_path / "card" / "DCIM" / "100TIDES"
    folder.mkdir(parents=True)
    for number in range(1, 4):
        stamp = f"2026:05:17 13:02:{10 * number:02d}".encode()
        exif = {
            "0th": {piexif.ImageIFD.Make: b"Tidepool", piexif.ImageIFD.Model: b"Tidepool R8"},
            "Exif": {
                piexif.ExifIFD.DateTimeOriginal: stamp,
                piexif.ExifIFD.BodySerialNumber: b"0417",
            },
        }
        picture = Image.new("RGB", (16, 12), (0, 40 * number, 90))
        picture.save(folder / f"IMG_{number:04d}.JPG", exif=piexif.dump(exif))
    (folder / "NOTES.TXT").write_text("low tide at 13:40")
    return tmp_path / "card"


@pytest.fixture
def shown(monkeypatch: pytest.MonkeyPatch) -> Callable[[Account], None]:
    """Lets the command see a card of our making."""

    def show(account: Account) -> None:
        monkeypatch.setattr(scanning, "scan_card", lambda *_: account)

    return show


# ---- what goes well -------------------------------------------------------------------------


def test_a_card_is_shown(card: Path) -> None:
    result = scan(card)
    assert result.exit_code == 0
    assert "2026-05-17" in result.stdout
    assert "other       DCIM/100TIDES/NOTES.TXT: no picture" in result.stdout
    assert "3 frames in" in result.stdout
    assert result.stderr == ""


@pytest.mark.parametrize("below", ["", "DCIM", "DCIM/100TIDES"])
def test_a_card_may_be_named_by_its_root_its_dcim_or_any_folder(card: Path, below: str) -> None:
    assert "3 frames in" in scan(card / below).stdout


def test_nothing_is_written_to_the_card(card: Path, tmp_path: Path) -> None:
    before = tree(card)
    assert scan(card, "--manifest", tmp_path / "m.csv", "--why").exit_code == 0
    assert scan(card, "--json").exit_code == 0
    assert tree(card) == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["card", "m.csv"]


def test_a_scan_without_a_manifest_writes_nothing_anywhere(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    before = tree(tmp_path)
    scan(card)
    assert tree(tmp_path) == before


def test_the_manifest_has_a_row_for_every_file(card: Path, tmp_path: Path) -> None:
    manifest = tmp_path / "m.csv"
    manifest.write_text("what was there before")
    result = scan(card, "--manifest", manifest)
    assert result.stderr == f"manifest: {manifest} (4 rows)\n"
    with manifest.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["source"] for row in rows] == [
        "DCIM/100TIDES/IMG_0001.JPG",
        "DCIM/100TIDES/IMG_0002.JPG",
        "DCIM/100TIDES/IMG_0003.JPG",
        "DCIM/100TIDES/NOTES.TXT",
    ]
    assert rows[0]["captured"] == "2026-05-17T13:02:10"


def test_json_is_one_document_and_nothing_else_on_stdout(card: Path, tmp_path: Path) -> None:
    result = scan(card, "--json", "--why", "--manifest", tmp_path / "m.csv")
    assert json.loads(result.stdout)["frames"] == 3
    assert "manifest" in result.stderr


def test_why_tells_the_grounds_of_every_sequence(shown: Callable[[Account], None]) -> None:
    shown(rock_pool())
    out = scan("card", "--why").stdout
    assert out.count("      begins  ") == len(rock_pool().sequences)
    assert "focus fell back; 2.1 s [margin 9.0]" in out
    assert "next best  burst [margin 4.2]" in out


def test_a_clock_is_set_by_its_serial(card: Path) -> None:
    assert "13:06:10" in scan(card, "--clock", "0417=+4m").stdout


def test_a_clock_of_a_stranger_is_refused_with_the_bodies_that_are_there(card: Path) -> None:
    refused(scan(card, "--clock", "9=+4m"), "'9'", "0417 (Tidepool R8)")


def test_settings_are_read_from_the_file_that_is_named(card: Path, tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text('[clock]\n0417 = "+1h"\n')
    assert "14:02:10" in scan(card, "--settings", tmp_path / "s.toml").stdout
    (tmp_path / "s.toml").write_text("[cluck]\n")
    refused(scan(card, "--settings", tmp_path / "s.toml"), "Did you mean 'clock'?")


def corrections(folder: Path, *rows: str) -> Path:
    file = folder / "corrections.csv"
    file.write_text("\n".join(("first,last,kind,name", *rows)), encoding="utf-8")
    return file


def test_corrections_stand_in_table_manifest_and_json(card: Path, tmp_path: Path) -> None:
    row = "DCIM/100TIDES/IMG_0001.JPG,DCIM/100TIDES/IMG_0002.JPG,manual-stack,limpet"
    file = corrections(tmp_path, row)
    assert "1 manual stack (2)" in scan(card, "--corrections", file).stdout
    manifest = tmp_path / "m.csv"
    whole = json.loads(scan(card, "--corrections", file, "--json", "--manifest", manifest).stdout)
    assert [(each["kind"], each["name"]) for each in whole["sequences"]] == [
        ("manual-stack", "limpet"),
        ("single", ""),
    ]
    with manifest.open(encoding="utf-8", newline="") as written:
        rows = list(csv.DictReader(written))
    assert [row["kind"] for row in rows[:3]] == ["manual-stack", "manual-stack", "single"]
    assert rows[0]["grounds"].startswith("the corrections file says that these 2 frames are one")


def test_why_does_not_call_a_marker_a_single(card: Path, tmp_path: Path) -> None:
    file = corrections(tmp_path, "DCIM/100TIDES/IMG_0001.JPG,,marker,")
    said = scan(card, "--corrections", file, "--why").stdout.split("\n\n")[0]
    assert "marker" in said
    assert "one frame is a single" not in said


def test_corrections_that_do_not_fit_are_refused_before_anything_is_shown(
    card: Path, tmp_path: Path
) -> None:
    file = corrections(tmp_path, "", "DCIM/100TIDES/IMG_0009.JPG,,single,")
    manifest = tmp_path / "m.csv"
    done = scan(card, "--corrections", file, "--manifest", manifest)
    refused(done, "Error: corrections, line 3: no file of this card is")
    assert not manifest.exists()


def test_a_manifest_never_replaces_the_corrections(card: Path, tmp_path: Path) -> None:
    file = corrections(tmp_path, "DCIM/100TIDES/IMG_0001.JPG,,marker,")
    (tmp_path / "link.csv").symlink_to(file)
    before = file.read_bytes()
    for manifest in (file, tmp_path / "link.csv"):
        done = scan(card, "--corrections", file, "--manifest", manifest)
        refused(done, "this is your corrections file")
    assert file.read_bytes() == before


# ---- corrections written ----------------------------------------------------------------------


NO_READING: tuple[str | Path, ...] = ()


def read_back(file: Path) -> list[dict[str, str]]:
    with file.open(encoding="utf-8", newline="") as text:
        return list(csv.DictReader(text))


def test_what_was_found_is_written_as_corrections(card: Path, tmp_path: Path) -> None:
    file = tmp_path / "limpets.csv"
    done = scan(card, "--write-corrections", file, "--json")
    assert (done.exit_code, done.stderr) == (0, f"corrections: {file} (3 rows)\n")
    assert json.loads(done.stdout)["frames"] == 3
    paths = [f"DCIM/100TIDES/IMG_000{number}.JPG" for number in (1, 2, 3)]
    assert read_back(file) == [
        {"first": path, "last": path, "kind": "single", "name": ""} for path in paths
    ]
    again = scan(card, "--corrections", file)
    assert again.stdout.splitlines()[-1] == scan(card).stdout.splitlines()[-1]


def test_what_was_corrected_is_written_too(card: Path, tmp_path: Path) -> None:
    row = 'DCIM/100TIDES/IMG_0001.JPG,DCIM/100TIDES/IMG_0002.JPG,manual-stack,"limpet, low"'
    file = corrections(tmp_path, row)
    written = tmp_path / "w.csv"
    assert scan(card, "--corrections", file, "--write-corrections", written).exit_code == 0
    found = [(each["last"][-5], each["kind"], each["name"]) for each in read_back(written)]
    assert found == [("2", "manual-stack", "limpet, low"), ("3", "single", "")]


def test_corrections_that_are_there_are_never_replaced(card: Path, tmp_path: Path) -> None:
    file = corrections(tmp_path, "DCIM/100TIDES/IMG_0001.JPG,,marker,")
    (tmp_path / "link.csv").symlink_to(file)
    before = tree(tmp_path)
    manifest = tmp_path / "m.csv"
    for target in (file, tmp_path / "link.csv"):
        for read in NO_READING, ("--corrections", file):
            done = scan(card, *read, "--write-corrections", target, "--manifest", manifest)
            refused(done, "never replaced", "name another file")
    assert tree(tmp_path) == before


def test_the_same_corrections_may_be_written_again(card: Path, tmp_path: Path) -> None:
    file = tmp_path / "limpets.csv"
    scan(card, "--write-corrections", file)
    before = tree(tmp_path)
    for read in NO_READING, ("--corrections", file):
        done = scan(card, *read, "--write-corrections", file)
        assert (done.exit_code, done.stderr) == (0, f"corrections: {file} (3 rows, as it was)\n")
    assert tree(tmp_path) == before


def test_corrections_and_manifest_are_two_files_and_neither_lies_in_the_card(
    card: Path, tmp_path: Path
) -> None:
    before = tree(tmp_path)
    one = tmp_path / "one.csv"
    refused(scan(card, "--write-corrections", one, "--manifest", one), "this is your corrections")
    refused(scan(card, "--write-corrections", card / "c.csv"), "lies in the card")
    refused(scan(card, "--write-corrections", tmp_path / "none" / "c.csv"), "is not there")
    assert tree(tmp_path) == before


def test_a_name_with_bytes_that_are_no_utf8_is_found_again(card: Path, tmp_path: Path) -> None:
    folder = card / "DCIM" / "100TIDES"
    odd = os.fsencode(folder) + b"/=crab\xff, low .JPG"
    os.rename(folder / "IMG_0002.JPG", odd)  # noqa: PTH104  a path that is no text
    file = tmp_path / "limpets.csv"
    assert scan(folder, "--write-corrections", file).exit_code == 0
    assert "./=crab\\xff, low .JPG" in {each["first"] for each in read_back(file)}
    again = scan(folder, "--corrections", file, "--write-corrections", file)
    assert again.stderr == f"corrections: {file} (3 rows, as it was)\n"


# ---- knobs ------------------------------------------------------------------------------------


def test_a_knobs_option_goes_before_the_settings_file(card: Path, tmp_path: Path) -> None:
    (tmp_path / "s.toml").write_text("[grouping]\nunsure_below = 0\n")
    sure = scan(card, "--settings", tmp_path / "s.toml")
    assert "unsure" not in sure.stdout
    unsure = scan(card, "--settings", tmp_path / "s.toml", "--unsure-below", "50")
    assert "unsure: may be one" in unsure.stdout


def test_a_knob_that_is_no_number_is_refused(card: Path) -> None:
    refused(scan(card, "--hand-pause", "-1"), "--hand-pause '-1'", "zero or more")
    refused(scan(card, "--apart", "soon"), "--apart 'soon'", "Write seconds")


def test_corrections_that_are_none_are_refused_before_the_card_is_read(tmp_path: Path) -> None:
    file = corrections(tmp_path, "A.JPG,,brust,")
    refused(scan(tmp_path / "none", "--corrections", file), "line 2", "Did you mean 'burst'?")
    refused(scan(tmp_path / "none", "--corrections", tmp_path / "x.csv"), "cannot be read")


# ---- exit codes -----------------------------------------------------------------------------


def test_an_unreadable_file_is_listed_and_makes_the_exit_code_one(card: Path) -> None:
    (card / "DCIM" / "100TIDES" / "IMG_0009.JPG").touch()
    result = scan(card)
    assert result.exit_code == 1
    assert "unreadable  DCIM/100TIDES/IMG_0009.JPG: the file is empty" in result.stdout


def test_a_link_is_listed_and_makes_the_exit_code_one(card: Path) -> None:
    (card / "IMG_0009.JPG").symlink_to("/etc/hosts")
    result = scan(card)
    assert result.exit_code == 1
    assert "IMG_0009.JPG: a link: not followed" in result.stdout


def test_a_closed_folder_makes_the_exit_code_one(shown: Callable[[Account], None]) -> None:
    shown(replace(account_of(single(1, 0)), folders_closed=("DCIM/101TIDES",)))
    result = scan("card")
    assert result.exit_code == 1
    assert "DCIM/101TIDES/: a folder that cannot be listed" in result.stdout


def test_an_unreadable_file_within_a_frame_makes_the_exit_code_one(
    shown: Callable[[Account], None],
) -> None:
    sequence = single(1, 0)
    empty = ReadFile(file=CardFile(path="IMG_0001.JPG", size=0), role=Role.IMAGE, notes=("empty",))
    shot = Frame(files=(*sequence.frames[0].files, empty), facts=sequence.frames[0].facts)
    shown(account_of(replace(sequence, frames=(shot,))))
    result = scan("card")
    assert result.exit_code == 1
    assert "unreadable  IMG_0001.JPG: empty" in result.stdout


def test_a_card_that_goes_away_stops_with_three(
    card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def go(*_: object) -> Account:
        raise CardGone("the card went away")

    monkeypatch.setattr(scanning, "scan_card", go)
    result = scan(card)
    assert (result.exit_code, result.stderr) == (3, "Error: the card went away\n")


def test_ctrl_c_stops_with_three_and_one_sentence(
    card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(*_: object) -> Account:
        raise KeyboardInterrupt

    monkeypatch.setattr(scanning, "scan_card", stop)
    result = scan(card)
    assert result.exit_code == 3
    assert result.stderr.startswith("\nError: stopped. Nothing was lost")
    assert "Traceback" not in result.stderr


def test_a_fault_of_ours_says_so_and_shows_where(
    card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> Account:
        raise ZeroDivisionError("\x1b[2J")

    monkeypatch.setattr(scanning, "scan_card", fail)
    result = scan(card)
    assert result.exit_code == 3
    assert result.stdout == ""
    assert "ZeroDivisionError: \\x1b[2J" in result.stderr
    assert "a fault of the sorter, not of your card" in result.stderr.splitlines()[-1]


# ---- bad input ------------------------------------------------------------------------------


def test_no_such_folder_a_file_and_an_empty_folder_are_refused(tmp_path: Path) -> None:
    refused(scan(tmp_path / "none"), "there is no such folder")
    (tmp_path / "file").touch()
    refused(scan(tmp_path / "file"), "this is a file")
    (tmp_path / "empty").mkdir()
    refused(scan(tmp_path / "empty"), "no file here")


def test_a_folder_that_may_not_be_listed_is_refused(
    card: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def closed(path: object) -> Iterator[os.DirEntry[str]]:
        raise PermissionError(13, "Permission denied", path)

    monkeypatch.setattr(os, "scandir", closed)  # root may list everything
    refused(scan(card), "does not let us list", "Permission denied")


@pytest.mark.parametrize(
    ("manifest", "says"),
    [
        ("card/m.csv", "lies in the card"),
        ("card/DCIM/../m.csv", "lies in the card"),
        ("link/m.csv", "lies in the card"),
        ("card", "lies in the card"),
        (".", "is a folder"),
        ("none/m.csv", "is not there"),
    ],
)
def test_a_manifest_that_cannot_be_written_is_refused_before_the_card_is_read(
    card: Path, monkeypatch: pytest.MonkeyPatch, manifest: str, says: str
) -> None:
    (card.parent / "link").symlink_to(card / "DCIM")
    monkeypatch.setattr(scanning, "scan_card", lambda *_: pytest.fail("the card was read"))
    before = tree(card.parent)
    refused(scan(card, "--manifest", card.parent / manifest), says)
    assert tree(card.parent) == before


def test_a_full_disk_is_one_sentence(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    refused(scan(card, "--manifest", tmp_path / "m.csv"), "No space left on device")
    assert not (tmp_path / "m.csv").exists()


def test_an_error_about_a_crafted_name_moves_no_cursor(tmp_path: Path) -> None:
    refused(scan(tmp_path / "a\x1b[2Jb\nc"), "a\\x1b[2Jb\\nc")


# ---- as a process of its own ----------------------------------------------------------------


def test_a_process_of_its_own_ends_with_the_same_codes(card: Path, tmp_path: Path) -> None:
    assert run(card).returncode == 0
    missing = run(tmp_path / "none")
    assert (missing.returncode, missing.stdout) == (2, b"")
    assert missing.stderr.count(b"\n") == 1
    assert run().returncode == 2


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_a_terminal_of_few_letters_stops_nothing(card: Path, encoding: str) -> None:
    folder = card / "DCIM" / "100TIDES"
    (folder / "NOTES.TXT").rename(folder / "潮だまり.TXT")
    os.close(os.open(os.fsencode(folder) + b"/crab\xff.TXT", os.O_CREAT | os.O_WRONLY))
    for options in ([], ["--why"], ["--json"]):
        done = run(card, *options, PYTHONIOENCODING=encoding)
        assert (done.returncode, done.stderr) == (0, b"")
        assert done.stdout.decode(encoding)


def test_a_reader_that_has_seen_enough_is_no_fault(card: Path) -> None:
    for options in ([], ["--json"]):
        command = [sys.executable, "-m", "sorter", "scan", str(card), *options]
        with subprocess.Popen(  # noqa: S603  our own program
            command, cwd=HOME, stdout=subprocess.PIPE, stderr=subprocess.PIPE
        ) as process:
            assert process.stdout is not None
            assert process.stderr is not None
            process.stdout.close()
            assert process.stderr.read() == b""
            assert process.wait() == 0


@pytest.mark.parametrize("options", [[], ["--json"], ["--why"]])
def test_a_full_disk_under_stdout_stops_with_one_sentence(card: Path, options: list[str]) -> None:
    command = [sys.executable, "-m", "sorter", "scan", str(card), *options]
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(  # noqa: S603  our own program
            command, cwd=HOME, stdout=full, stderr=subprocess.PIPE, check=False
        )
    assert done.returncode == 3
    assert b"No space left on device" in done.stderr
    assert done.stderr.count(b"\n") == 1


@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-", "2>/dev/full"])
def test_closed_streams_stop_nothing(card: Path, tmp_path: Path, closed: str) -> None:
    out = tmp_path / "m.csv"
    command = f'"$0" -m sorter scan "$1" --manifest "$2" {closed}'
    done = subprocess.run(  # noqa: S603  our own program
        ["/bin/sh", "-c", command, sys.executable, str(card), str(out)],
        cwd=HOME, capture_output=True, check=False,
    )  # fmt: skip
    assert (done.returncode, out.is_file()) == (0, True)


@pytest.mark.parametrize(
    "option",
    [
        [],
        ["card", "--manifest"],
        ["card", "--settings"],
        ["card", "--corrections"],
        ["card", "--write-corrections"],
    ],
)
def test_an_empty_path_is_not_the_folder_that_one_is_in(option: list[str]) -> None:
    done = scan(*option, "")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "the path is empty" in done.stderr


@pytest.mark.parametrize(
    "command",
    [
        *("scan @", "verify @", "undo @ --yes", "check @", "report @", "tally @", "ingest @ shoot"),
        *("handoff @ --list lists", "steps --magnification 1 --depth 1 --plot @"),
    ],
)
def test_a_folder_that_is_gone_under_ones_feet_is_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    gone = tmp_path / "card"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    arguments = command.replace("@", "pool").split()
    done = CliRunner().invoke(commands, arguments, prog_name="sorter")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "the folder that you are in is gone" in done.stderr


def test_without_a_terminal_the_width_is_columns_or_120(
    shown: Callable[[Account], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    shown(rock_pool())
    assert "exposure" not in scan("card").stdout.splitlines()[0]
    monkeypatch.delenv("COLUMNS")
    assert "exposure" in scan("card").stdout.splitlines()[0]
    assert "\x1b" not in scan("card").stdout


def test_a_signal_from_the_keyboard_stops_a_process_quietly(tmp_path: Path) -> None:
    """A card of many files takes long enough to be stopped in the middle."""
    script = (
        "import os, sys, time\n"
        "from sorter.api import scanning\n"
        "def slow(*_):\n"
        "    os.write(2, b'reading')\n"
        "    time.sleep(30)\n"
        "scanning.scan_card = slow\n"
        "sys.argv = ['sorter', 'scan', 'card']\n"
        "from sorter.cli import run\n"
        "run()\n"
    )
    with subprocess.Popen(  # noqa: S603  our own program
        [sys.executable, "-c", script], cwd=HOME, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stderr is not None
        assert process.stderr.read(7) == b"reading"
        time.sleep(0.1)
        process.send_signal(signal.SIGINT)
        said = process.stderr.read().decode()
        assert process.wait(timeout=10) == 3
    assert said.strip() == (
        "Error: stopped. Nothing was lost, and nothing half-written is left. Run the same command again to go on."
    )
    assert list(tmp_path.iterdir()) == []
