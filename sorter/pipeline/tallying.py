"""A tally over shoots: their ledgers read, what they hold counted, and the outcome written."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations
from pathlib import Path

from sorter.disk.output import Output, check_target, is_same, real_path, replace_file
from sorter.manifest import tables
from sorter.manifest.tallies import tally_bytes
from sorter.model.kinds import PICTURE_ROLES
from sorter.model.progress import CountProgress
from sorter.model.row import Row
from sorter.model.tally import Shared, Tally
from sorter.writing import records


def tally(shoots: Iterable[Path], progress: CountProgress) -> Tally:
    """What the shoots hold, each and all together; one that is named twice counts once.

    Nothing is changed, and no file but the ledgers is read. Raises what entries_of raises.
    """
    paths = _apart(shoots)
    rows: dict[str, tuple[Row, ...]] = {}
    for done, (name, path) in enumerate(zip(_names(paths), paths, strict=True)):
        progress(done, len(paths))
        rows[name] = records.rows_of(records.entries_of(path))
    progress(len(paths), len(paths))
    return _tallied(rows, paths)


def _tallied(rows: Mapping[str, tuple[Row, ...]], paths: list[Path]) -> Tally:
    measured = tables.measure(tables.file_table(rows))
    absent = [sum(not row.destination for row in each) for each in rows.values()]
    return Tally(
        shoots=tuple(
            tables.tables_of(
                measured[measured["shoot"].eq(name)], shoot=name, path=str(path), absent=lacking
            )
            for name, path, lacking in zip(rows, paths, absent, strict=True)
        ),
        together=tables.tables_of(measured, absent=sum(absent)),
        shared=tuple(_shared(rows)),
    )


def check_apart_from_shoots(target: Path, shoots: Iterable[Path]) -> None:
    """Returns where the outcome may be written to this file: a tally is no part of a shoot.

    Raises OutputNotWritable, and what cards_of raises.
    """
    folders = tuple(shoots)
    cards = [card for shoot in folders for card in records.cards_of(shoot)]
    check_target(target, output=Output.TALLY, shoots=folders, cards=cards)


def write_tally(target: Path, outcome: Tally) -> None:
    """The file holds the tally as CSV. Raises OutputNotWritable."""
    replace_file(target, tally_bytes(outcome), Output.TALLY)


def _apart(shoots: Iterable[Path]) -> list[Path]:
    """The folders with links followed, each once, in the order given."""
    apart: list[Path] = []
    for shoot in map(real_path, shoots):
        if not any(is_same(shoot, other) for other in apart):
            apart.append(shoot)
    return apart


def _names(paths: list[Path]) -> list[str]:
    """The folders' names; whole paths where several have the same one."""
    often = Counter(path.name for path in paths)
    return [path.name if path.name and often[path.name] == 1 else str(path) for path in paths]


def _shared(rows: Mapping[str, tuple[Row, ...]]) -> Iterator[Shared]:
    """Every two shoots that hold the same pictures: they count in both, which may not be meant.

    Sidecars are often equal, and say nothing.
    """
    digests = {name: set(_digests(each)) for name, each in rows.items()}
    for one, two in combinations(digests, 2):
        if pictures := len(digests[one] & digests[two]):
            yield Shared(one=one, two=two, pictures=pictures)


def _digests(rows: Iterable[Row]) -> Iterator[str]:
    """Of pictures that are in the shoot and hold anything."""
    return (row.sha256 for row in rows if row.sha256 and row.bytes and row.role in PICTURE_ROLES)
