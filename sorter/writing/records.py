"""What the ledger of a shoot holds."""

from __future__ import annotations

from pathlib import Path

from sorter.errors import NoShoot
from sorter.model.plan import Entry


def entries_of(shoot: Path) -> tuple[Entry, ...]:
    """Every file that the ledger of the shoot knows. Raises NoShoot where the folder is none."""
    raise NoShoot(f"{shoot}: this is no shoot folder. Name one that a card was ingested to.")
