"""The command that holds what is found on cards of habits against their labels: --help.

A habit is a way to shoot that no model was made for, or its near twin (tests/fieldcases/habits.py).
Its cards are drawn by seeds, written as real files, read and grouped in this process, and counted
like random cards. Of what is wrong it is counted too how much said "unsure" of itself.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from scoring.measure import Counts, Failure, Score, total
from scoring.tables import Place, Wanted
from sorter.disk.card import Card
from sorter.grouping.account import account_for
from sorter.model.frame import Reading
from sorter.model.sequence import Account
from sorter.reading.cards import read_card

if TYPE_CHECKING:
    from fieldcases.habits import Habit, Made

DESCRIPTION = """\
Draws cards of habits that no model was made for, groups them, and prints by habit: boundaries missed
and invented, kinds right by frame, series found whole (and of the right kind), and of the labelled
sequences that were not found as they are, how many said "unsure". A twin must come out the other way
than its near habit. Habits that are held are left out unless asked for: no cost is set by them."""
EXAMPLE = """\
examples:
  .venv/bin/python scripts/score_habits --seeds 1-6
  .venv/bin/python scripts/score_habits --seeds 101-106 --held --topic rails --list 20"""
HEAD = ("cards", "frames", "seqs", "missed", "extra", "kinds", "series", "whole", "whole+kind", "wrong",
        "unsure")  # fmt: skip


@dataclass(slots=True, kw_only=True)
class Tally:
    """What was counted of a habit: the score of its cards, and of what is wrong how much said so."""

    score: Score = field(default_factory=Score)
    wrong: int = 0
    unsure: int = 0

    @property
    def counts(self) -> Counts:
        """All bodies together."""
        return total(self.score.bodies.values())


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs the command."""
    options = _parser().parse_args(arguments)
    asked = habits(options.topic, options.name, held=options.held, only_held=options.only_held)
    tallies = {habit: tallied(habit, options.seeds) for habit in asked}
    print("\n".join(_shown(tallies, options.list)))
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = parser_of("score_habits", DESCRIPTION, EXAMPLE, seeds=3)
    parser.add_argument("--held", action="store_true", help="those held back from tuning, too")
    parser.add_argument("--only-held", action="store_true", help="those alone")
    parser.add_argument(
        "--list", metavar="N", type=int, default=0, help="failures named; default 0"
    )
    return parser


def parser_of(
    program: str, description: str | None, epilog: str, *, seeds: int
) -> argparse.ArgumentParser:
    """Options that say of which cards: seeds (by default from 1 to so many), topic and name."""
    parser = argparse.ArgumentParser(
        prog=program,
        description=description,
        epilog=epilog,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    usual = "1" if seeds == 1 else f"1-{seeds}"
    parser.add_argument(
        "--seeds", type=seeds_of, default=range(1, seeds + 1), help=f"1-6 or 4; default {usual}"
    )
    parser.add_argument("--topic", help="habits of this topic only; default all")
    parser.add_argument("--name", help="habits whose name has this in it; default all")
    return parser


def seeds_of(text: str) -> range:
    """Seeds as they are asked for: 1-6, or 4."""
    first, _, last = text.partition("-")
    return range(int(first), int(last or first) + 1)


def habits(
    topic: str | None = None,
    name: str | None = None,
    *,
    held: bool = False,
    only_held: bool = False,
) -> list[Habit]:
    """All habits that set costs, or those of the topic, or with that in their name.

    held: those that are held back from tuning too. only_held: those alone.
    """
    from fieldcases.habits import HELD  # noqa: PLC0415  the tests' folder may be missing
    from fieldcases.registered import all_habits  # noqa: PLC0415  see above

    return [
        habit
        for habit in all_habits()
        if topic in (None, habit.topic)
        and (name is None or name in habit.name)
        and (habit.name in HELD if only_held else held or habit.name not in HELD)
    ]


# ---- one habit ----------------------------------------------------------------------------------


def tallied(habit: Habit, seeds: Iterable[int]) -> Tally:
    """The habit's cards by these seeds, grouped and held against their labels."""
    tally = Tally()
    for seed in seeds:
        made = habit.make(random.Random(f"{habit.name} {seed}"))
        _take(tally, f"{habit.name} {seed}", made)
    return tally


def _take(tally: Tally, name: str, made: Made) -> None:
    account = account_of(made)
    found, doubtful = places(account), doubted(account)
    truth = list(wanted(made))
    before = len(tally.score.failures)
    tally.score.take(name, truth, found)
    by_name = {one.name: one for one in truth}
    for failure in tally.score.failures[before:]:
        tally.wrong += 1
        sources = by_name[failure.sequence].sources
        at = {found[source].sequence for source in sources if source in found}
        tally.unsure += bool(at & doubtful)


def account_of(made: Made) -> Account:
    """The account of the cards' files, all in one folder."""
    return account_for(reading_of(made))


def reading_of(made: Made) -> Reading:
    """The cards' files as they are read, all in one folder."""
    cards, _ = made
    with tempfile.TemporaryDirectory() as folder:
        for card in cards if isinstance(cards, tuple) else (cards,):
            card.lying(Path(folder))
        lying = Card(Path(folder))
        return read_card(lying, lying.listing())


def wanted(made: Made) -> Iterator[Wanted]:
    """The labelled sequences, with the files of their presses."""
    cards, labels = made
    rest = iter(labels)
    for number, card in enumerate(cards if isinstance(cards, tuple) else (cards,)):
        place = 0
        while place < len(card.presses):
            label = next(rest)
            presses = card.presses[place : place + label.count]
            yield Wanted(
                name=f"{number}.{place}",
                body=f"{card.body.name} {number}",
                kind=str(label.kind),
                decidable=True,
                about=f"{card.body.name}, press {place + 1}",
                frames=tuple(press.paths for press in presses),
            )
            place += label.count
        if place != len(card.presses):
            raise ValueError(f"labels of {place} presses for a card of {len(card.presses)}")


def places(account: Account) -> dict[str, Place]:
    """Where each file stands in the account."""
    return {
        file.path: Place(
            sequence=str(number), position=position, kind=str(sequence.kind), role=str(file.role)
        )
        for number, sequence in enumerate(account.sequences)
        for position, frame in enumerate(sequence.frames)
        for file in frame.files
    }


def doubted(account: Account) -> set[str]:
    """The sequences that say of themselves that they are unsure, and those before such a boundary."""
    found: set[str] = set()
    for number, sequence in enumerate(account.sequences):
        said = [note for note in sequence.notes if note.startswith("unsure")]
        if said:
            found.add(str(number))
        if any("before it" in note for note in said):
            found.add(str(number - 1))
    return found


# ---- shown --------------------------------------------------------------------------------------


def _shown(tallies: dict[Habit, Tally], most: int) -> Iterator[str]:
    topics = dict.fromkeys(habit.topic for habit in tallies)
    rows: list[tuple[str, Tally]] = []
    for topic in topics:
        own = {habit: tally for habit, tally in tallies.items() if habit.topic == topic}
        rows += [(f"  {'~ ' if h.twin else ''}{h.name}", tally) for h, tally in own.items()]
        rows.append((topic, _together(own.values())))
    rows.append(("all", _together(tallies.values())))
    width = max(len(name) for name, _ in rows)
    yield " ".join(("".ljust(width), *(word.rjust(10) for word in HEAD)))
    for name, tally in rows:
        yield " ".join((name.ljust(width), *(cell.rjust(10) for cell in _cells(tally))))
    for tally in tallies.values():
        for failure in tally.score.failures[:most]:
            yield f"  {_told(failure)}"


def _cells(tally: Tally) -> tuple[str, ...]:
    counts = tally.counts
    figures = counts.figures()
    return (
        str(counts.cards),
        str(counts.frames),
        str(counts.sequences),
        str(counts.missed),
        str(counts.invented),
        f"{figures['frames_of_kind_share']:.4f}",
        str(counts.series),
        f"{figures['whole_share']:.4f}",
        f"{figures['whole_of_kind_share']:.4f}",
        str(tally.wrong),
        str(tally.unsure),
    )


def _together(tallies: Iterable[Tally]) -> Tally:
    out = Tally()
    for tally in tallies:
        for name, counts in tally.score.bodies.items():
            out.score.bodies.setdefault(name, Counts()).add(counts)
        out.wrong += tally.wrong
        out.unsure += tally.unsure
    return out


def _told(failure: Failure) -> str:
    return (
        f"{failure.card} ({failure.about}): {failure.kind} of {failure.frames}: "
        f"found {failure.found}"
    )


if __name__ == "__main__":
    sys.exit(main())
