"""Puts random cards on disk: real heads of files around one tiny picture; and the command for it."""

from __future__ import annotations

import argparse
import csv
import os
import re
import sys
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from PIL import Image, ImageDraw

from cardmaking import containers
from cardmaking.cameras import BY_NAME, CAMERAS
from cardmaking.clearing import RefusedError, check, clear, is_truth
from cardmaking.placing import as_csv, put
from cardmaking.randomcard import COLUMNS, planned, truth

if TYPE_CHECKING:
    from collections.abc import Sequence

    from cardmaking.randomcard import Named, Taken

PICTURE_SIZE = (64, 48)
RAW_SIZE = 512
RAW_AND_JPEG = 13
MOST_WORKERS = 2
OWN_NAME = re.compile(r"card-\d+(-truth\.csv)?")


# ---- bytes ----------------------------------------------------------------------------------


@cache
def picture() -> bytes:
    """The one picture of all cards: a limpet, as small as a JPEG gets."""
    image = Image.new("RGB", PICTURE_SIZE, (86, 104, 98))
    ImageDraw.Draw(image).ellipse((16, 10, 48, 40), fill=(150, 138, 110))
    out = BytesIO()
    image.save(out, "JPEG", quality=30, optimize=True)
    return out.getvalue()


@cache
def _thumbnail() -> bytes:
    return containers.thumbnail(picture())


def contents(taken: Taken, source: str, number: int) -> bytes:
    """The bytes of one of the press's files; number makes them differ from all others."""
    shot = taken.shot
    if taken.press.harm == "empty":
        return b""
    match source.rpartition(".")[2]:
        case "CR3":
            recorded = RAW_AND_JPEG if _has(taken, "JPG") else containers.CR3_ONLY
            small = picture()
            return containers.cr3(shot, small, _thumbnail(), small, RAW_SIZE, recorded=recorded)
        case "ORF":
            return containers.orf(shot, picture(), RAW_SIZE)
        case "MP4":
            return containers.mp4([picture()] * 3, shot.captured)
        case "xmp":
            return containers.xmp_sidecar(shot, rating=number % 6)
        case _:
            recorded = RAW_AND_JPEG if _has(taken, "CR3") else 1
            whole = _marked(containers.jpeg(shot, picture(), recorded=recorded), number)
            return whole[: len(whole) - len(picture()) // 2] if taken.press.harm == "cut" else whole


def _has(taken: Taken, suffix: str) -> bool:
    return any(source.endswith(suffix) for source in taken.files)


def _marked(jpeg: bytes, number: int) -> bytes:
    """The JPEG with a comment behind its Exif, so that no two frames have the same bytes."""
    behind = 4 + int.from_bytes(jpeg[4:6])
    text = f"frame {number:06}".encode()
    comment = b"\xff\xfe" + (len(text) + 2).to_bytes(2) + text
    return jpeg[:behind] + comment + jpeg[behind:]


# ---- writing --------------------------------------------------------------------------------


def write_card(folder: Path, seed: int, frames: int, names: Sequence[str]) -> str:
    """Writes one card and its truth table; returns a line about it."""
    card, table = folder / f"card-{seed}", folder / f"card-{seed}-truth.csv"
    named = planned(seed, frames, [BY_NAME[name] for name in names])
    clear(card, table, _own(table), COLUMNS)
    rows = truth(named)
    table.parent.mkdir(parents=True, exist_ok=True)
    table.write_bytes(as_csv(rows, COLUMNS))
    number = 0
    for one in named:
        for taken in one.taken:
            number += 1
            for source in taken.files:
                put(card / source, contents(taken, source, number), taken.shot.captured, UTC)
    return _told(seed, named, rows)


def _told(seed: int, named: Sequence[Named], rows: Sequence[dict[str, str]]) -> str:
    makers = " and ".join(dict.fromkeys(one.camera.name for one in named))
    frames = len({row["frame"] for row in rows} - {""})
    sequences = len({row["sequence"] for row in rows} - {""})
    return f"card-{seed}: {frames} frames in {sequences} sequences, {len(rows)} files, {makers}"


def _own(table: Path) -> set[str]:
    """The files of the card beside the truth table, by the table itself."""
    if not is_truth(table, COLUMNS):
        return set()
    with table.open(encoding="utf-8", newline="") as file:
        return {row["source"] for row in csv.DictReader(file)}


def check_folder(folder: Path, seeds: Sequence[int]) -> None:
    """Raises RefusedError where the folder holds something that this script did not make."""
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        message = f"{folder} is not a folder"
        raise RefusedError(message)
    found = sorted(folder.iterdir()) if folder.exists() else []
    foreign = [path.name for path in found if not OWN_NAME.fullmatch(path.name)]
    if foreign:
        message = (
            f"{folder} was not made by this script (it holds {foreign[0]}): name another folder"
        )
        raise RefusedError(message)
    for seed in seeds:
        table = folder / f"card-{seed}-truth.csv"
        check(folder / f"card-{seed}", table, _own(table), COLUMNS)


def make_cards(folder: Path, seeds: Sequence[int], frames: int, names: Sequence[str]) -> None:
    """Writes the cards with those seeds and says a line about each.

    Raises RefusedError, with nothing written, where the folder is not this script's own work.
    """
    check_folder(folder, seeds)
    with ProcessPoolExecutor(min(MOST_WORKERS, os.cpu_count() or 1)) as workers:
        jobs = [workers.submit(write_card, folder, seed, frames, names) for seed in seeds]
        for done, job in enumerate(jobs, start=1):
            print(f"{done:4} of {len(seeds)}  {job.result()}", flush=True)


# ---- command --------------------------------------------------------------------------------

ABOUT = """\
Makes random memory cards to measure the sorter with: each a whole afternoon of a macro photographer
at a rock pool at low tide, with one body or seldom two. Beside each card a table tells what each
file truly is, what the files of such a body can tell of it, and whether they can tell it at all.
The same seed, number of frames and makers give the same bytes."""

EXAMPLE = """\
examples:
  .venv/bin/python scripts/make_cards build/cards --number 20
      writes build/cards/card-1 to card-20, and card-1-truth.csv to card-20-truth.csv
  .venv/bin/python scripts/make_cards build/cards --seed 300 --number 5 --maker sony fujifilm
  .venv/bin/python scripts/score --cards build/cards
      holds what the sorter finds on them against the truth"""


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="make_cards",
        description=ABOUT,
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    about = "where the cards go: new, or made by this script; cards of other seeds stay there"
    parser.add_argument("folder", metavar="FOLDER", type=Path, help=about)
    parser.add_argument("--number", type=_positive, default=10, help="of cards; default 10")
    parser.add_argument("--seed", type=int, default=1, help="of the first card; default 1")
    about = "frames a card, at least; default 300"
    parser.add_argument("--frames", type=_positive, default=300, help=about)
    names = [camera.name for camera in CAMERAS]
    about = f"only these bodies: {', '.join(names)}"
    parser.add_argument(
        "--maker", metavar="NAME", nargs="+", choices=names, default=names, help=about
    )
    return parser


def _positive(text: str) -> int:
    number = int(text)
    if number < 1:
        message = f"{text} is not 1 or more"
        raise argparse.ArgumentTypeError(message)
    return number


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs the command: 0 done, 2 refused with nothing written."""
    options = _parser().parse_args(arguments)
    seeds = range(options.seed, options.seed + options.number)
    try:
        make_cards(options.folder, seeds, options.frames, options.maker)
    except RefusedError as error:
        sys.stderr.write(f"make_cards: {error}\n")
        return 2
    return 0
