"""The numbers that sequences and frames have in a shoot."""

from __future__ import annotations

from dataclasses import dataclass

from sorter.model.sequence import Account


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbers:
    """A number for each of an account's sequences, and for each frame of its order.

    In a scan both count from 1. In a shoot that holds something already, what is there keeps its
    numbers and the rest goes on behind them.
    """

    sequences: tuple[int, ...]
    frames: tuple[int, ...]


def from_one(account: Account) -> Numbers:
    """The numbers of a shoot that holds nothing but this account: both count from 1."""
    return Numbers(
        sequences=tuple(range(1, len(account.sequences) + 1)),
        frames=tuple(range(1, len(account.order) + 1)),
    )
