"""Which numbers the sequences and frames of a card get in a shoot that may hold some already. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from sorter.model.frame import ReadFile
from sorter.model.numbers import Numbers
from sorter.model.plan import Entry
from sorter.model.sequence import Account


def numbers_for(account: Account, there: Mapping[str, Entry], known: tuple[Entry, ...]) -> Numbers:
    """What is in the shoot keeps its numbers; all else goes on behind the highest.

    there: entries of files of this card, by their paths on it. A sequence of which some frames are
    there has their number, so that a card that grew in the middle of a series goes on with it. Where
    one that was known is two now, and one of them grew, the first keeps the number.
    """
    return Numbers(
        sequences=tuple(_sequence_numbers(account, there, known)),
        frames=tuple(_frame_numbers(account, there, known)),
    )


def _sequence_numbers(
    account: Account, there: Mapping[str, Entry], known: tuple[Entry, ...]
) -> Iterator[int]:
    following = max((entry.row.sequence or 0 for entry in known), default=0) + 1
    shots = ((*sequence.frames, *sequence.results) for sequence in account.sequences)
    files = (tuple(file for frame in frames for file in frame.files) for frames in shots)
    return _numbers(files, {path: entry.row.sequence for path, entry in there.items()}, following)


def _frame_numbers(
    account: Account, there: Mapping[str, Entry], known: tuple[Entry, ...]
) -> Iterator[int]:
    following = max((entry.row.frame or 0 for entry in known), default=0) + 1
    files = (frame.files for frame in account.order)
    return _numbers(files, {path: entry.row.frame for path, entry in there.items()}, following)


def _numbers(
    groups: Iterable[tuple[ReadFile, ...]], there: Mapping[str, int | None], following: int
) -> Iterator[int]:
    groups = list(groups)
    known = [
        [number for file in files if (number := there.get(file.path)) is not None]
        for files in groups
    ]
    grown = [n for n, files in enumerate(groups) if any(file.path not in there for file in files)]
    pairs = [(group, number) for group, numbers in enumerate(known) for number in numbers]
    renewed = reached(grown, pairs)
    given: set[int] = set()
    for group, own in enumerate(known):
        free = [number for number in own if number not in given]
        if free:
            number = free[0]
        elif own and group not in renewed:
            number = own[
                0
            ]  # nothing is said again of it, so that its number is not written anywhere
        else:
            number, following = following, following + 1
        given.add(number)
        yield number


def reached(start: Iterable[int], pairs: Iterable[tuple[int, int]]) -> set[int]:
    """The groups to start with, and all that share a number with one of them, from group to group.

    pairs: a group and a number that it has.
    """
    pairs = list(pairs)
    groups, numbers = set(start), set[int]()
    while True:
        new = {number for group, number in pairs if group in groups} - numbers
        if not new:
            return groups
        numbers |= new
        groups |= {group for group, number in pairs if number in new}
