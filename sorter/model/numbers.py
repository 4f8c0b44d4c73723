"""The numbers that sequences and frames have in a shoot."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbers:
    """A number for each of an account's sequences, and for each frame of its order.

    In a scan both count from 1. In a shoot that holds something already, what is there keeps its
    numbers and the rest goes on behind them.
    """

    sequences: tuple[int, ...]
    frames: tuple[int, ...]
