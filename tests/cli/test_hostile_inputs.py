"""Whatever is named as a file to be read: one sentence, exit code 2, soon and within bounds.

Real processes, for pipes have two ends (what names a file alone begins with the modules loaded). What pipes and devices do is in pipe(7), fifo(7) and null(4); that
a shell hands over the name of a pipe for `<(…)` is in bash(1).
"""

from __future__ import annotations

import os
import resource
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Final

import pytest

import processes
import sorter
from sorter.manifest.bounded import MOST_LINES
from writing.cards import LIMPETS, ingest, limpets

HOME = Path(sorter.__file__).parents[1]
ROW: Final = f"{LIMPETS}/IMG_0001.JPG,{LIMPETS}/IMG_0002.JPG,burst,limpets\n"
GOOD: Final = f"first,last,kind,name\n{ROW}"
LIMITS: Final = {resource.RLIMIT_CPU: 15, resource.RLIMIT_DATA: 1_200_000_000}
"""Seconds of processor time, for how long the rest takes is a matter of what else runs; and bytes that a process
may hold: a million rows as values, beside the modules. Who needs more is killed, or is refused more memory."""


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return limpets(tmp_path_factory.mktemp("pool") / "card")


def ran(command: str, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    words = [command, *map(str, arguments)]
    return processes.ran(words, HOME, os.environ, patience_s=120, limits=LIMITS)


def refused(done: subprocess.CompletedProcess[str], *says: str) -> None:
    assert done.returncode == 2, done
    assert done.stdout == ""
    assert done.stderr.startswith("Error: ")
    assert done.stderr.count("\n") == 1
    assert len(done.stderr) < 2_000
    for words in says:
        assert words in done.stderr


# ---- files that are none, or have no end -------------------------------------------------------


def folder(path: Path) -> None:
    path.mkdir()


def sparse(path: Path) -> None:
    with path.open("wb") as file:
        file.truncate(5_000_000_000)


def nuls(path: Path) -> None:
    path.write_bytes(bytes(20_000_000))


def one_line(path: Path) -> None:
    path.write_bytes(b"limpet," * 3_000_000)


def one_cell(path: Path) -> None:
    path.write_bytes(GOOD.encode() + b'"' + b"limpet\n" * 3_000_000)


def not_utf8(path: Path) -> None:
    path.write_bytes(GOOD.encode() + b"splash" * 3_000_000 + b"\xff")


def lone_pipe(path: Path) -> None:
    os.mkfifo(path)


def dangling(path: Path) -> None:
    path.symlink_to("nowhere")


def nobody(_: Path) -> None:
    pass


def device(name: str) -> Callable[[Path], None]:
    return lambda path: path.symlink_to(name)


SHAPES: Final = {
    "a folder": (folder, "directory"),
    "5 GB": (sparse, "it is longer than"),
    "NULs": (nuls, ""),
    "one line": (one_line, ""),
    "one cell": (one_cell, ""),
    "no UTF-8": (not_utf8, ""),
    "a pipe without a writer": (lone_pipe, "it is a pipe to which nobody wrote for 5 s"),
    "a dead link": (dangling, "No such file"),
    "nothing": (nobody, "No such file"),
    "zeros": (device("/dev/zero"), "it is a device: name a file or a pipe"),
    "noise": (device("/dev/random"), "it is a device: name a file or a pipe"),
}


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("option", ["--corrections", "--settings"])
def test_what_is_no_file_of_ours_is_refused(
    card: Path, tmp_path: Path, option: str, shape: str
) -> None:
    make, says = SHAPES[shape]
    path = tmp_path / "given"
    make(path)
    refused(ran("scan", card, option, path), str(path), says)


@pytest.mark.parametrize(
    ("option", "shape"),
    [
        *(("--best", shape) for shape in SHAPES if shape not in ("nothing", "a dead link")),
        ("--verdict", "5 GB"),
        ("--trim", "one line"),
    ],
)
def test_so_are_the_findings_of_a_shoot(tmp_path: Path, option: str, shape: str) -> None:
    limpets(tmp_path / "card")
    ingest(tmp_path / "card", tmp_path / "shoot")
    make, says = SHAPES[shape]
    make(tmp_path / "shoot" / "checks.csv")
    more = {"--best": ["1"], "--verdict": ["complete"], "--trim": []}[option]
    done = ran("handoff", tmp_path / "shoot", "--list", tmp_path / "lists", option, *more)
    refused(done, "checks.csv", says)
    assert not (tmp_path / "lists").exists()


@pytest.mark.parametrize("command", ["check", "verify"])
@pytest.mark.parametrize("name", ["checks.csv", "manifest.csv"])
@pytest.mark.parametrize("shape", ["5 GB", "a pipe without a writer", "zeros"])
def test_what_lies_in_a_lists_place_is_not_waited_for(
    tmp_path: Path, command: str, name: str, shape: str
) -> None:
    limpets(tmp_path / "card")
    shoot = tmp_path / "shoot"
    ingest(tmp_path / "card", shoot)
    (shoot / name).unlink(missing_ok=True)
    SHAPES[shape][0](shoot / name)
    done = ran(command, shoot)
    assert "Traceback" not in done.stderr
    assert done.returncode in (0, 1, 2, 3, 4)


# ---- pipes -----------------------------------------------------------------------------------


def in_a_shell(card: Path, line: str) -> subprocess.CompletedProcess[str]:
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("the shell that is tested with is not here")
    return subprocess.run(  # noqa: S603  named in this file
        [bash, "-c", line, "bash", sys.executable, card],
        capture_output=True, check=False, cwd=HOME, timeout=120, encoding="utf-8",
    )  # fmt: skip


FEED: Final = f"printf 'first,last,kind,name\\n{ROW.strip()}\\n'"
SCAN: Final = '"$1" -m sorter scan "$2" --json --corrections'


@pytest.mark.parametrize(
    "line",
    [
        f"{SCAN} <({FEED})",
        f"{SCAN} <(sleep 1; {FEED}; sleep 1)",
        f"{FEED} | {SCAN} /dev/stdin",
        f"(sleep 6; {FEED}) | {SCAN} /dev/stdin",
        f'd=$(mktemp -d); mkfifo "$d/p"; ({FEED} > "$d/p") & {SCAN} "$d/p"; rm -r "$d"',
        f'd=$(mktemp -d); mkfifo "$d/p"; (sleep 2; {FEED} > "$d/p") & {SCAN} "$d/p"; rm -r "$d"',
        f'd=$(mktemp -d); {FEED} > "$d/f"; {SCAN} /dev/stdin < "$d/f"; rm -r "$d"',
    ],
    ids=["substituted", "slow", "stdin", "late", "named", "named late", "file on stdin"],
)
def test_corrections_come_out_of_a_pipe(card: Path, line: str) -> None:
    done = in_a_shell(card, line)
    assert done.returncode == 0, done
    assert '"name": "limpets"' in done.stdout


def test_settings_come_out_of_a_pipe(card: Path) -> None:
    scan = '"$1" -m sorter scan "$2" --settings'
    assert in_a_shell(card, f"{scan} <(printf '[grouping]\\napart_s = 300\\n')").returncode == 0
    refused(in_a_shell(card, f"{scan} <(printf 'apart')"), "this is no TOML")
    assert in_a_shell(card, f"{scan} /dev/null").returncode == 0


@pytest.mark.parametrize("option", ["--corrections", "--settings"])
def test_an_endless_pipe_is_refused(card: Path, option: str) -> None:
    done = in_a_shell(card, f'yes | "$1" -m sorter scan "$2" {option} /dev/stdin')
    refused(done, "it is longer than")
    refused(in_a_shell(card, 'true | "$1" -m sorter scan "$2" --corrections /dev/stdin'), "the column 'first' is missing")  # fmt: skip


# ---- rows by the million -------------------------------------------------------------------------


def _rows(how: str, count: int) -> str:
    if how == "nonsense":
        return "".join(f"POOL/LIMPET_{n:07d}.JPG,,burst,limpets\n" for n in range(count))
    if how == "repeats":
        return ROW * count
    if how == "commas":
        return ",,,\n" * count
    return "\n" * count


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ("nonsense", "no file of this card is 'POOL/LIMPET_0000000.JPG'"),
        ("repeats", "line 3: line 2 has some of these frames already"),
    ],
)
def test_a_million_rows_that_do_not_fit_are_one_sentence(
    card: Path, tmp_path: Path, how: str, says: str
) -> None:
    path = tmp_path / "given.csv"
    path.write_text(f"first,last,kind,name\n{_rows(how, 1_000_000)}")
    refused(ran("scan", card, "--corrections", path), says)


@pytest.mark.parametrize("how", ["commas", "line ends"])
def test_a_million_rows_that_say_nothing_are_passed_over(
    card: Path, tmp_path: Path, how: str
) -> None:
    path = tmp_path / "given.csv"
    path.write_text(f"{GOOD}{_rows(how, 1_000_000)}")
    assert ran("scan", card, "--corrections", path).returncode == 0


def test_more_lines_than_a_spreadsheet_has_are_refused(card: Path, tmp_path: Path) -> None:
    path = tmp_path / "given.csv"
    path.write_text("\n" * (MOST_LINES + 1))
    says = f"there are more than {MOST_LINES} lines. Name another file."
    refused(ran("scan", card, "--corrections", path), says)
