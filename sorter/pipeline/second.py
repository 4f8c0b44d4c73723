"""The second copy of a shoot: a folder that is brought to what the shoot holds, in the same pass.

It is a shoot folder in its own right, with a ledger of its own that knows every file by the number
that it has in the shoot's. What its disk has against it does not stop the work on the shoot.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

from sorter.disk.output import check_beside, is_within, real_path
from sorter.disk.shoot import Shoot
from sorter.errors import BadBackup, NoShoot, ShootNotWritable, SorterError
from sorter.model.plan import Entry, State
from sorter.pipeline.recording import new_ledger, refuse_foreign_lists
from sorter.pipeline.room import no_room
from sorter.pipeline.wishes import SecondCopy
from sorter.planning.places import another_name
from sorter.writing.compare import Comparison, judge_copies
from sorter.writing.ledger import Ledger, strangers
from sorter.writing.reading import readers
from sorter.writing.target import Outcome, Target


class Second:
    """The folder of the second copy, during one ingest of a card into a shoot.

    failure: why it takes nothing; None while it does. Raises BadShoot where the folder cannot be
    one, or lies in the card or the shoot, or holds one of them.
    """

    def __init__(self, root: Path, *, card: Path, shoot: Shoot) -> None:
        check_beside(root, card=card)
        check_apart_from(root, shoot)
        self.shoot = Shoot(root)
        self.target: Target | None = None
        self.comparison = Comparison()
        self._ledger: Ledger | None = None
        self._failure: SorterError | None = None
        self._bad: tuple[Entry, ...] = ()

    @property
    def failure(self) -> SorterError | None:
        """What stopped it, before the work or in it."""
        return self._failure or (self.target.failure if self.target else None)

    def look(self, known: Iterable[Entry], *, hold: bool, open_files: ExitStack) -> None:
        """Its ledger is open, where it has one, and fits the shoot's; nothing is changed.

        known: what the shoot's ledger knows. Raises BadBackup, ShootBusy, LedgerDamaged.
        """
        try:
            self._ledger = open_files.enter_context(Ledger(self.shoot.hidden, hold=hold))
        except NoShoot:
            refuse_foreign_lists(self.shoot)
            return
        except ShootNotWritable as error:
            self._failure = error
            return
        refuse_strangers(self.shoot, known, self._ledger.entries())

    def compare(self, numbers: Iterable[int], tick: Callable[[int], None]) -> None:
        """The copies of these files are read and held against their digests."""
        wanted = set(numbers)
        try:
            placed = [(str(e.number), e) for e in self._placed() if e.number in wanted]
            with readers() as pool:
                judge_copies(self.shoot, placed, self.comparison, tick, pool)
        except SorterError as error:  # a folder of it is a link now, or its ledger cannot be read
            self._failure = self._failure or error

    def lacking(self, known: Iterable[Entry], waiting: frozenset[int]) -> tuple[Entry, ...]:
        """What the shoot has, or is to get now, and is not here. waiting: what it is to get."""
        bad = {entry.number for entry in self.comparison.bad.values()}
        has = {entry.number for entry in self._placed()} - bad
        return tuple(
            entry
            for entry in known
            if entry.number not in has and (entry.state is State.PLACED or entry.number in waiting)
        )

    def ahead(self, lead: Iterable[Entry]) -> tuple[Entry, ...]:
        """What was carried here, and is still to be carried to the shoot. lead: what its ledger knows."""
        if self._ledger is None or self._failure is not None:
            return ()
        waiting = {entry.number for entry in lead if entry.state is State.PLANNED}
        carried = (State.PLACED, State.VERIFIED)
        own = self._ledger.entries()
        return tuple(e for e in own if e.state in carried and e.number in waiting)

    def _placed(self) -> Iterator[Entry]:
        if self._ledger is not None and self._failure is None:
            yield from (e for e in self._ledger.entries() if e.state is State.PLACED)

    # ---- carrying ----------------------------------------------------------------------------

    def check_room(self, sizes: Iterable[int]) -> None:
        """Where it has no room for so much, or does not tell, it takes nothing."""
        try:
            error: SorterError | None = no_room(self.shoot, sizes)
        except SorterError as broken:
            error = broken
        self._failure = self._failure or error

    def begin(self, lead: Ledger, open_files: ExitStack) -> None:
        """Its ledger knows all that the shoot's does, and it takes files from now on."""
        if self._failure is not None:
            return
        try:
            self.shoot.prepare()
            if self._ledger is None:
                self._ledger = open_files.enter_context(new_ledger(self.shoot))
            self._follow(self._ledger, lead)
        except OSError as error:
            self._failure = ShootNotWritable(
                f"{self.shoot.root}: {error.strerror}. Check the disk and its permissions."
            )
        except SorterError as error:
            self._failure = error
        else:
            self.target = Target(self.shoot, self._ledger, another_name)
            self.target.outcome.held.update(self.comparison.held)

    def _follow(self, own: Ledger, lead: Ledger) -> None:
        own.follow(lead)
        bad = self.comparison.bad.values()
        own.note(replace(entry, state=State.PLANNED) for entry in bad)
        self._bad = tuple(self.comparison.changed.values())
        self.comparison = replace(self.comparison, missing={}, changed={})

    def wanted(self, lead: Iterable[Entry], waiting: frozenset[int]) -> dict[int, Entry]:
        """What is to be carried here, by number: what the shoot has, or is to get now (waiting)."""
        if self.target is None or self.target.failure is not None:
            return {}
        found: dict[int, Entry] = {}
        with self.target.failing():
            own = {entry.number: entry for entry in self.target.ledger.entries()}
            for entry in lead:
                mine = own.get(entry.number)
                given = entry.state is State.PLACED or entry.number in waiting
                if given and mine and mine.state in (State.PLANNED, State.FAILED):
                    found[entry.number] = mine
        return found

    def lose(self, lost: Iterable[Entry]) -> None:
        """What the card does not have any more, and was not carried here either, is noted so."""
        if self.target is None:
            return
        with self.target.failing():
            own = {e.number: e for e in self.target.ledger.entries() if e.state is State.PLANNED}
            self.target.ledger.note(
                replace(own[e.number], placement=e.placement, state=e.state)
                for e in lost
                if e.number in own
            )

    def report(
        self, ended: Mapping[Target, tuple[Entry, ...]], runs: frozenset[int], there: set[int]
    ) -> SecondCopy:
        """How it stands with the files of these ingests, and with those of these numbers.

        ended: all that the ledgers of the targets know in the end. Where it took no part in the run,
        its own is asked.
        """
        known = ended[self.target] if self.target else self._entries()
        entries = tuple(e for e in known if e.run in runs or e.number in there)
        outcome = self.target.outcome if self.target else Outcome()
        theirs = {e.number: e for target in ended.keys() - {self.target} for e in ended[target]}
        same = {e.number for e in entries if _is_copy_of(e, theirs.get(e.number))}
        return SecondCopy(
            folder=self.shoot.root,
            entries=entries,
            new=tuple(outcome.placed),
            edited=tuple(self.comparison.edited.values()),
            changed=self._bad,
            held={number: held for number, held in outcome.held.items() if number in same},
            differing=tuple(outcome.differing),
            failed=tuple(entry for entry in entries if entry.state is State.FAILED),
            failure=self.failure,
        )

    def _entries(self) -> tuple[Entry, ...]:
        """Every file as its ledger knows it; none where that cannot be read any more."""
        try:
            return self._ledger.entries() if self._ledger is not None else ()
        except SorterError as error:
            self._failure = self._failure or error
            return ()


def _is_copy_of(entry: Entry, lead: Entry | None) -> bool:
    """Whether it holds what the shoot holds; a card edited between two runs may have given each its own."""
    return lead is None or entry.row.sha256 == lead.row.sha256


def refuse_strangers(shoot: Shoot, lead: Iterable[Entry], own: Iterable[Entry]) -> None:
    """Raises BadBackup where the folder holds what the shoot's ledger does not know."""
    unknown = strangers(lead, own)
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
