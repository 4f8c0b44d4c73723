"""The command: options, courses one after the other, progress, and the sums."""

from __future__ import annotations

import argparse
import os
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Final

from torturing.courses import COURSES, Course
from torturing.killing import Torturer, disk_in_memory
from torturing.pool import Place, Tally, make_card
from torturing.tools import check_tools

KILLS: Final = 300
FILES: Final = 150
EVERY_S: Final = 5.0
MOST_NAMED: Final = 20
FAULTS: Final = ("lost", "duplicated", "damaged", "failed", "misleading")
WORK: Final = Path("build/torture")
MEMORY: Final = Path("/dev/shm")  # noqa: S108  another disk, in a folder of our own
DESCRIPTION: Final = """\
Kills the sorter (SIGKILL) at moments by chance while it copies a card, moves it on one disk, moves it
to another one (/dev/shm), and takes that back; while it writes two copies, and mends each of them
from the other; also while the disk of the shoot fills. It learns how
long each work takes and spreads the kills over that time. Each work is killed up to three times in a
row, and run to its end; then every file is counted by its own digests. Disks that fill are mounted:
that takes root, and without it they are left out, which is said.

In half of the starts copies are deleted, zeroed, cut or swapped between a kill and the next run, whole
folders of them dropped, and files of the card edited with their size and time kept; and the copies are
verified at the end. What such a stroke destroys is not counted as lost by the sorter, but it must say
so. The last words of each start are held against what lies on the disks: a sentence that is not true,
or a loss of which nothing is said, is misleading. The sorter is told that card, shoot and second copy
lie on three disks, for else it would never say that a card may be formatted."""
EXAMPLE: Final = """\
examples:
  scripts/torture
  scripts/torture --kills 40 --seed 7 --only "move to another disk"
  scripts/torture --kills 40 --tools
exit codes: 0 no file was lost, duplicated or damaged, every work came to its end, and no sentence
was misleading; 1 otherwise."""


def main(arguments: list[str] | None = None) -> int:
    """Runs what the options ask for; 1 where a file is not where it should be."""
    chosen = _parser().parse_args(arguments)
    if chosen.tools:
        check_tools()
    names = chosen.only or list(COURSES)
    chosen.where.mkdir(parents=True, exist_ok=True)
    tallies: dict[str, Tally] = {}
    with tempfile.TemporaryDirectory(dir=chosen.where.absolute()) as folder:
        original = Path(folder) / "original"
        make_card(original, chosen.files)
        for place, name in enumerate(names):
            kills = chosen.kills * (place + 1) // len(names) - chosen.kills * place // len(names)
            chance = random.Random(f"{chosen.seed} {name}")
            tally = _tortured(name, kills, original, chance, tools=chosen.tools)
            if tally is not None:
                tallies[name] = tally
    return _tell(tallies)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="scripts/torture",
        description=DESCRIPTION,
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "--kills", type=int, default=KILLS, metavar="N", help=f"in sum; default {KILLS}"
    )
    parser.add_argument("--seed", type=int, default=1, help="of the chance; moments still vary")
    parser.add_argument(
        "--files", type=int, default=FILES, metavar="N", help=f"of the card; default {FILES}"
    )
    parser.add_argument("--only", choices=COURSES, action="append", help="this; may be repeated")
    parser.add_argument(
        "--tools",
        action="store_true",
        help="let sha256sum and rsync look too at all that the words call verified",
    )
    parser.add_argument("--where", type=Path, default=WORK, help=f"folder; default {WORK}")
    return parser


def _tortured(
    name: str, kills: int, original: Path, chance: random.Random, *, tools: bool
) -> Tally | None:
    """What became of one course; None, with the reason on stderr, where it cannot be run here."""
    course = COURSES[name]
    with ExitStack() as stack:
        try:
            place = stack.enter_context(_place_of(course, original.parent))
        except (OSError, subprocess.CalledProcessError) as error:
            if course.disk == "near":
                raise
            print(f"{name}: left out, for there is no such disk here ({error})", file=sys.stderr)
            return None
        torturer = Torturer(course, place, original, chance, tools=tools)
        return _counted(name, kills, torturer.kills(kills))


@contextmanager
def _place_of(course: Course, folder: Path) -> Iterator[Place]:
    """Folders for a course, on the disks that it asks for."""
    with tempfile.TemporaryDirectory(dir=folder) as near:
        card = Path(near) / "card"
        if course.disk == "near":
            yield Place(card=card, shoot=Path(near) / "shoot")
        elif course.disk == "small":
            with disk_in_memory(Path(near) / "shoot"):
                yield Place(card=card, shoot=Path(near) / "shoot")
        else:
            with tempfile.TemporaryDirectory(dir=_another_disk(folder)) as far:
                yield Place(card=card, shoot=Path(far) / "shoot")


def _another_disk(folder: Path) -> Path:
    """Raises OSError where there is none."""
    if not MEMORY.is_dir() or MEMORY.stat().st_dev == folder.stat().st_dev:
        raise OSError(f"{MEMORY} is no other disk than {folder}")
    if not os.access(MEMORY, os.W_OK):
        raise OSError(f"{MEMORY} may not be written to")
    return MEMORY


def _counted(name: str, kills: int, tallies: Iterator[Tally]) -> Tally:
    total, told = Tally(), time.monotonic()
    for tally in tallies:
        total.add(tally)
        if time.monotonic() - told > EVERY_S:
            told = time.monotonic()
            print(
                f"{name}: {total.kills} of {kills} kills, {total.faults} faults",
                file=sys.stderr, flush=True,
            )  # fmt: skip
    return total


def _tell(tallies: dict[str, Tally]) -> int:
    total = Tally()
    head = ("kills", "full", "resumes", "spoiled", *FAULTS)
    print(f"{'':38}" + "".join(f"{word:>11}" for word in head))
    for tally in tallies.values():
        total.add(tally)
    for name, tally in {**tallies, "in sum": total}.items():
        print(f"{name:38}" + "".join(f"{getattr(tally, word):>11}" for word in head))
    if not total.kills:
        print("no run was killed: nothing is shown by this")
    for line in total.said[:MOST_NAMED]:
        print(f"  {line}")
    return 1 if total.faults or not total.kills else 0
