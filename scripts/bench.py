#!/usr/bin/env python3
"""Measures `sorter scan` against general-purpose libraries, ingesting and handing off against doing so by hand.

The parts: scan (its stages), many (tiny files), group (long timelines in memory), carry (ingesting),
merge (a command run once a stack), check (the pictures of a stack looked at), report (trial merges,
and the page of a large shoot).
A card of so many frames is made once in a cache folder: JPEG and CR3 in turn, each padded with a
hole to the size that such files have, so that reading whole files would show. Ratios are of one run
on the same files with a warm cache; only they mean something on another machine. The libraries are
exiftool (the program, over the whole tree) and exiv2 (its binding, file by file in this process).
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image

from benching.carrying import loads, show_carrying
from benching.checking import show_checking
from benching.grouping import show_grouping
from benching.merging import show_merging
from benching.reporting import show_report, show_trials
from benching.shots import shot
from benching.timing import quietly, seconds, timed, with_memory
from cardmaking.containers import cr3, jpeg
from cardmaking.draw import encoded
from sorter.disk.card import Card
from sorter.grouping.account import account_for
from sorter.manifest.csvfile import manifest_bytes
from sorter.manifest.rows import make_rows
from sorter.reading.cards import read_card

HEAD = 64 * 1024  # what a reader of metadata needs at most of an ordinary file
SCAN = (sys.executable, "-m", "sorter", "scan")


def make_card(root: Path, frames: int, padded: int) -> None:
    """Writes the card, unless it is there already: JPEG and CR3 in turn."""
    stamp = root.parent / f"{root.name}.made"
    if stamp.exists():
        return
    small = encoded(Image.new("RGB", (320, 214), (90, 110, 120)), width=320, quality=70)
    for index in range(frames):
        folder = root / "DCIM" / f"{100 + index // 9999}ROCKP"
        folder.mkdir(parents=True, exist_ok=True)
        described, raw = shot(index), index % 2
        made = cr3(described, small, small, small, 4096) if raw else jpeg(described, small)
        path = folder / f"POOL{index % 9999 + 1:04d}.{'CR3' if raw else 'JPG'}"
        write_with_hole(path, made, padded, tail=0 if raw else 2)
    stamp.touch()


def write_with_hole(path: Path, made: bytes, size: int, tail: int) -> None:
    """The bytes with a hole before their last `tail` bytes, or behind them all."""
    with path.open("wb") as file:
        file.write(made[: len(made) - tail])
        file.truncate(max(size, len(made)) - tail)
        file.seek(0, os.SEEK_END)
        file.write(made[len(made) - tail :] if tail else b"")


def bare_read(root: Path) -> None:
    """Opens every file and reads its head: the least that any reader must do."""
    for folder, _, names in os.walk(root):
        for name in names:
            with open(os.path.join(folder, name), "rb", buffering=0) as file:  # noqa: PTH123, PTH118
                file.read(HEAD)


def stages(root: Path, runs: int) -> dict[str, float]:
    """Seconds of each stage of a scan, each on the outcome of the one before."""
    card = Card(root)
    listing = card.listing()
    reading = read_card(card, listing)
    account = account_for(reading)
    rows = make_rows(account)
    return {
        "listing": timed(card.listing, runs),
        "reading": timed(lambda: read_card(Card(root), listing), runs),
        "grouping": timed(lambda: account_for(reading), runs),
        "manifest": timed(lambda: manifest_bytes(make_rows(account)), runs),
        "bare open + read": timed(lambda: bare_read(root), runs),
        "whole process": timed(lambda: whole_process(root), runs),
    } | {"rows": float(len(rows)), "bytes read a file": bytes_a_file(root)}


def by_exiv2(root: Path) -> None:
    """Reads every file's metadata with the binding of exiv2, in this process."""
    import exiv2  # noqa: PLC0415 - only this needs it

    for folder, _, names in os.walk(root):
        for name in names:
            exiv2.ImageFactory.open(os.path.join(folder, name)).readMetadata()  # noqa: PTH118


def by_exiftool(root: Path) -> None:
    """Reads the tree's metadata with exiftool, in its quick way, as one process."""
    quietly(["exiftool", "-fast2", "-json", "-q", "-r", str(root)])


def show_references(root: Path, runs: int) -> None:
    """Prints the reading stage against exiv2 and the whole process against exiftool, run by run."""
    card = Card(root)
    listing = card.listing()
    pairs: list[tuple[str, Callable[[], object], str, Callable[[], object]]] = [
        ("reading", lambda: read_card(Card(root), listing), "exiv2", lambda: by_exiv2(root)),
    ]
    if shutil.which("exiftool"):
        ours = ("whole process", lambda: whole_process(root))
        pairs.append((*ours, "exiftool -fast2 -json", lambda: by_exiftool(root)))
    else:
        print("  exiftool is not installed (libimage-exiftool-perl): left out")
    for mine, one, theirs, other in pairs:
        taken = [(seconds(one), seconds(other)) for _ in range(runs)]
        ratio = statistics.median(a / b for a, b in taken)
        a, b = (statistics.median(column) for column in zip(*taken, strict=True))
        print(f"  {mine} {a:.3f} s, {theirs} {b:.3f} s: {ratio:.3f} x, or 1/{1 / ratio:.1f}")


# ---- many files -----------------------------------------------------------------------------


def make_tiny_card(root: Path, files: int) -> None:
    """Writes a card of so many JPEGs of a few kB, unless it is there already."""
    stamp = root.parent / f"{root.name}.made"
    if stamp.exists():
        return
    small = encoded(Image.new("RGB", (64, 48), (90, 110, 120)), width=64, quality=50)
    for index in range(files):
        path = root / "DCIM" / f"{100 + index // 9999}ROCKP" / f"POOL{index % 9999 + 1:04d}.JPG"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(jpeg(shot(index), small))
    stamp.touch()


def show_many(cache: Path, numbers: Sequence[int], runs: int) -> None:
    """Prints the whole process' seconds and memory for cards of these numbers of tiny files."""
    print("many tiny files, whole process with --manifest")
    each: list[float] = []
    for number in numbers:
        root = cache / f"tiny-{number}"
        make_tiny_card(root, number)
        taken = [scan_with_memory(root) for _ in range(runs)]
        median, most = statistics.median(one for one, _ in taken), max(two for _, two in taken)
        each.append(median / number * 1e3)
        print(
            f"  {number:7} files {median:7.2f} s {each[-1]:8.4f} ms a file, {most:.0f} MB at most"
        )
    print(f"  a file of the largest card costs {each[-1] / each[0]:.2f} x one of the smallest")


def scan_with_memory(root: Path) -> tuple[float, float]:
    """Seconds and the most memory in MB that a scan of this card took as a process of its own."""
    with TemporaryDirectory() as scratch:
        return with_memory([*SCAN, str(root), "--manifest", f"{scratch}/manifest.csv"])


def whole_process(root: Path) -> None:
    """`sorter scan --manifest` as its user calls it, start-up included."""
    with TemporaryDirectory() as scratch:
        subprocess.run(  # noqa: S603 - our own interpreter and our own module
            [*SCAN, str(root), "--manifest", f"{scratch}/manifest.csv"],
            check=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )


class CountingCard(Card):
    """A card that keeps how many bytes of each file were asked for."""

    def __init__(self, root: Path) -> None:
        super().__init__(root)
        self.each: list[int] = []

    def count(self, amount: int) -> None:
        """Keeps the bytes of one file."""
        super().count(amount)
        self.each.append(amount)


def bytes_a_file(root: Path) -> float:
    """How many bytes of a file the reader asked for: the median over the card."""
    card = CountingCard(root)
    read_card(card, card.listing())
    return statistics.median(card.each)


def start_up(runs: int) -> tuple[float, float]:
    """Seconds for `sorter --help` and for importing click alone, run in turn; medians."""
    scripts = Path(sys.executable).parent
    ours, bare = [], []
    for _ in range(runs):
        ours.append(_process([str(scripts / "sorter"), "--help"]))
        bare.append(_process([sys.executable, "-c", "import click"]))
    return statistics.median(ours), statistics.median(bare)


def _process(command: list[str]) -> float:
    return seconds(lambda: quietly(command))


def show_scanning(root: Path, chosen: argparse.Namespace) -> None:
    """Prints the stages of a scan, and what starting up costs."""
    print(f"card of {chosen.frames} frames, {chosen.padded / 1e6:.0f} MB each (holes): {root}")
    make_card(root, chosen.frames, chosen.padded)
    figures = stages(root, chosen.runs)
    bare = figures["bare open + read"]
    print(f"medians of {chosen.runs} runs, warm cache, {os.cpu_count()} cores")
    for name in ("bare open + read", "listing", "reading", "grouping", "manifest", "whole process"):
        taken = figures[name]
        each = taken / chosen.frames * 1e3
        print(f"  {name:17} {taken:7.3f} s  {each:7.4f} ms a frame  {taken / bare:6.2f} x bare")
    print(f"  bytes read a file: {figures['bytes read a file']:,.0f}; rows: {figures['rows']:.0f}")
    show_references(root, chosen.references)
    ours, click_alone = start_up(4 * chosen.runs)
    print(
        f"sorter --help {ours * 1e3:.0f} ms, python -c 'import click' {click_alone * 1e3:.0f} ms:"
    )
    print(f"  ratio {ours / click_alone:.2f}")


def main() -> None:
    """Prints a table for each part that was chosen."""
    parser = argparse.ArgumentParser(
        description=__doc__, epilog="example: scripts/bench.py --part carry --size 100000"
    )
    parser.add_argument(
        "--part",
        choices=("scan", "many", "group", "carry", "merge", "check", "report", "all"),
        default="all",
    )
    parser.add_argument("--frames", type=int, default=2000, help="of the card that is scanned")
    parser.add_argument("--runs", type=int, default=5)
    parser.add_argument("--references", type=int, default=3, help="runs against the libraries")
    parser.add_argument("--many", type=int, nargs="+", default=[10_000, 100_000], metavar="N")
    parser.add_argument(
        "--grouped", type=int, nargs="+", default=[10_000, 100_000], metavar="N", help="frames"
    )
    parser.add_argument("--padded", type=int, default=30_000_000, help="bytes a file, as a hole")
    parser.add_argument("--files", type=int, help="of the card that is carried; else two cards are")
    parser.add_argument("--size", type=int, help="bytes of each of these")
    parser.add_argument("--stacks", type=int, default=200, help="that are handed to a command")
    parser.add_argument(
        "--slices", type=int, nargs="+", default=[25, 200], metavar="N", help="of a stack"
    )
    parser.add_argument("--cold", action="store_true", help="drop the cache before each carrying")
    parser.add_argument("--cache", type=Path, default=Path("build/bench"))
    chosen = parser.parse_args()
    if chosen.part in {"scan", "all"}:
        show_scanning(chosen.cache / f"card-{chosen.frames}-{chosen.padded}", chosen)
    if chosen.part in {"many", "all"}:
        show_many(chosen.cache, chosen.many, chosen.references)
    if chosen.part in {"group", "all"}:
        show_grouping(chosen.cache, chosen.grouped, chosen.references)
    if chosen.part in {"carry", "all"}:
        carried = loads(chosen.files, chosen.size)
        show_carrying(chosen.cache, carried, chosen.runs, cold=chosen.cold)
    if chosen.part in {"merge", "all"}:
        show_merging(chosen.cache, chosen.stacks, chosen.runs)
    if chosen.part in {"check", "all"}:
        show_checking(chosen.cache.absolute(), chosen.slices, chosen.runs)
    if chosen.part in {"report", "all"}:
        show_trials(chosen.cache.absolute(), chosen.slices, chosen.runs)
        show_report(chosen.cache.absolute())


if __name__ == "__main__":
    main()
