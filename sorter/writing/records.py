"""What the ledger knows as what people read: the manifest's rows, and whether they are up to date."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from sorter.disk.output import is_apart
from sorter.disk.shoot import Shoot
from sorter.errors import NoShoot
from sorter.model.plan import Entry, State
from sorter.model.row import Row
from sorter.writing.ledger import Ledger


def entries_of(shoot: Path) -> tuple[Entry, ...]:
    """Every file of the shoot, as its ledger knows it; nothing is changed.

    Raises NoShoot where the folder is none, ShootBusy, LedgerDamaged.
    """
    with Ledger(Shoot(shoot).hidden, hold=False) as ledger:
        return ledger.entries()


def cards_of(shoot: Path) -> tuple[Path, ...]:
    """The folders that the shoot's ingests came from, as far as they are there now; none of no shoot.

    Not one in which the shoot lies itself: that was a card's mount point once, and is another disk now.
    A regrouping that was stopped moved nothing on a card, and is no obstacle. Raises ShootBusy, LedgerDamaged.
    """
    try:
        with Ledger(Shoot(shoot).hidden, hold=False, ends=True) as ledger:
            cards = sorted({Path(run.card) for run in ledger.runs()})
    except NoShoot:
        return ()
    return tuple(card for card in cards if is_apart(card, shoot))


def rows_of(entries: Iterable[Entry]) -> tuple[Row, ...]:
    """A row for each file, with what carrying had to say of it among its notes.

    Destination and digest stand only where the file is under its final name.
    """
    return tuple(_row(entry) for entry in entries)


def _row(entry: Entry) -> Row:
    """A file that is not in its place has no destination and no digest yet."""
    row, notes = entry.row, entry.placement.carrying_notes
    if notes or entry.found:
        row = replace(row, remarks=(*row.remarks, *notes, *_found(entry)))
    return row if entry.state is State.PLACED else replace(row, destination="", sha256="")


def _found(entry: Entry) -> tuple[str, ...]:
    found = entry.found if isinstance(entry.found, str) else entry.found.says
    return (found,) if found else ()
