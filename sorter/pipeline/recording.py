"""A new ledger of a shoot, and its manifest and digests, which are written out of the ledger."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from sorter.disk.output import Output, is_foreign
from sorter.disk.reported import ReportFolder
from sorter.disk.shoot import Shoot
from sorter.errors import BadShoot, ShootBusy
from sorter.manifest.checks import CHECKS
from sorter.manifest.csvfile import manifest_bytes, sums_bytes
from sorter.manifest.rows import in_order
from sorter.model.plan import Entry
from sorter.page.render import GENERATOR
from sorter.writing.ledger import Ledger
from sorter.writing.records import rows_of
from sorter.writing.target import stopping_clearly

MANIFEST: Final = "manifest.csv"
SUMS: Final = "SHA256SUMS"
RECORDS: Final = (MANIFEST, SUMS)
_BLOCK: Final = 1024 * 1024
_MOST_BLOCKS: Final = 256
"""Of a list: that of a hundred thousand files has fewer than forty."""


def records_of(entries: Iterable[Entry]) -> dict[str, bytes]:
    """What the two files hold for these entries."""
    rows = in_order(rows_of(entries))
    return {MANIFEST: manifest_bytes(rows), SUMS: sums_bytes(rows)}


def write_records(shoot: Shoot, entries: Iterable[Entry]) -> None:
    """Both files say what the ledger knows. Raises ShootNotWritable, NoRoom."""
    for name, data in records_of(entries).items():
        if not is_up_to_date(shoot.root / name, data):
            with stopping_clearly(shoot):
                shoot.replace(name, data)


def drop_findings(shoot: Shoot, ledger: Ledger) -> None:
    """Checks looked at other sequences than the shoot has now: their table is gone, and their notes.

    So is the page of a report, whose pictures stay. The next check and the next report make them again.
    A table of that name that no check wrote is no work of ours, and stays, as does a page that a report
    did not make. Raises ShootNotWritable, NoRoom.
    """
    with stopping_clearly(shoot):
        ReportFolder(shoot, GENERATOR).drop_page()
        if ledger.has_findings():
            if not is_foreign(shoot.root / CHECKS, Output.CHECKS):
                shoot.remove(CHECKS)
            ledger.drop_findings()


def new_ledger(shoot: Shoot) -> Ledger:
    """A new ledger, held. Raises ShootBusy where a run made one while we looked at the card."""
    ledger = Ledger(shoot.hidden, hold=True, make=True)
    if ledger.runs():
        ledger.close()
        raise ShootBusy(
            f"{shoot.root}: another run was at work here meanwhile. Nothing was done: run it again."
        )
    return ledger


def refuse_foreign_lists(shoot: Shoot) -> None:
    """A folder without a ledger may hold lists of its own, which ours would replace.

    Raises BadShoot.
    """
    for name in RECORDS:
        if os.path.lexists(shoot.root / name):
            raise BadShoot(
                f"{shoot.root} holds a {name}, and no ledger that says it is ours. Move it away, or "
                "name another folder for the shoot."
            )


def cannot_read(path: Path) -> str:
    """Why a list that is there cannot be read; empty where it can, or is no plain file.

    No more is read than a list of ours has: what is longer is another's, and may have no end.
    """
    try:
        if path.is_file():
            with path.open("rb") as file:
                for _ in range(_MOST_BLOCKS):
                    if not file.read(_BLOCK):
                        break
    except OSError as error:
        return error.strerror or str(error)
    return ""


def is_up_to_date(path: Path, data: bytes) -> bool:
    """Whether the file holds these bytes already. A pipe in its place is not waited for."""
    try:
        return path.is_file() and path.stat().st_size == len(data) and path.read_bytes() == data
    except OSError:
        return False
