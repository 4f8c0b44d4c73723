"""Undo: the newest operation of a shoot taken back: an ingest, a regrouping, an adoption."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Final, Self

from sorter.disk.originals import Original, Originals
from sorter.disk.output import holds_ledger, is_within, real_path
from sorter.disk.reported import ReportFolder
from sorter.disk.shoot import Shoot
from sorter.errors import CardNotFound, NoCard, NothingToUndo, OnlyCopies
from sorter.model.operation import Operation, OperationKind, newest
from sorter.model.plan import Entry
from sorter.model.progress import CountProgress
from sorter.model.row import is_brought_back
from sorter.page.render import GENERATOR
from sorter.pipeline.ingest_options import SharedCount
from sorter.pipeline.recording import (
    drop_findings,
    is_up_to_date,
    records_of,
    write_records,
)
from sorter.pipeline.regrouping import changed_by, give_up, take_back
from sorter.pipeline.seeking import elsewhere, exchanged
from sorter.writing.ledger import IngestRun, Ledger
from sorter.writing.target import stopping_clearly
from sorter.writing.undo import CHANGED, Undoing, Undone, compared_copies, is_here

SET_ASIDE: Final = "set aside when a good copy took its place"
MERGED: Final = "merged from frames that were taken back: no ingest brought it"

_LACKS: Final = {
    Original.GONE: "not on the card at {card} any more",
    Original.OTHER: "not the same any more on the card at {card}",
    Original.LINKED: "only behind a link on the card at {card}, and no link is followed",
    Original.OURS: "only in a folder of the shoot itself, to which the card at {card} leads",
    Original.ITSELF: "on the card at {card} only as another name of the copy itself",
}
"""Why a copy is the only one, by what the card has in its original's place."""


class Undo:
    """What was done to a shoot last, to be taken back; nothing is done before `carry`.

    operation: this one. run: the newest ingest. card: where the card is
    now; None for where it was. To be used in a with statement. Raises NoShoot where it is no shoot,
    NothingToUndo, NoCard where that is the shoot or any other one, CardNotFound and CardNotReadable
    where moved files are to go back and their card is not there or closed, ShootBusy, LedgerDamaged.
    """

    def __init__(self, root: Path, card: Path | None) -> None:
        self._shoot = Shoot(root)
        self._ledger = Ledger(self._shoot.hidden, hold=True, ends=True)
        try:
            self.operation = self._newest(root)
            self.run = self._run()
            self.entries = self._found()
            self.card = Path(self.run.card) if card is None else card
            self._originals = Originals(self.card, self._shoot)
            self._unseen: Mapping[int, str] = {}
            if card is not None:
                self._refuse_shoots()
            self._check_card()
        except BaseException:
            self._ledger.close()
            raise

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._ledger.close()

    def _found(self) -> tuple[Entry, ...]:
        """The files that the ingest brought, or to which the operation gave other places.

        What its owner moved within the shoot since is where it lies now.
        """
        if not self.is_of_ingest:
            return changed_by(self._ledger, self.operation.number)
        known = self._ledger.entries()
        own = [entry for entry in known if entry.run == self.run.run]
        missing = [e for e in own if e.row.sha256 and not is_here(self._shoot, e)]
        moved = elsewhere(self._shoot, missing, known, lambda _: None)
        return tuple(_in_place(e, moved[e.number]) if e.number in moved else e for e in own)

    @property
    def is_of_ingest(self) -> bool:
        """Whether it is an ingest, and so about copies and originals."""
        return self.operation.what is OperationKind.INGEST

    @property
    def here(self) -> tuple[Entry, ...]:
        """Those of the files that are still in the shoot."""
        return tuple(e for e in self.entries if e.row.sha256 and is_here(self._shoot, e))

    def check_originals(self, progress: CountProgress) -> None:
        """Returns where the card still has every copied file, byte by byte, as a file of its own.

        A copy of which the original cannot be looked at stays in the shoot, and is named. A regrouping
        removes no file. Raises OnlyCopies, NoCard, CardNotReadable and CardGone, and nothing is done.
        """
        if not self.is_of_ingest or self.run.moves:
            return
        self._refuse_same_place(f"the card at {self.card}")
        here = self.here
        with suppress(CardNotFound):  # all are lacking then
            self._originals.expect()
        counted = SharedCount(progress, sum(entry.row.bytes for entry in here))
        found = compared_copies(self._shoot, self._originals, here, counted.add)
        self._unseen = found.unseen
        if found.lacking:
            entry, why = found.lacking[0]
            more = f" and {len(found.lacking) - 1} more" if len(found.lacking) > 1 else ""
            raise OnlyCopies(
                f"{entry.row.source}{more}: {_LACKS[why].format(card=self.card)}, so that undo would "
                "remove the only copies that the sorter knows of. Nothing was done. Say where the "
                "card is with --card, or give --without-card to remove them all the same."
            )

    def carry(self, progress: CountProgress) -> Undone:
        """It is taken back. Raises ShootNotWritable, CardNotWritable, NoRoom, CardGone; run it again then."""
        if self.operation.what is OperationKind.REGROUPING:
            return take_back(self._shoot, self._ledger, self.operation, progress)
        if self.operation.what is OperationKind.ADOPTION:
            return give_up(self._shoot, self._ledger, self.operation, progress)
        before = records_of(self._ledger.entries())
        counted = SharedCount(progress, sum(entry.row.bytes for entry in self.entries))
        undoing = Undoing(self._shoot, self._ledger, self._originals, self._unseen)
        undone = undoing.undo(self.run.run, self.entries, counted.add)
        if out := self._exchanged(undone):
            undone = undoing.undo_again(self.run.run, out)
        with stopping_clearly(self._shoot):
            if undone.kept or len(self._ledger.runs()) > 1:
                self._forget(undone)
            else:
                undone.stay |= self._results(self._ledger.entries())
                self._leave_nothing(before)
                undone.stay |= dict.fromkeys(self._shoot.set_aside_before(), SET_ASIDE)
        return undone

    def _exchanged(self, undone: Undone) -> list[tuple[Entry, Entry]]:
        """Files that lie in one another's places, as they were asked for and where they are.

        A copy that is not in its place was not held against the card, and is nothing to be removed.
        """
        changed = [e for e in self.entries if undone.stay.get(e.row.destination) == CHANGED]
        lost = {*undone.lost}
        missing = [e for e in self.entries if e.row.destination in lost]
        if not changed:
            return []
        out, found = exchanged(self._shoot, missing, changed, self._ledger.entries())
        both = [*out, *missing] if out else []
        # What is found leaves its place first: what is not can be missed there then.
        both.sort(key=lambda entry: entry.number not in found)
        return [(e, _in_place(e, found.get(e.number, e.row.destination))) for e in both]

    def _forget(self, undone: Undone) -> None:
        """The ingest is known until all of this is done: a second undo ends it, and takes no other."""
        self._ledger.forget(self.run.run, kept=undone.kept)
        self._forget_results(undone)
        drop_findings(self._shoot, self._ledger)
        write_records(self._shoot, self._ledger.entries())
        self._ledger.forget_run(self.run.run)

    def _forget_results(self, undone: Undone) -> None:
        """What was merged from frames that are in the shoot no more stays, and is known no more."""
        entries = self._ledger.entries()
        left = {e.row.sequence for e in entries if e.row.position is not None}
        orphans = [e for e in entries if is_brought_back(e.row) and e.row.sequence not in left]
        if orphans:
            self._ledger.drop_results(entry.number for entry in orphans)
            undone.stay |= self._results(orphans)

    def _results(self, entries: Iterable[Entry]) -> dict[str, str]:
        """The paths of results that lie in the shoot, with the reason why they stay."""
        there = (e for e in entries if is_brought_back(e.row) and is_here(self._shoot, e))
        return {entry.row.destination: MERGED for entry in there}

    def _leave_nothing(self, before: dict[str, bytes]) -> None:
        """No ingest is left: the sorter's own files go, and the folder where nothing else is in it.

        A manifest that was edited since is the user's own, and stays.
        """
        for name, data in before.items():
            if is_up_to_date(self._shoot.root / name, data):
                self._shoot.remove(name)
        drop_findings(self._shoot, self._ledger)
        ReportFolder(self._shoot, GENERATOR).drop_all()
        self._ledger.close()
        self._shoot.remove_hidden()

    def _newest(self, root: Path) -> Operation:
        found = newest(self._ledger.operations())
        if found is None:
            raise NothingToUndo(f"{root}: there is no ingest to take back.")
        return found

    def _run(self) -> IngestRun:
        """The ingest that it is, or that was there before it: it tells where the card is."""
        runs = self._ledger.runs()
        return next((run for run in runs if run.run == self.operation.run), runs[-1])

    def _check_card(self) -> None:
        """Moved files go back only to a card that is there: never to the folder it was mounted on."""
        if not self.is_of_ingest or not self.run.moves:
            return
        self._refuse_same_place(f"the card at {self.card}")
        same = str(self.card) == self.run.card
        unmounted = same and self.run.mounted and not os.path.ismount(self.card)
        try:
            self._originals.expect()
        except CardNotFound:
            unmounted = True
        if unmounted:
            raise CardNotFound(
                f"{self.card}: the card that these files came from is not there. Put it in, or say "
                "where it is with --card."
            )

    def _refuse_shoots(self) -> None:
        """The shoot's own files are no originals, and another shoot's are copies too."""
        notes = f"--card {self.card}"
        self._refuse_same_place(notes)
        if holds_ledger(real_path(self.card)):
            raise NoCard(
                f"{notes} is a shoot, and no card. Name the folder that the files came from."
            )

    def _refuse_same_place(self, notes: str) -> None:
        """Raises NoCard where card and shoot are one folder, or one of them lies in the other."""
        shoot, card = self._shoot.root, real_path(self.card)
        if is_within(card, shoot) or self._originals.is_ours():
            how = "is the shoot" if is_within(shoot, card) else "lies in the shoot"
        elif is_within(shoot, card):
            how = "holds the shoot"
        else:
            return
        raise NoCard(
            f"{notes} {how} {shoot}, whose files are the copies that are to be taken back. Name with "
            "--card the folder that they came from."
        )


def _in_place(entry: Entry, destination: str) -> Entry:
    row = replace(entry.row, destination=destination)
    return replace(entry, placement=replace(entry.placement, row=row))
