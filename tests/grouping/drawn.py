"""Random cards as readings: what the sorter reads of a card that scripts/cardmaking wrote."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from cardmaking import cards
from cardmaking.cameras import BY_NAME
from sorter.disk.card import Card
from sorter.model.frame import Reading
from sorter.reading.cards import read_card


@cache
def drawn(seed: int, frames: int = 80, *names: str) -> Reading:
    """The card of that seed, with bodies of these names (none: any), as it is read."""
    with TemporaryDirectory() as folder:
        cards.write_card(Path(folder), seed, frames, names or tuple(BY_NAME))
        card = Card(Path(folder) / f"card-{seed}")
        return read_card(card, card.listing())
