"""What a stopped plan carried, and neither the shoot nor the card has any more."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from sorter.disk.card import Card
from sorter.model.plan import Entry, State
from sorter.pipeline.planned import IngestPlan


@dataclass(frozen=True, slots=True, kw_only=True)
class Missed:
    """entries: as they are noted: in their places, so that whoever verifies the shoot misses them there too.

    other: paths on the card that hold other bytes now; of two copies the second may have the right ones.
    """

    entries: tuple[Entry, ...] = ()
    other: frozenset[str] = frozenset()

    @property
    def numbers(self) -> frozenset[int]:
        """Their numbers in the ledger."""
        return frozenset(entry.number for entry in self.entries)


def find_missed(plan: IngestPlan, card: Card, entries: Iterable[Entry]) -> Missed:
    """What an earlier run verified, and a move took off this card, or the card has with other bytes now.

    entries: what the shoot's ledger knows now. Where there is no second copy, what has other bytes comes
    under the number that the file has.
    """
    known = {entry.number: entry.row.sha256 for entry in _verified(plan)}
    waiting = [e for e in entries if e.number in known and e.state is State.PLANNED]
    there = [entry for entry in waiting if card.device(entry.row.source)]
    here = {entry.number for entry in there}
    asked = there if plan.backup else []
    other = {e.number for e in asked if _is_other(card, e.row.source, known[e.number])}
    missed = [e for e in waiting if e.number in other or (e.moves and e.number not in here)]
    return Missed(
        entries=tuple(_as_missing(entry, known[entry.number]) for entry in missed),
        other=frozenset(entry.row.source for entry in asked if entry.number in other),
    )


def _verified(plan: IngestPlan) -> Iterator[Entry]:
    own = (entry for entry in plan.stored if plan.goes_on and entry.run == plan.goes_on.run)
    yield from (entry for entry in own if entry.state is State.VERIFIED)
    yield from plan.backup.ahead if plan.backup else ()


def _is_other(card: Card, source: str, digest: str) -> bool:
    """Whether the card gives other bytes; what it does not give is told when it is to be carried."""
    try:
        return card.measured(source, lambda _: None).sha256 != digest
    except OSError:
        return False


def _as_missing(entry: Entry, digest: str) -> Entry:
    row = replace(entry.row, sha256=digest)
    placement = replace(entry.placement, row=row)
    return replace(entry, placement=placement, state=State.PLACED, gone=entry.moves)
