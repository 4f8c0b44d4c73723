"""What a card, its pictures and the command line may try: names, links, pipes, and claims of any size.

A spreadsheet computes what begins with = + - @ (OWASP, "CSV Injection"); a terminal obeys what begins
with ESC (ECMA-48); U+202E turns the writing (Unicode, UAX #9).
"""

from __future__ import annotations

import csv
import io
import os
import shutil
import socket
import struct
import subprocess
import tracemalloc
import zlib
from collections.abc import Iterator
from pathlib import Path

import piexif
import pytest
from click.testing import CliRunner, Result

from sorter.cli import commands
from sorter.errors import LedgerDamaged
from sorter.manifest.rows import spelled
from sorter.planning import names
from writing.cards import (
    ANEMONES,
    LIMPETS,
    contents,
    destinations,
    found,
    hold_whole,
    ingest,
    limpets,
    picture,
    rows,
    tide_card,
    tree,
    undo,
)
from writing.faults import other_devices, other_disks

OBEYED = ("\x1b", "\x07", "\x9b", "\u202e", "\0", "\r", "[31m")
SAID = [
    *("../../crab", "/etc/crab", "..", ".", "???", "low tide. ", "CON", "nul.txt", "COM1"),
    *("a\nb", "a\0b", "=cmd()|'crab'!A1", "@SUM(1)", "-2+3", "[bold red]crab[/]", "{lens}"),
    *("\x1b]0;crab\x07", "\x1b[2J", "\x9b31m", "crab\u202egpj", "x" * 300, "潮" * 300),
]
FILES = [
    *("a\nb.JPG", "\x1b[2J.JPG", "\x1b]0;crab\x07.JPG", "crab\u202egpj.JPG", "-rf.JPG", "+1.JPG"),
    *("=cmd().JPG", "@SUM(1).JPG", "back\\slash.JPG", "tide:pool.JPG", "dots..", "blank.JPG "),
    *("CON.JPG", "nul.JPG", "[bold red]crab.JPG", "x" * 251 + ".JPG", "潮" * 83 + ".JPG"),
    *(" .JPG", "~", "*.JPG", os.fsdecode(b"crab\xff\xfe.JPG"), os.fsdecode(b"\xe2\x28.JPG")),
]


def sorter(*arguments: str | Path) -> Result:
    """The command's outcome, with what a terminal would get: escape sequences are not taken out."""
    given = [str(each) for each in arguments]
    return CliRunner().invoke(commands, given, prog_name="sorter", color=True)


def harmless(result: Result) -> Result:
    """The outcome, which holds nothing that a terminal obeys and is no fault of ours."""
    for text in (result.stdout, result.stderr):
        assert [sign for sign in OBEYED if sign in text] == []
    assert "a fault of the sorter" not in result.stderr
    return result


def hold_no_formula(manifest: Path) -> None:
    """Fails where a spreadsheet would compute a cell. A number may well be negative."""
    for row in csv.DictReader(io.StringIO(manifest.read_text(encoding="utf-8"), newline="")):
        for column, cell in row.items():
            if column != "exposure_bias_ev":
                assert not cell.startswith(("=", "+", "-", "@", "\t", "\r")), (column, cell)


def hold_inside(shoot: Path) -> None:
    """Fails where a file of the shoot has a name that some system refuses."""
    for row in rows(shoot):
        for part in row.destination.split("/") if row.destination else ():
            assert names.is_legal(part), row.destination
        assert row.destination.count("/") == (1 if row.destination else 0)


def hold_for_sha256sum(shoot: Path) -> None:
    tool = shutil.which("sha256sum")
    assert tool, "sha256sum is part of GNU coreutils"
    done = subprocess.run(  # noqa: S603  named in this file
        [tool, "--check", "--strict", "--quiet", "SHA256SUMS"],
        cwd=shoot, capture_output=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stdout, done.stderr) == (0, b"", b"")


def saying(path: Path, after_s: float, text: str) -> None:
    """A picture whose Exif says the text wherever a body writes words."""
    picture(path, after_s)
    exif, told = piexif.load(str(path)), text.encode()
    exif["0th"] |= {piexif.ImageIFD.Make: told, piexif.ImageIFD.Model: told}
    exif["Exif"] |= {piexif.ExifIFD.LensModel: told, piexif.ExifIFD.BodySerialNumber: told}
    piexif.insert(piexif.dump(exif), str(path))


def saying_card(card: Path, said: list[str]) -> Path:
    """A burst of two frames for each text."""
    for place, text in enumerate(said):
        for number in (1, 2):
            path = card / "DCIM" / f"{100 + place}TIDES" / f"IMG_{number:04d}.JPG"
            saying(path, 120 * place + number / 4, text)
    return card


def named_card(card: Path, given: list[str]) -> Path:
    for place, name in enumerate(given):
        made = picture(card / "DCIM" / "100TIDES" / "made.JPG", 120 * place, shade=place)
        made.rename(made.parent / name)
    return card


def commands_over(card: Path, shoot: Path, *options: str) -> Iterator[Result]:
    """Every command over the card and its shoot, one after the other."""
    out = shoot.with_name("scanned")
    out.mkdir(exist_ok=True)
    asked = ("--manifest", out / "m.csv", "--write-corrections", out / "c.csv")
    yield sorter("scan", card, *asked)
    yield sorter("scan", card, "--why")
    yield sorter("ingest", card, shoot, "--dry-run", *options)
    yield sorter("ingest", card, shoot, *options)
    yield sorter("ingest", card, shoot, *options)
    yield sorter("verify", shoot)
    handed = ("--list", shoot.with_name("lists"), "--folders", shoot.with_name("stacks"))
    yield sorter("handoff", shoot, *handed, "--kind", "burst", "--kind", "single")
    hold_no_formula(out / "m.csv")
    hold_no_formula(out / "c.csv")


# ---- what pictures say -------------------------------------------------------------------------


@pytest.mark.parametrize("folder", ["{lens}", "{camera} {serial}_{name}", "{serial}"])
def test_what_exif_says_stays_in_the_shoot_and_moves_no_cursor(tmp_path: Path, folder: str) -> None:
    card, shoot = saying_card(tmp_path / "card", SAID), tmp_path / "deep" / "shoot"
    before = tree(card)
    shoot.parent.mkdir()
    for result in commands_over(card, shoot, "--folder", folder, "--name", "=../crab\x1b[2J"):
        assert harmless(result).exit_code == 0
    hold_whole(shoot, contents(card))
    hold_inside(shoot)
    hold_no_formula(shoot / "manifest.csv")
    hold_for_sha256sum(shoot)
    assert {path.name for path in shoot.parent.iterdir()} == {"shoot", "lists", "stacks", "scanned"}
    assert harmless(sorter("undo", shoot, "--yes")).exit_code == 0
    assert tree(card) == before
    assert not shoot.exists()


@pytest.mark.parametrize("text", SAID)
def test_a_name_of_the_user_is_one_component(tmp_path: Path, text: str) -> None:
    card, shoot = tide_card(tmp_path / "card"), tmp_path / "shoot"
    (card / "latest.JPG").unlink()
    harmless(sorter("ingest", card, shoot, "--name", text, "--folder", "{name}"))
    hold_inside(shoot)
    hold_whole(shoot, contents(card))


@pytest.mark.parametrize("text", SAID)
def test_a_name_in_a_corrections_file_is_one_component(tmp_path: Path, text: str) -> None:
    card, shoot = tide_card(tmp_path / "card"), tmp_path / "shoot"
    (card / "latest.JPG").unlink()
    file = io.StringIO(newline="")
    table = [("first", "last", "kind", "name")]
    table += [(f"{LIMPETS}/IMG_0001.JPG", f"{LIMPETS}/IMG_0004.JPG", "manual-stack", text)]
    csv.writer(file).writerows(table)
    (tmp_path / "corrections.csv").write_bytes(file.getvalue().encode())
    wish = ("--folder", "{name}", "--corrections", tmp_path / "corrections.csv")
    result = harmless(sorter("ingest", card, shoot, *wish))
    if result.exit_code == 2:  # a sign that no CSV holds
        assert "corrections" in result.stderr
        assert not shoot.exists()
    else:
        hold_inside(shoot)
        hold_whole(shoot, contents(card))


# ---- names on the card -------------------------------------------------------------------------


@pytest.mark.parametrize("moves", [False, True])
def test_names_on_the_card_are_kept_in_the_manifest_and_legal_in_the_shoot(
    tmp_path: Path, *, moves: bool
) -> None:
    card, shoot = named_card(tmp_path / "card", FILES), tmp_path / "shoot"
    sources = {f"DCIM/100TIDES/{name}" for name in FILES}
    before = contents(card)
    assert before.keys() == sources
    for result in commands_over(card, shoot, *(("--move", "--yes") if moves else ())):
        harmless(result)
    assert {row.source for row in rows(shoot)} == {spelled(source) for source in sources}
    assert len(contents(shoot)) == len(FILES) + 2
    hold_inside(shoot)
    hold_no_formula(shoot / "manifest.csv")
    hold_for_sha256sum(shoot)
    assert harmless(sorter("undo", shoot, "--yes", "--card", card)).exit_code == 0
    assert contents(card) == before


def test_a_name_that_is_as_long_as_can_be_takes_a_suffix(tmp_path: Path) -> None:
    long = ["x" * 251 + ".JPG", "潮" * 83 + "xx.JPG"]
    card = tmp_path / "card"
    for place, folder in enumerate((LIMPETS, ANEMONES)):
        for number, name in enumerate(long):
            picture(card / folder / name, 400 * place + 120 * number, shade=place)
    report = ingest(card, tmp_path / "shoot")
    assert report.is_whole
    places = destinations(tmp_path / "shoot")
    for name in long:
        one, two = places[f"{LIMPETS}/{name}"], places[f"{ANEMONES}/{name}"]
        assert one == f"singles/{name}"
        assert two.endswith("_2.JPG")
        assert len(os.fsencode(two.rpartition("/")[2])) in (253, 254, 255)
    hold_whole(tmp_path / "shoot", contents(card))


def test_a_long_name_goes_back_to_a_card_on_another_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card, shoot = tmp_path / "card", tmp_path / "shoot"
    picture(card / LIMPETS / ("x" * 251 + ".JPG"), 0)
    picture(card / LIMPETS / "IMG_0002.JPG", 300)
    before = contents(card)
    other_devices(monkeypatch)
    ingest(card, shoot, moves=True)
    assert contents(card) == {}
    other_disks(monkeypatch)
    undone = undo(shoot)
    assert (undone.returned, undone.stay) == (2, {})
    assert contents(card) == before


# ---- what is no plain file ---------------------------------------------------------------------


def odd_files(folder: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, str]:
    """Links, a pipe, a socket and, where we may make one, a device: names and what is said of them."""
    folder.mkdir(parents=True, exist_ok=True)
    targets = {"in.JPG": "IMG_0001.JPG", "out.JPG": "/etc/hostname", "loop.JPG": "loop.JPG"}
    targets |= {"dangling.JPG": "nothing", "folder": "/etc", "up": "..", "clip.MP4": "/dev/zero"}
    for name, target in targets.items():
        (folder / name).symlink_to(target)
    said = dict.fromkeys(targets, "a link: not followed")
    os.mkfifo(folder / "pipe.JPG")
    with monkeypatch.context() as patch, socket.socket(socket.AF_UNIX) as one:
        patch.chdir(folder)  # a socket's path is short
        one.bind("socket.JPG")
    said |= {"pipe.JPG": "a pipe: not opened", "socket.JPG": "a socket: not opened"}
    if os.geteuid() == 0:
        os.mknod(folder / "zero.JPG", 0o020666, os.makedev(1, 5))
        said["zero.JPG"] = "a device: not opened"
    return said


@pytest.mark.parametrize("moves", [False, True])
def test_what_is_no_plain_file_is_listed_and_neither_opened_nor_followed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, moves: bool
) -> None:
    card, shoot = tmp_path / "card", tmp_path / "shoot"
    picture(card / LIMPETS / "IMG_0001.JPG", 0)
    said = odd_files(card / LIMPETS, monkeypatch)
    results = [*commands_over(card, shoot, *(("--move", "--yes") if moves else ()))]
    assert [harmless(result).exit_code for result in results] == [1] * 6 + [0]
    told = {row.source: row for row in rows(shoot)}
    assert told.keys() == {f"{LIMPETS}/{name}" for name in ("IMG_0001.JPG", *said)}
    for name, reason in said.items():
        row = told[f"{LIMPETS}/{name}"]
        assert (row.destination, row.sha256) == ("", "")
        assert row.notes.startswith(reason)
        assert os.path.lexists(card / LIMPETS / name)
    assert {path for path in contents(shoot) if "/" in path} == {"singles/IMG_0001.JPG"}


def test_what_is_no_plain_file_in_the_shoot_is_neither_opened_nor_followed_nor_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card, shoot = tide_card(tmp_path / "card"), tmp_path / "shoot"
    (card / "latest.JPG").unlink()
    odd = odd_files(shoot / "singles", monkeypatch)
    os.mkfifo(shoot / "singles" / "IMG_0001.JPG")
    (shoot / "singles" / "IMG_0002.JPG").symlink_to("/dev/zero")
    for result in [*commands_over(card, shoot)][3:]:
        harmless(result)
    places = destinations(shoot)
    assert places[f"{ANEMONES}/IMG_0001.JPG"] == "singles/IMG_0001_2.JPG"
    assert places[f"{ANEMONES}/IMG_0002.JPG"] == "singles/IMG_0002_2.JPG"
    added = {f"singles/{name}" for name in (*odd, "IMG_0001.JPG", "IMG_0002.JPG")}
    linked = {f"singles/{name}" for name in ("folder", "up")}  # links to folders are no files
    assert set(found(shoot).added) == added - linked


@pytest.mark.parametrize("name", ["manifest.csv", "SHA256SUMS"])
def test_a_pipe_in_the_place_of_a_list_is_not_waited_for(tmp_path: Path, name: str) -> None:
    card, shoot = tide_card(tmp_path / "card"), tmp_path / "shoot"
    ingest(card, shoot)
    data = (shoot / name).read_bytes()
    (shoot / name).unlink()
    os.mkfifo(shoot / name)
    ingest(card, shoot)
    assert (shoot / name).read_bytes() == data
    (shoot / name).unlink()
    os.mkfifo(shoot / name)
    undo(shoot)
    assert [path.name for path in shoot.iterdir()] == [name]  # what is not ours stays


# ---- what the command line says ------------------------------------------------------------------


def test_hostile_paths_of_card_and_shoot_are_spelled_out(tmp_path: Path) -> None:
    card, shoot = tide_card(tmp_path / "car\x1b[2Jd\u202e"), tmp_path / "sho\x1b]0;crab\x07ot"
    for result in commands_over(card, shoot):
        harmless(result)
    (shoot / "0001_burst_4" / "IMG_0001.JPG").write_bytes(b"cropped")
    (shoot / "\x1b[2J").write_bytes(b"a crab")
    assert "\\x1b[2J" in harmless(sorter("verify", shoot)).stdout
    assert "stay in" in harmless(sorter("undo", shoot, "--yes")).stdout


@pytest.mark.parametrize(
    "arguments",
    [
        *(["\x1b[2J"], ["scan"], ["scan", "--\x1b[2J"], ["scan", "crab", "\x1b[2J"]),
        *(["ingest", "crab", "shoot", "--folder", "{\x1b[2J}"], ["verify", "\x1b[2J"]),
        *(["scan", "\x1b]0;crab\x07"], ["undo", "\x1b[2J", "--yes"], ["handoff", "\x1b[2J"]),
        ["scan", ".", "--clock", "\x1b[2J=+1h"],
    ],
)
def test_what_a_wrong_command_line_holds_is_spelled_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str]
) -> None:
    monkeypatch.chdir(limpets(tmp_path / "card", 1))
    assert harmless(sorter(*arguments)).exit_code == 2


@pytest.mark.parametrize(
    "pattern",
    [
        *("{kind.__class__}", "{kind[0]}", "{0}", "{}", "{name:{kind}}", "{kind:{name}}"),
        *("{sequence:1000000000d}", "{f_number:.1000000000f}", "{name:>1000000000}"),
        *("{lens!r:>9}", "{sequence:{sequence:{sequence}}}", "../{kind}", "{kind}\\crab"),
    ],
)
def test_a_pattern_reaches_values_alone_and_takes_no_memory(tmp_path: Path, pattern: str) -> None:
    card = tide_card(tmp_path / "card")
    tracemalloc.start()
    result = harmless(sorter("ingest", card, tmp_path / "shoot", "--folder", pattern))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert result.exit_code == 2
    assert result.stderr.startswith("Error: --folder ")
    assert peak < 50_000_000
    assert not (tmp_path / "shoot").exists()


# ---- claims of any size ------------------------------------------------------------------------


def chunk(kind: bytes, data: bytes) -> bytes:
    """A chunk of a PNG (ISO/IEC 15948, 5.3)."""
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def png(*chunks: bytes, side: int = 2**31 - 1) -> bytes:
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", side, side, 16, 6, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + b"".join(chunks) + chunk(b"IEND", b"")


def huge_jpeg(made: bytes) -> bytes:
    """The picture with 65535 by 65535 written into its frame header (ISO/IEC 10918-1, B.2.2)."""
    at = made.index(b"\xff\xc0") + 5
    return made[:at] + b"\xff\xff\xff\xff" + made[at + 4 :]


def box(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data) + 8) + kind + data


def huge_heif() -> bytes:
    """Metadata that claim the largest sizes and counts there are (ISO/IEC 14496-12 and 23008-12)."""
    most = b"\xff" * 4
    ispe = box(b"ispe", bytes(4) + most + most)
    iloc = box(b"iloc", b"\x02\0\0\0\x88\x80" + most + bytes(64))
    iinf = box(b"iinf", b"\x01\0\0\0" + most)
    properties = box(b"iprp", box(b"ipco", ispe))
    return box(b"ftyp", b"heic\0\0\0\0mif1heic") + box(b"meta", bytes(4) + iinf + iloc + properties)


def test_what_claims_to_be_enormous_is_carried_as_it_is_without_being_unpacked(
    tmp_path: Path,
) -> None:
    card, shoot = tmp_path / "card" / LIMPETS, tmp_path / "shoot"
    card.mkdir(parents=True)
    bomb = zlib.compress(bytes(200_000_000), 9)  # two hundred kilobytes
    profile, text = chunk(b"iCCP", b"tide\0\0" + bomb), chunk(b"zTXt", b"limpet\0\0" + bomb)
    (card / "IMG_0001.PNG").write_bytes(png(profile, text, chunk(b"IDAT", bomb)))
    made = picture(card / "IMG_0002.JPG", 0)
    made.write_bytes(huge_jpeg(made.read_bytes()))
    (card / "IMG_0003.HIF").write_bytes(huge_heif())
    tracemalloc.start()
    scanned = harmless(sorter("scan", tmp_path / "card"))
    ingested = harmless(sorter("ingest", tmp_path / "card", shoot))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert (scanned.exit_code, ingested.exit_code) == (0, 0)
    assert peak < 60_000_000  # threads hold a block each; unpacked it is 200 MB
    hold_whole(shoot, contents(tmp_path / "card"))


# ---- the ledger's own files ---------------------------------------------------------------------


@pytest.mark.parametrize("how", ["link", "pipe", "folder"])
def test_a_ledger_that_is_no_plain_file_is_refused(tmp_path: Path, how: str) -> None:
    card, shoot, own = limpets(tmp_path / "card", 1), tmp_path / "shoot", tmp_path / "own.db"
    own.write_bytes(b"")
    (shoot / ".sorter").mkdir(parents=True)
    ledger = shoot / ".sorter" / "ledger.db"
    if how == "link":
        ledger.symlink_to(own)
    elif how == "pipe":
        os.mkfifo(ledger)
    else:
        ledger.mkdir()
    with pytest.raises(LedgerDamaged, match="no plain file"):
        ingest(card, shoot)
    assert own.read_bytes() == b""


@pytest.mark.parametrize("how", ["link", "pipe"])
def test_who_holds_the_ledger_is_never_written_elsewhere(tmp_path: Path, how: str) -> None:
    card, shoot, own = limpets(tmp_path / "card", 1), tmp_path / "shoot", tmp_path / "own.txt"
    own.write_text("low tide at 13:40")
    (shoot / ".sorter").mkdir(parents=True)
    holder = shoot / ".sorter" / "holder"
    if how == "link":
        holder.symlink_to(own)
    else:
        os.mkfifo(holder)
    ingest(card, shoot)
    assert own.read_text() == "low tide at 13:40"
    assert not holder.exists()
