"""Whether there is free space for what is to be written."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final

from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.errors import NoRoom
from sorter.model.plan import State
from sorter.model.row import Row
from sorter.pipeline.planned import IngestPlan
from sorter.writing.target import stopping_clearly

# A file takes whole units of a file system; the ledger, the manifest and the digests need space too.
_UNIT: Final = 4096
_EXTRA_PER_FILE: Final = 2048
_EXTRA: Final = 256 * 1024


def no_space(shoot: Shoot, sizes: Iterable[int]) -> NoRoom | None:
    """Why so much cannot be written there; None where it can. Raises ShootNotWritable."""
    needed = sum(sizes)
    with stopping_clearly(shoot):
        room = shoot.free_space()
    if not needed or needed + _EXTRA <= room:
        return None
    return NoRoom(
        f"{shoot.root}: {_in_megabytes(needed)} are to be written, and the disk has "
        f"room for {_in_megabytes(room)}. Nothing was done there: make room, or name a folder "
        "on another disk."
    )


def space_for(row: Row) -> int:
    """The bytes that the row's file takes on a disk, with what is noted of it."""
    units = -(-row.bytes // _UNIT)
    return units * _UNIT + _EXTRA_PER_FILE


def rows_to_write(plan: IngestPlan, card: Card, shoot: Shoot) -> Iterator[Row]:
    """The files of a plan that need space in the shoot: not those that are renamed, or written already."""
    here = shoot.device()

    def is_renamed(row: Row, *, moves: bool) -> bool:
        return moves and card.device(row.source) == here

    for entry in plan.resumed:
        if entry.state is not State.VERIFIED and not is_renamed(entry.row, moves=entry.moves):
            yield entry.row
    yield from (each.row for number, each in plan.updated if number in plan.again)
    for each in plan.placements:
        if each.row.destination and not is_renamed(each.row, moves=plan.would_move):
            yield each.row


def _in_megabytes(size: int) -> str:
    return f"{size / 1e6:,.1f} MB"
