"""The second copy of a shoot: a folder that is brought to what the shoot holds, in the same pass.

It is a shoot folder in its own right, with a ledger of its own that knows every file by the number
that it has in the shoot's. What its disk has against it does not stop the work on the shoot.
"""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import ExitStack
from pathlib import Path

from sorter.disk.output import check_beside, is_within, real_path
from sorter.disk.shoot import Shoot
from sorter.errors import BadBackup, NoShoot, ShootNotWritable, SorterError
from sorter.model.plan import Entry, State
from sorter.pipeline.basis import basis_of
from sorter.pipeline.planned import BackupFound, Failure
from sorter.pipeline.recording import new_ledger, refuse_foreign_lists
from sorter.writing.compare import Comparison, judge_copies
from sorter.writing.ledger import Ledger, unknown_entries
from sorter.writing.reading import readers


class Backup:
    """The folder of the second copy, open during one ingest of a card into a shoot.

    ledger: its ledger, where it has one. failure: why it takes nothing; None while it does. Raises BadShoot
    where the folder cannot be one, or lies in the card or the shoot, or holds one of them.
    """

    def __init__(self, root: Path, *, card: Path, shoot: Shoot) -> None:
        check_beside(root, card=card)
        check_apart_from(root, shoot)
        self.shoot = Shoot(root)
        self.ledger: Ledger | None = None
        self.failure: SorterError | None = None

    def open(self, known: Iterable[Entry], *, hold: bool, open_files: ExitStack) -> None:
        """Its ledger is open, where it has one, and fits the shoot's; nothing is changed.

        known: what the shoot's ledger knows. Raises BadBackup, ShootBusy, LedgerDamaged.
        """
        self.ledger, self.failure = None, None
        try:
            self.ledger = open_files.enter_context(Ledger(self.shoot.hidden, hold=hold))
        except NoShoot:
            refuse_foreign_lists(self.shoot)
        except ShootNotWritable as error:
            self.failure = error
        else:
            refuse_unknown_entries(self.shoot, known, self.ledger.entries())

    def to_write(self, open_files: ExitStack) -> Ledger:
        """Its ledger, made where it has none. Raises OSError, and what the ledger raises."""
        self.shoot.prepare()
        if self.ledger is None:
            self.ledger = open_files.enter_context(new_ledger(self.shoot))
        return self.ledger

    def find(
        self, known: Iterable[Entry], numbers: Iterable[int], own: Iterable[Entry] = ()
    ) -> BackupFound:
        """How it stands with what the shoot has; the copies of these files are read, and nothing changed.

        known: what the shoot's ledger knows. own: of it the files of a stopped plan that is gone on with.
        """
        compared = Comparison()
        failure, entries = self.failure, self._entries()
        placed = [entry for entry in entries if entry.state is State.PLACED]
        try:
            self._judge(placed, set(numbers), compared)
        except SorterError as error:  # a folder of it is a link now
            failure, placed = failure or error, []
        return BackupFound(
            folder=self.shoot.root,
            basis=self.basis(),
            compared=compared.value(),
            lacking=lacking(known, placed, compared.bad.values()),
            ahead=_ahead(entries, own) if failure is None else (),
            failure=Failure.of(failure),
        )

    def _judge(self, placed: Iterable[Entry], numbers: set[int], compared: Comparison) -> None:
        asked = [(str(entry.number), entry) for entry in placed if entry.number in numbers]
        with readers() as pool:
            judge_copies(self.shoot, asked, compared, lambda _: None, pool)

    def basis(self) -> str:
        """What its ledger holds, as basis_of tells it; empty where there is none, or it takes nothing."""
        entries = self._entries()
        if self.ledger is None or self.failure is not None:
            return ""
        return basis_of(self.ledger.runs(), entries)

    def _entries(self) -> tuple[Entry, ...]:
        if self.ledger is None or self.failure is not None:
            return ()
        try:
            return self.ledger.entries()
        except SorterError as error:  # it cannot be read any more
            self.failure = error
            return ()


def lacking(
    known: Iterable[Entry],
    placed: Iterable[Entry],
    bad: Iterable[Entry],
    waiting: frozenset[int] = frozenset(),
) -> tuple[Entry, ...]:
    """What the shoot has, or is to get now, and its second copy has not.

    known: what the shoot's ledger knows; waiting: what it is to get. placed: what is in its place in the
    second copy; bad: what of it is there no more, or spoiled.
    """
    has = {entry.number for entry in placed} - {entry.number for entry in bad}
    return tuple(
        entry
        for entry in known
        if entry.number not in has and (entry.state is State.PLACED or entry.number in waiting)
    )


def _ahead(own: Iterable[Entry], lead: Iterable[Entry]) -> tuple[Entry, ...]:
    """What was carried there, and is still to be carried to the shoot."""
    waiting = {entry.number for entry in lead if entry.state is State.PLANNED}
    carried = (State.PLACED, State.VERIFIED)
    return tuple(entry for entry in own if entry.state in carried and entry.number in waiting)


def refuse_unknown_entries(shoot: Shoot, lead: Iterable[Entry], own: Iterable[Entry]) -> None:
    """Raises BadBackup where the folder holds what the shoot's ledger does not know."""
    unknown = unknown_entries(lead, own)
    if unknown:
        more = f" and {len(unknown) - 1} more" if len(unknown) > 1 else ""
        raise BadBackup(
            f"{shoot.root} holds what the shoot does not know ({unknown[0].row.source}{more}), and is "
            "no second copy of it. Nothing was done: take that ingest back there with `sorter undo`, "
            "or name another folder."
        )


def check_apart_from(root: Path, shoot: Shoot) -> None:
    """Returns where neither of the two folders is the other, or lies in it. Raises BadBackup."""
    one, two = real_path(root), real_path(shoot.root)
    if is_within(one, two) or is_within(two, one):
        raise BadBackup(
            f"{root}: the second copy and the shoot {shoot.root} may not lie in one another. Name a "
            "folder elsewhere, best on another disk."
        )
