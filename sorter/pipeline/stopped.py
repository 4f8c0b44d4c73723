"""What runs that were stopped left in a shoot: which of them goes on with this card, and which waits."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass

from sorter.disk.card import Card
from sorter.model.plan import Entry, State
from sorter.writing.ledger import IngestRun


@dataclass(frozen=True, slots=True, kw_only=True)
class Stopped:
    """stored: entries that are to be carried and can be now. goes_on: the ingest that this card goes on with.

    waits_elsewhere: one that waits for another card.
    """

    stored: tuple[Entry, ...] = ()
    goes_on: IngestRun | None = None
    waits_elsewhere: IngestRun | None = None


def find_stopped(card: Card, runs: Iterable[IngestRun], entries: Iterable[Entry]) -> Stopped:
    """What the ledger holds that is still to be carried, and is on this card. Raises as listing does."""
    entries = tuple(entries)
    stored = tuple(entry for entry in entries if _is_waiting(card, entry))
    here = {entry.number for entry in stored}
    goes_on = waits = None
    for run in (run for run in runs if run.is_open):
        own = [entry for entry in entries if entry.run == run.run]
        planned = {entry.number for entry in own if entry.state is State.PLANNED}
        if bool(planned & here) if planned else _is_end_of(card, run, own):
            goes_on = run
        else:
            waits = run
    return Stopped(stored=stored, goes_on=goes_on, waits_elsewhere=waits)


def _is_waiting(card: Card, entry: Entry) -> bool:
    """Whether it is to be carried, and can be now."""
    if entry.state is State.VERIFIED:
        return True
    return entry.state is State.PLANNED and is_on_card(card, entry)


def _is_end_of(card: Card, run: IngestRun, own: Iterable[Entry]) -> bool:
    """Whether a run that has nothing to carry any more can be ended with this card.

    So it is where this card has one of its files, or is the one that it emptied. Another card that
    is mounted in the same place tells nothing of what that one still has.
    """
    left = [entry for entry in own if not entry.gone and entry.state is not State.LEFT]
    if not left:
        return True
    if not any(file.plain for file in card.listing(may_be_empty=True).files):
        return is_place_of(card, run)
    return any(is_on_card(card, entry) for entry in left)


def is_place_of(card: Card, run: IngestRun) -> bool:
    """Whether the run's card was where this one is: not where only the folder is left of its mount."""
    root = str(card.root.absolute())
    return run.card == root and (not run.mounted or os.path.ismount(root))


def is_on_card(card: Card, entry: Entry) -> bool:
    """Whether the card has a file in its place that is, as far as its first bytes tell, the same."""
    return card.holds(entry.row.source, entry.row.bytes, entry.placement.fingerprint)
