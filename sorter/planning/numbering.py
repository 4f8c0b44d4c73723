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
    there has their number, so that a card that grew in the middle of a series goes on with it; but
    no number is given twice.
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
    given: set[int] = set()
    for files in groups:
        own = [number for file in files if (number := there.get(file.path)) is not None]
        free = [number for number in own if number not in given]
        if free:
            number = free[0]
        elif own and all(file.path in there for file in files):
            number = own[0]  # nothing of it is new, so that its number is not written anywhere
        else:
            number, following = following, following + 1
        given.add(number)
        yield number
