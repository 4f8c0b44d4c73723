"""`sorter ingest` as a user calls it: what it says, what it leaves on the disk, its exit codes."""

from __future__ import annotations

import errno
import os
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import tides
from sorter.cli import commands
from sorter.disk.shoot import Shoot
from sorter.model.row import COLUMNS
from sorter.writing import carry, moving
from sorter.writing.ledger import Ledger
from writing.cards import (
    ANEMONES,
    LIMPETS,
    RECORDS,
    contents,
    destinations,
    hold_consistent,
    hold_whole,
    picture,
    rows,
    tree,
)
from writing.faults import fails_at, full_disk, other_devices, read_faults, spoiled_copies

FIRST, BURST = f"{LIMPETS}/IMG_0001.JPG", "0001_burst_4"


def ingest(*arguments: str | Path, answer: str | None = None) -> Result:
    return CliRunner().invoke(
        commands, ["ingest", *map(str, arguments)], prog_name="sorter", input=answer
    )


def refused(result: Result, *says: str) -> None:
    """Exit code 2, nothing on stdout, one sentence on stderr."""
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("Error: ")
    assert result.stderr.count("\n") == 1
    for words in says:
        assert words in result.stderr


def stopped(result: Result, says: str) -> None:
    """Exit code 3, nothing on stdout, and the reason on stderr."""
    assert (result.exit_code, result.stdout) == (3, "")
    assert says in result.stderr


card = tides.readable_card
shoot = tides.new_shoot
terminal = tides.terminal


def closed_folder(patch: pytest.MonkeyPatch, folder: Path) -> None:
    """The system does not let us list the folder."""
    listed = os.scandir

    def scandir(path: str) -> object:
        if str(path) == str(folder):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return listed(path)

    patch.setattr(os, "scandir", scandir)


def locked_card(patch: pytest.MonkeyPatch) -> None:
    """The card lies on a disk of its own and lets nothing be taken off it."""

    def locked(_: str) -> None:
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    other_devices(patch)
    patch.setattr(moving, "remove_from_card", locked)


# ---- what goes well ----------------------------------------------------------------------------


def test_all_went_well(card: Path, shoot: Path) -> None:
    before = tree(card)
    result = ingest(card, shoot)
    assert (result.exit_code, result.stderr) == (0, "")
    assert re.search(rf"^{BURST} +8 ", result.stdout, re.MULTILINE)
    assert "12 of 12 files verified: copied" in result.stdout
    assert "Before you format the card: make a second copy" in result.stdout
    hold_whole(shoot, contents(card))
    assert tree(card) == before


def test_the_manifest_has_every_file_and_the_digests_a_line_for_each(
    card: Path, shoot: Path
) -> None:
    (card / "latest.JPG").symlink_to(card / FIRST)
    (card / ".DS_Store").write_bytes(b"litter")
    ingest(card, shoot)
    header = (shoot / "manifest.csv").read_bytes().partition(b"\r\n")[0]
    assert header.decode() == ",".join(COLUMNS)
    listed = {row.source for row in rows(shoot)}
    assert listed == {*contents(card), "latest.JPG"} - {".DS_Store"}
    for row in rows(shoot):
        assert bool(row.destination) == bool(row.sha256) == (row.source != "latest.JPG")
    lines = (shoot / "SHA256SUMS").read_text().splitlines()
    assert sorted(line[66:] for line in lines) == sorted(contents(shoot).keys() - RECORDS)


def test_a_second_run_says_that_all_is_there(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    before = contents(shoot)
    result = ingest(card, shoot)
    assert result.exit_code == 0
    assert result.stderr == (
        "12 files are in the shoot already, byte by byte; nothing is missing.\n"
    )
    assert "12 of 12 files verified: all were there already, and equal" in result.stdout
    assert contents(shoot) == before


def test_what_came_since_is_counted_apart(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    picture(card / ANEMONES / "IMG_0009.JPG", 1500)
    result = ingest(card, shoot)
    assert result.exit_code == 0
    assert re.search("13 of 13 files verified: 1 copied .*, 12 there already", result.stdout)


# ---- what the user overrules -------------------------------------------------------------------


def corrections(folder: Path, *lines: str) -> Path:
    file = folder / "corrections.csv"
    file.write_text("\n".join(("first,last,kind,name", *lines)), encoding="utf-8")
    return file


WHOLE = f"{LIMPETS}/IMG_0001.JPG,{LIMPETS}/IMG_0004.JPG"
CORRECTED = (f"{WHOLE},manual-stack,limpet", f"{ANEMONES}/IMG_0002.JPG,,marker,")


def test_a_second_run_with_the_same_corrections_and_knobs_adds_nothing(
    card: Path, shoot: Path, tmp_path: Path
) -> None:
    given = ("--corrections", corrections(tmp_path, *CORRECTED), "--apart", "200")
    assert ingest(card, shoot, *given).exit_code == 0
    assert "0001_manual-stack_4_limpet" in destinations(shoot)[FIRST]
    assert destinations(shoot)[f"{ANEMONES}/IMG_0002.JPG"].startswith("markers/")
    before = contents(shoot)
    result = ingest(card, shoot, *given)
    assert (result.exit_code, result.stderr) == (
        0,
        "12 files are in the shoot already, byte by byte; nothing is missing.\n",
    )
    assert contents(shoot) == before
    hold_whole(shoot, contents(card))


@pytest.mark.parametrize(
    ("line", "is_late"),
    [
        (f"{WHOLE},manual-stack,", True),
        (f"{LIMPETS}/IMG_0001.JPG,{LIMPETS}/IMG_0002.JPG,burst,", True),  # a part of one there
        (f"{WHOLE.replace('0004', '0003')},,", True),
        (f"{ANEMONES}/IMG_0001.JPG,{ANEMONES}/IMG_0002.JPG,burst,", True),  # two of there
        (f"{ANEMONES}/IMG_0002.JPG,,marker,", True),
        (f"{WHOLE},burst,", False),
        (f"{WHOLE},,", False),
        (f"{ANEMONES}/IMG_0001.JPG,,single,", False),
    ],
)
def test_corrections_of_what_is_in_the_shoot_as_something_else_are_named_and_move_nothing(
    card: Path, shoot: Path, tmp_path: Path, line: str, *, is_late: bool
) -> None:
    ingest(card, shoot)
    before = contents(shoot)
    given = ("--corrections", corrections(tmp_path, "", line))
    says = "corrections, line 3: these frames are in the shoot already"
    assert (says in ingest(card, shoot, *given, "--dry-run").stdout) is is_late
    result = ingest(card, shoot, *given)
    assert (result.exit_code, says in result.stderr) == (0, is_late)
    assert contents(shoot) == before


def test_corrections_that_the_manifest_can_still_heed_are_not_called_late(
    card: Path, shoot: Path, tmp_path: Path
) -> None:
    """A frame came since, so that all that is said of its sequence is said anew; files stay."""
    ingest(card, shoot)
    picture(card / LIMPETS / "IMG_0005.JPG", 1.25)
    asked = f"{WHOLE.replace('0004', '0005')},manual-stack,"
    result = ingest(card, shoot, "--corrections", corrections(tmp_path, asked))
    assert (result.exit_code, "already, in other" in result.stderr) == (0, False)
    said = {row.source: (row.kind, row.sequence) for row in rows(shoot)}
    assert {said[f"{LIMPETS}/IMG_000{n}.JPG"] for n in range(1, 6)} == {("manual-stack", 1)}
    assert destinations(shoot)[FIRST] == f"{BURST}/IMG_0001.JPG"


def test_corrections_change_nothing_of_a_plan_that_was_stopped_and_are_named_then(
    card: Path, shoot: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        fails_at(patch, Shoot, "place", call=4, error=KeyboardInterrupt())
        assert ingest(card, shoot).exit_code == 3
    given = ("--corrections", corrections(tmp_path, f"{WHOLE},manual-stack,"))
    result = ingest(card, shoot, *given)
    assert result.exit_code == 0
    assert "Its plan is kept as it was, whatever the options say now." in result.stderr
    assert destinations(shoot)[FIRST] == f"{BURST}/IMG_0001.JPG"
    assert "corrections, line 2: these frames are in the" in ingest(card, shoot, *given).stderr


def test_a_knob_parts_what_the_default_joins(card: Path, shoot: Path) -> None:
    assert ingest(card, shoot, "--apart", "0.1").exit_code == 0
    assert destinations(shoot)[FIRST] == "singles/IMG_0001.JPG"


# ---- a dry run ---------------------------------------------------------------------------------


@pytest.mark.parametrize("option", [(), ("--move",)])
def test_a_dry_run_writes_nothing_and_says_what_is_carried_then(
    card: Path, shoot: Path, tmp_path: Path, option: tuple[str, ...]
) -> None:
    before = tree(tmp_path)
    result = ingest(card, shoot, "--dry-run", "--name", "west pool", *option)
    assert (result.exit_code, result.stderr) == (0, "")
    assert tree(tmp_path) == before
    verb = "move" if option else "copy"
    assert f"to {verb}. This was a dry run: nothing was written." in result.stdout
    assert f"{BURST}_west pool/  8 files" in result.stdout
    assert "IMG_0001.JPG … IMG_0004.JPG  4 files" in result.stdout
    ingest(card, shoot, "--name", "west pool", "--yes", *option)
    carried = contents(shoot).keys() - RECORDS
    for folder in {path.rpartition("/")[0] for path in carried}:
        count = sum(path.rpartition("/")[0] == folder for path in carried)
        assert re.search(rf"── {folder}/  {count} files?, ", result.stdout)
    assert "12 files (" in result.stdout
    assert len(carried) == 12


def test_a_dry_run_in_a_shoot_names_only_what_is_missing(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    picture(card / ANEMONES / "IMG_0009.JPG", 1500)
    before = tree(shoot)
    result = ingest(card, shoot, "--dry-run")
    assert "12 files are in the shoot already" in result.stdout
    assert "1 file (" in result.stdout
    assert "IMG_0009.JPG" in result.stdout
    assert BURST not in result.stdout
    assert tree(shoot) == before


@pytest.mark.parametrize("odd", ["whole", "empty picture", "link", "folder", "empty clip"])
@pytest.mark.parametrize("before", [False, True])
def test_a_dry_run_ends_as_its_ingest_and_a_scan_where_something_was_not_read(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, odd: str, *, before: bool
) -> None:
    if odd == "empty picture":
        (card / "IMG_0004.JPG").write_bytes(b"")
    elif odd == "link":
        (card / "latest.JPG").symlink_to(card / FIRST)
    elif odd == "empty clip":
        (card / "MVI_0004.MP4").write_bytes(b"")
    elif odd == "folder":
        closed_folder(monkeypatch, card / ANEMONES)
    code = 1 if odd in ("link", "folder") else 0  # an empty picture is carried and verified
    if before:
        assert ingest(card, shoot).exit_code == code
    scanned = CliRunner().invoke(commands, ["scan", str(card)], prog_name="sorter")
    tried = ingest(card, shoot, "--dry-run")
    assert (scanned.exit_code, tried.exit_code) == (code or odd == "empty picture", code)
    assert ingest(card, shoot).exit_code == code
    if scanned.exit_code:
        name = {"empty picture": "IMG_0004.JPG: the", "link": "latest.JPG: a", "folder": ANEMONES}
        assert f"  {name[odd]}" in tried.stdout


# ---- exit code 1 -------------------------------------------------------------------------------


def test_a_file_that_cannot_be_read_is_listed_and_the_next_run_carries_it(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    with monkeypatch.context() as patch:
        read_faults(patch, card / FIRST, times=2)
        result = ingest(card, shoot)
    assert result.exit_code == 1
    assert "could not be carried; try again, with another reader or cable" in result.stdout
    assert f"  {FIRST}: " in result.stdout
    assert "cannot be read: Input/output error" in result.stdout
    assert "11 of 12 files verified" in result.stdout
    assert "Do not format the card" in result.stdout
    assert "Before you format the card" not in result.stdout
    assert ingest(card, shoot).exit_code == 0
    hold_whole(shoot, originals)


def test_clips_that_are_not_whole_are_named(card: Path, shoot: Path) -> None:
    (card / "MVI_0005.MP4").write_bytes(b"")
    (card / "SND_0006.WAV").write_bytes(b"")
    (card / "MVI_0007.MP4").write_bytes(b"\0\0\0\x10ftypmp42\0\0\0\0\0\0\x10\0mdatsplash")
    for _ in range(2):  # also where they are in the shoot already
        result = ingest(card, shoot)
        assert result.exit_code == 0
        assert (
            "seem damaged on the card; carried as they are\n"
            f"  {ANEMONES}/MVI_0003.MP4: the file ends early: it tells of more bytes than it has\n"
            "  MVI_0005.MP4: the file is empty\n"
            "  MVI_0007.MP4: the file ends early: it tells of more bytes than it has\n"
            "  SND_0006.WAV: the file is empty\n"
        ) in result.stdout


def test_a_card_that_is_locked_keeps_what_was_to_be_moved(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = tree(card)
    with monkeypatch.context() as patch:
        locked_card(patch)
        result = ingest(card, shoot, "--move", "--yes")
    assert result.exit_code == 1
    assert "12 of 12 files verified: copied and read back, as the card" in result.stdout
    assert (
        "that were to be moved are still on the card: the system does not let it" in result.stdout
    )
    assert "nowhere else" not in result.stdout
    assert tree(card) == before
    assert ingest(card, shoot).exit_code == 0
    assert tree(card) == before
    again = ingest(card, shoot, "--move", "--yes")
    assert (
        "that an earlier move carried and left on the card: to be taken off it now" in again.stderr
    )
    assert contents(card) == {}


@pytest.mark.parametrize("option", [(), ("--move", "--yes"), ("--backup", "second"), ("--reread",)])
def test_a_picture_that_cannot_be_read_is_named_and_is_no_failure(
    card: Path, shoot: Path, tmp_path: Path, option: tuple[str, ...]
) -> None:
    """Exit code 1 is for what was not carried."""
    (card / "IMG_0004.JPG").write_bytes(b"")
    (card / "IMG_0005.CR3").write_bytes(b"splash" * 4_000)
    originals = contents(card)
    options = [str(tmp_path / each) if each == "second" else each for each in option]
    for run in range(2):  # also where they are in the shoot already
        if "--move" in option and run:
            break
        result = ingest(card, shoot, *options)
        assert result.exit_code == 0, result.stdout
        assert "could not be read as pictures; carried as they are\n" in result.stdout
        assert "  IMG_0004.JPG: the file is empty\n" in result.stdout
        assert "  IMG_0005.CR3: " in result.stdout
        assert "14 of 14 files verified" in result.stdout
    hold_whole(shoot, originals)


def test_a_picture_that_cannot_be_opened_is_a_failure(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its bytes are in no copy; a dry run tells as much."""
    opened = os.open

    def locked(path: str, *more: int, **most: int) -> int:
        if str(path).endswith(FIRST):
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), path)
        return opened(path, *more, **most)

    monkeypatch.setattr(os, "open", locked)
    assert ingest(card, shoot, "--dry-run").exit_code == 1
    result = ingest(card, shoot)
    assert result.exit_code == 1
    assert "11 of 12 files verified" in result.stdout


@pytest.mark.parametrize("odd", ["link", "empty", "edited sidecar", "changed picture"])
def test_what_is_not_as_it_should_be_is_listed(card: Path, shoot: Path, odd: str) -> None:
    if odd == "link":
        (card / "latest.JPG").symlink_to(card / FIRST)
    elif odd == "empty":
        (card / "IMG_0004.JPG").write_bytes(b"")
    else:
        ingest(card, shoot)
        name = "IMG_0001.xmp" if odd == "edited sidecar" else "IMG_0001.JPG"
        (shoot / BURST / name).write_bytes(b"edited")
    result = ingest(card, shoot)
    assert result.exit_code == (0 if odd == "empty" else 1)
    says = {
        "link": ("left on the card\n  latest.JPG: a link: not followed\n", "13 files verified"),
        "empty": ("could not be read as pictures; carried as they are", "IMG_0004.JPG"),
        "edited sidecar": ("edited in the shoot since", f"{BURST}/IMG_0001.xmp"),
        "changed picture": ("carried once more, beside them", f"{BURST}/IMG_0001"),
    }
    for words in says[odd]:
        assert words in result.stdout


# ---- exit code 2 -------------------------------------------------------------------------------


def test_a_shoot_in_the_card_is_refused(card: Path, tmp_path: Path) -> None:
    before = tree(tmp_path)
    (tmp_path / "link").symlink_to(card)
    for place in (card, card / "shoot", card / "DCIM" / "deep" / "shoot"):
        refused(ingest(card, place), "lies in the card")
    refused(ingest(card, tmp_path / "link" / "shoot"), "lies in the card")
    (tmp_path / "link").unlink()
    assert tree(tmp_path).keys() == before.keys()


def test_a_card_in_the_shoot_is_refused(card: Path, tmp_path: Path) -> None:
    before = tree(tmp_path)
    for place in (tmp_path, card.parent):
        refused(ingest(card, place), "lies in", "Name another folder for the shoot")
    assert tree(tmp_path) == before


def test_a_shoot_that_is_a_file_is_refused(card: Path, shoot: Path) -> None:
    shoot.write_text("limpet")
    refused(ingest(card, shoot), "this is a file")
    assert shoot.read_text() == "limpet"


def test_a_card_that_is_not_there_or_empty_is_refused(tmp_path: Path, shoot: Path) -> None:
    refused(ingest(tmp_path / "nowhere", shoot), "no such folder")
    (tmp_path / "empty").mkdir()
    refused(ingest(tmp_path / "empty", shoot), "there is no file here")
    assert not shoot.exists()


@pytest.mark.parametrize(
    "pattern",
    ["{nonsense}", "{sequence.real}", "{0}", "{", "{frames!r}", "a/b", "", "{sequence:q}"],
)
def test_a_pattern_that_cannot_be_filled_in_is_refused(
    card: Path, shoot: Path, pattern: str
) -> None:
    refused(ingest(card, shoot, "--folder", pattern), "--folder", "Write it like the default")
    assert not shoot.exists()


def test_a_move_without_a_terminal_needs_yes(card: Path, shoot: Path, tmp_path: Path) -> None:
    before = tree(tmp_path)
    refused(ingest(card, shoot, "--move"), "--yes")
    assert tree(tmp_path) == before


def test_a_stopped_move_goes_on_only_with_leave(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    with monkeypatch.context() as patch:
        fails_at(patch, Shoot, "take", call=3, error=KeyboardInterrupt())
        assert ingest(card, shoot, "--move", "--yes").exit_code == 3
    before = tree(card)
    result = ingest(card, shoot)
    assert result.exit_code == 2
    assert "is a move, which takes files off the card" in result.stderr
    assert tree(card) == before
    assert ingest(card, shoot, "--yes").exit_code == 0
    hold_whole(shoot, originals)


@pytest.mark.usefixtures("terminal")
@pytest.mark.parametrize("answer", ["n\n", "\n", "", "limpet\n"])
def test_a_move_that_is_not_agreed_to_is_not_done(
    card: Path, shoot: Path, tmp_path: Path, answer: str
) -> None:
    before = tree(tmp_path)
    result = ingest(card, shoot, "--move", answer=answer)
    assert result.exit_code == 2
    assert "Move 12 files (" in result.stderr
    assert tree(tmp_path) == before


@pytest.mark.usefixtures("terminal")
@pytest.mark.parametrize("agreed", ["y\n", "--yes"])
def test_a_move_that_is_agreed_to_is_done(card: Path, shoot: Path, agreed: str) -> None:
    originals = contents(card)
    options = [agreed] if agreed.startswith("-") else []
    result = ingest(card, shoot, "--move", *options, answer=agreed)
    assert result.exit_code == 0
    assert "12 of 12 files verified: moved" in result.stdout
    assert "what was moved is nowhere else now" in result.stdout
    hold_whole(shoot, originals)
    assert contents(card) == {}


# ---- exit code 3 -------------------------------------------------------------------------------


def test_no_room_is_said_before_anything_is_written(
    card: Path, shoot: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = tree(tmp_path)
    monkeypatch.setattr(Shoot, "free_space", lambda _: 100_000)
    stopped(ingest(card, shoot), "the disk has room for 0.1 MB. Nothing was done")
    assert tree(tmp_path) == before


def test_a_move_on_one_disk_needs_no_room(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Shoot, "free_space", lambda _: 0)
    assert ingest(card, shoot, "--move", "--yes").exit_code == 0


@pytest.mark.parametrize("after", [0, 3, 8])
def test_a_full_disk_stops_and_the_next_run_goes_on_by_its_plan(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, after: int
) -> None:
    monkeypatch.setattr(carry, "BATCH_FILES", 3)
    with monkeypatch.context() as patch:
        full_disk(patch, after=after)
        stopped(ingest(card, shoot), "the disk is full. Nothing is lost: make room")
    result = ingest(card, shoot, "--folder", "other {sequence}")
    assert result.exit_code == 0
    assert f"going on with the ingest of {card} that was stopped" in result.stderr
    assert "12 of 12 files verified" in result.stdout
    hold_whole(shoot, contents(card))
    assert destinations(shoot)[FIRST] == f"{BURST}/IMG_0001.JPG"


def test_ctrl_c_stops_and_the_next_run_goes_on(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        fails_at(patch, Shoot, "place", call=4, error=KeyboardInterrupt())
        stopped(ingest(card, shoot), "stopped. Nothing was lost")
    hold_consistent(shoot)
    assert ingest(card, shoot).exit_code == 0
    hold_whole(shoot, contents(card))


def test_a_second_run_at_the_same_time_stops(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    before = contents(shoot)
    with Ledger(shoot / ".sorter", hold=True):
        stopped(ingest(card, shoot), f"another run is at work here (process {os.getpid()}")
        stopped(ingest(card, shoot, "--dry-run"), "another run is at work here")
    assert contents(shoot) == before


def test_a_fault_of_ours_is_said_to_be_one_and_loses_nothing(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        fails_at(patch, Shoot, "place", call=4, error=ZeroDivisionError("limpet"))
        stopped(ingest(card, shoot), "this is a fault of the sorter")
    assert ingest(card, shoot).exit_code == 0
    hold_whole(shoot, contents(card))


# ---- exit code 4 -------------------------------------------------------------------------------


def test_a_copy_that_came_out_different_twice_is_named(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        spoiled_copies(patch, shoot, (card / FIRST).read_bytes(), times=2)
        result = ingest(card, shoot)
    assert result.exit_code == 4
    assert FIRST in result.stdout
    assert "its copy came out different, twice" in result.stdout
    assert "Do not format the card" in result.stdout
    assert not (shoot / BURST / "IMG_0001.JPG").exists()
    assert ingest(card, shoot).exit_code == 0


# ---- what a card may try -----------------------------------------------------------------------


@pytest.mark.parametrize(
    "lens",
    ["../../crab", "/etc/crab", "..", "a\nb\x1b[31m", "=cmd()|'crab'!A1", "CON", "x" * 400, "[b]"],
)
def test_a_hostile_lens_name_stays_inside_the_shoot(
    card: Path, shoot: Path, tmp_path: Path, lens: str
) -> None:
    for number in (1, 2, 3):
        picture(card / "DCIM" / "102TIDES" / f"IMG_{number:04d}.JPG", 2000 + number / 4, lens=lens)
    outside = {path for path in tree(tmp_path) if not path.startswith(str(shoot))}
    result = ingest(card, shoot, "--folder", "{lens}")
    assert result.exit_code == 0
    hold_whole(shoot, contents(card))
    assert {path for path in tree(tmp_path) if not path.startswith(str(shoot))} == outside
    assert "\x1b" not in result.output
    place = destinations(shoot)["DCIM/102TIDES/IMG_0001.JPG"]
    assert place.count("/") == 1
    assert len(os.fsencode(place.partition("/")[0])) <= 255
    for line in (shoot / "manifest.csv").read_text().splitlines()[1:]:
        assert not any(cell.startswith(("=", "+", "@")) for cell in line.split(","))


def test_a_system_that_lets_us_write_nothing_is_told_of_before(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = tree(tmp_path)
    monkeypatch.setattr(Shoot, "is_writable", lambda _: False)
    result = ingest(card, tmp_path / "shoot")
    stopped(result, "the system lets us write nothing there. Nothing was done")
    assert tree(tmp_path) == before


def test_a_disk_that_cannot_be_asked_for_its_room_stops(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(_: Shoot) -> int:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(Shoot, "free_space", fail)
    stopped(ingest(card, shoot), "Input/output error")
    assert not shoot.exists()
