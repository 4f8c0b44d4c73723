"""Grouping alone, on values in memory: whether its time grows with the frames and no faster.

Random cards of one body are read once. Their frames are then repeated, each card again and again some
days later and in directories of its own, until the one timeline is as long as was asked for. Each length
is measured in a process of its own with one thread, so that its memory is its own too.
"""

from __future__ import annotations

import itertools
import statistics
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from typing import Final

from benching.timing import seconds, timed
from cardmaking import cards
from sorter.disk.card import Card
from sorter.grouping.account import account_for
from sorter.grouping.timeline import clock_us, timelines
from sorter.model.frame import Frame, ReadFile, Reading
from sorter.reading.cards import read_card

BODY: Final = "canon"
"""It tells most: distances, plans, drive. So its frames cost grouping most."""
SEEDS: Final = range(1, 21)
FRAMES_A_CARD: Final = 300
APART_S: Final = 2 * 24 * 3600
FIRST, LAST = 100, 999
"""Numbers of directories (CIPA DC-009)."""
MOST_RATIO: Final = 1.3
"""What a frame of the longest timeline may cost at most, against one of the shortest."""


# ---- long timelines -----------------------------------------------------------------------------


def made_cards(folder: Path) -> list[Path]:
    """The cards of all seeds, written unless they are there already."""
    stamp = folder.parent / f"{folder.name}.made"
    if not stamp.exists():
        for seed in SEEDS:
            cards.write_card(folder, seed, FRAMES_A_CARD, [BODY])
        stamp.touch()
    return [folder / f"card-{seed}" for seed in SEEDS]


def read(root: Path) -> Reading:
    """The card as the sorter reads it."""
    card = Card(root)
    return read_card(card, card.listing())


def repeated(shoots: Sequence[Sequence[Frame]], count: int) -> tuple[Frame, ...]:
    """So many frames of one timeline: the shoots over and over, each later and in other directories."""
    return tuple(itertools.islice(_on_and_on(shoots), count))


def _on_and_on(shoots: Sequence[Sequence[Frame]]) -> Iterator[Frame]:
    directory, top = FIRST, 1
    for index, shoot in enumerate(itertools.cycle(shoots)):
        folders = sorted({file.file.folder for frame in shoot for file in frame.files})
        if directory + len(folders) - 1 > LAST:
            directory, top = FIRST, top + 1
        names = {
            folder: f"DCIM{top}/{number}{folder[-5:]}"
            for number, folder in enumerate(folders, start=directory)
        }
        directory += len(folders)
        yield from (_moved(frame, index * APART_S, names) for frame in shoot)


def _moved(frame: Frame, later_s: int, names: dict[str, str]) -> Frame:
    files = tuple(_renamed(file, names[file.file.folder]) for file in frame.files)
    facts = replace(frame.facts, moment=frame.moment.shifted(later_s))
    return replace(frame, files=files, facts=facts)


def _renamed(file: ReadFile, folder: str) -> ReadFile:
    return replace(file, file=replace(file.file, path=f"{folder}/{file.file.name}"))


# ---- measured -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """Seconds for so many frames, MB on top of them, and seconds of the floor on the same frames."""

    frames: int
    sequences: int
    seconds: float
    floor: float
    memory_mb: float


def measured(folder: Path, count: int, runs: int) -> Measured:
    """One length of timeline: memory by the first run, seconds as the median of all."""
    shoots = [read(root).frames for root in made_cards(folder)]
    reading = Reading(frames=repeated(shoots, count))
    if len(timelines(reading.frames)) != 1:
        raise SystemExit("the cards are of several bodies: nothing is said of one timeline")
    before = _most_mb()
    sequences = len(account_for(reading).sequences)
    memory = _most_mb() - before
    return Measured(
        frames=count,
        sequences=sequences,
        seconds=statistics.median(seconds(lambda: account_for(reading)) for _ in range(runs)),
        floor=timed(lambda: floor(reading.frames), runs),
        memory_mb=memory,
    )


def floor(frames: Iterable[Frame]) -> float:
    """The least that any grouping must do: sort by time, and look at each step once."""
    ordered = sorted(clock_us(frame, in_utc=False) for frame in frames)
    return max(after - before for before, after in itertools.pairwise(ordered))


def _most_mb() -> float:
    """The most memory that this process ever had, in MB; read from Linux, which counts it in kB.

    What getrusage tells begins with what the process that started this one held.
    """
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    return next(int(line.split()[1]) / 1024 for line in lines if line.startswith("VmHWM:"))


def against_reading(roots: Sequence[Path], runs: int) -> tuple[float, float]:
    """Seconds to read all cards, and to group them one by one; medians on a warm cache."""
    readings = [read(root) for root in roots]
    return (
        timed(lambda: [read(root) for root in roots], runs),
        timed(lambda: [account_for(reading) for reading in readings], runs),
    )


# ---- shown --------------------------------------------------------------------------------------


def show_grouping(cache: Path, lengths: Sequence[int], runs: int) -> None:
    """Prints a line for each length, what a frame costs from the first to the last, and the ratios."""
    folder = cache / f"group-{BODY}-{FRAMES_A_CARD}"
    roots = made_cards(folder)
    print(f"grouping one timeline in memory, one thread, medians of {runs} runs: {folder}")
    found = [_apart(folder, length, runs) for length in lengths]
    for one in found:
        _show(one)
    ratio = _a_frame(found[-1]) / _a_frame(found[0])
    print(f"  a frame of the last costs {ratio:.2f} x one of the first (aim: {MOST_RATIO} at most)")
    reading, grouping = against_reading(roots, runs)
    print(
        f"  the {len(roots)} cards themselves: reading {reading:.3f} s, grouping {grouping:.3f} s:"
    )
    print(f"  grouping is {grouping / reading:.2f} x reading the same files")


def _apart(folder: Path, length: int, runs: int) -> Measured:
    """What is measured in a process of its own, which begins with nothing of this one's memory."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as worker:
        return worker.submit(measured, folder, length, runs).result()


def _a_frame(one: Measured) -> float:
    return one.seconds / one.frames


def _show(one: Measured) -> None:
    print(
        f"  {one.frames:7} frames {one.seconds:7.2f} s {_a_frame(one) * 1e6:6.1f} us a frame,"
        f" {one.seconds / one.floor:5.0f} x sorting and one pass,"
        f" {one.memory_mb:.0f} MB on top of the frames (VmHWM), {one.sequences} sequences"
    )
