"""What the pictures say, written: into the shoot, and to files that the user asked for."""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from sorter.disk.output import Output, add_file, check_target, is_foreign, replace_file
from sorter.disk.shoot import Shoot
from sorter.disk.shoots import is_shoot
from sorter.errors import OutputNotWritable
from sorter.manifest.checks import CHECKS, checks_bytes
from sorter.manifest.corrections import corrections_bytes
from sorter.manifest.rows import in_order
from sorter.model.finding import Check
from sorter.model.plan import Entry, State
from sorter.model.subject import Checked
from sorter.pipeline.recording import write_records
from sorter.writing import records
from sorter.writing.ledger import Ledger
from sorter.writing.target import stopping_clearly


def write_checks(root: Path, found: Checked) -> None:
    """checks.csv of the shoot holds the findings, and the manifest's notes say them in short.

    Raises ShootBusy, ShootNotWritable, NoRoom; then the files hold what they held before.
    """
    shoot = Shoot(root)
    with Ledger(shoot.hidden, hold=True) as ledger, stopping_clearly(shoot):
        ledger.say_findings(_first_files(ledger.entries(), found))
        shoot.replace(CHECKS, checks_bytes(found.checks))
        write_records(shoot, ledger.entries())


def _first_files(entries: Iterable[Entry], found: Checked) -> dict[int, Check]:
    """The findings by the number that their sequence's first file has in the ledger."""
    says = {check.sequence: check for check in found.checks}
    notes: dict[int, Check] = {}
    # By destination: two cards may have given files of one path, and one shoot never has.
    placed = {e.row.destination: e.number for e in entries if e.state is State.PLACED}
    for row in in_order(e.row for e in entries if e.state is State.PLACED):
        stated = says.pop(row.sequence, None) if row.sequence and row.position == 1 else None
        if stated is not None:
            notes[placed[row.destination]] = stated
    return notes


def check_outputs(root: Path, target: Path | None, written: Path | None) -> None:
    """Returns where the table and the corrections may be written: not in the shoot, nor in a card.

    And where a shoot's own checks.csv is one that may be replaced.
    Raises OutputNotWritable, and what cards_of raises.
    """
    shoots, card = ((root,), None) if is_shoot(os.fspath(root)) else ((), root)
    cards = records.cards_of(root) if shoots else ()
    if shoots:
        _refuse_foreign(root)
    for file, output in ((target, Output.CHECKS), (written, Output.CORRECTIONS)):
        if file is not None:
            check_target(file, output=output, card=card, shoots=shoots, cards=cards)


def _refuse_foreign(root: Path) -> None:
    """A table that no check of ours wrote may be the user's own."""
    if is_foreign(root / CHECKS, Output.CHECKS):
        raise OutputNotWritable(
            f"{root / CHECKS} is there already and was not written by `sorter check`: it is never "
            "replaced. Move it away, and run it again."
        )


def write_table(target: Path, found: Checked) -> None:
    """The file holds the table of findings. Raises OutputNotWritable."""
    replace_file(target, checks_bytes(found.checks), Output.CHECKS)


def write_suggested(target: Path, found: Checked) -> bool:
    """The file holds what is suggested as corrections; whether it was written now.

    Raises OutputNotWritable, also where anything else is there: it may have been edited.
    """
    return add_file(target, corrections_bytes(found.suggested))
