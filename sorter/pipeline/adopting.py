"""The places that a shoot's owner gave to its files, noted in the ledger as theirs; no file is moved."""

from __future__ import annotations

from dataclasses import replace
from typing import Final

from sorter.disk.shoot import Shoot
from sorter.errors import BadShoot
from sorter.model.plan import State
from sorter.pipeline.recording import RECORDS, write_records
from sorter.planning.adopting import adoptions, is_text
from sorter.writing.ledger import Ledger
from sorter.writing.target import stopping_clearly
from sorter.writing.verify import Findings

NO_TEXT: Final = "its name is no text (UTF-8), and cannot be noted: give it another one"
HELD: Final = (
    "this is the place of a file that is noted here still: its own new name is no text (UTF-8)"
)


def refuse_undoing(shoot: Shoot, ledger: Ledger) -> None:
    """Returns where no undo was stopped: its files are on their way. Raises BadShoot."""
    if any(run.is_undoing for run in ledger.runs()):
        raise BadShoot(
            f"{shoot.root}: an undo was stopped here. Run `sorter undo` with this folder again to "
            "end it."
        )


def has_to_adopt(findings: Findings) -> bool:
    """Whether there is a new place to be noted, or a list that does not say what is noted.

    So it is where an adoption was stopped between the ledger and its lists.
    """
    return bool(findings.moved) or any(path in RECORDS for path in findings.edited)


def adopt(shoot: Shoot, ledger: Ledger, findings: Findings) -> None:
    """The ledger has the files that were moved where they lie now, and the lists say so.

    All is noted in one commit; the lists are written after it, and by every run that writes lists where
    that was cut. The findings say what was noted. Raises ShootNotWritable, NoRoom, LedgerDamaged.
    """
    here = {**findings.sound, **findings.worked}
    changes = adoptions(
        ledger.entries(),
        {number: here[number].row.destination for number in findings.moved},
        sorted(findings.lost),
        findings.names,
    )
    verified = frozenset(entry.number for entry in ledger.entries(State.VERIFIED))
    with stopping_clearly(shoot):
        shoot.prepare()
        shoot.remove_unfinished(keep=verified)  # a list that was cut while it was written
    if changes:
        ledger.add_adoption(changes)
    write_records(shoot, ledger.entries())
    findings.edited = [path for path in findings.edited if path not in RECORDS]
    findings.adopt(change.number for change in changes if change.number in findings.moved)
    findings.unnoted = {
        number: HELD if is_text(here[number].row.destination) else NO_TEXT
        for number in findings.moved
    }
    for change in changes:
        if change.number in findings.lost:
            lost = findings.lost[change.number]
            findings.lost[change.number] = replace(lost, placement=change.after)
