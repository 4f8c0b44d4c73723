"""One folder that a card is carried into: what is verified there is noted, placed, and noted again.

A run may have two of them. What the disk of one has against it ends the work on that one alone.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Final, Protocol, TypeAlias

from sorter.disk.files import FULL
from sorter.disk.shoot import UNFINISHED, Shoot
from sorter.errors import Cancelled, CardGone, NoRoom, ShootNotWritable, SorterError
from sorter.model.note import Renamed, WhyRenamed
from sorter.model.plan import ContentCheck, Entry, State, WhyNotRemoved
from sorter.writing.ledger import Ledger
from sorter.writing.notes import DIFFERS, failed

Renaming: TypeAlias = Callable[[str, int], str]
"""Another destination for one that was taken meanwhile: the path, and the number of the try."""


SOME: Final = 3
"""Folders that are forced one by one; more of them, where the disk is forced as a whole anyway, go
with that: of 4,000 small files in a hundred folders this took 0.3 s."""


class Withheld(Exception):
    """The card does not give a file that it gave before, or gives other bytes now; the text says why."""


class Taking(Protocol):
    """The card's side of a move. take raises Withheld for the card, OSError for the shoot's disk."""

    def take(self, entry: Entry) -> bool:
        """Whether a rename brought it to its place; else its copy is under .sorter now."""

    def is_on_card(self, entry: Entry) -> bool:
        """Whether the card still has something at the file's path."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Carried:
    """What became of one file. reason: why it could not be carried, else empty.

    held: whether its copy was read back and has the digest of what the card gave. twice: whether the
    card gave the same when it was read a second time; no where it was not read again. mended: it gave
    other bytes at first.
    """

    entry: Entry
    reason: str = ""
    held: ContentCheck = ContentCheck.NO
    twice: ContentCheck = ContentCheck.NO
    mended: bool = False


@dataclass(slots=True, kw_only=True)
class Outcome:
    """What became of the files of one run.

    placed: under their final names, verified. held: by number, the copies that were read whole in this
    run and had their digests; twice: the card's files that were read a second time and had the same.
    mended: of which it gave other bytes at first. differing: not carried, for their copies came out
    wrong. gone: files that this run took off the
    card. kept: those that were to be moved and are still there, and why. unmended: why those that were
    to be replaced by good ones could not be, by number. aside: where they lie now.
    """

    placed: list[Entry] = field(default_factory=list)
    held: dict[int, ContentCheck] = field(default_factory=dict)
    twice: dict[int, ContentCheck] = field(default_factory=dict)
    mended: list[Entry] = field(default_factory=list)
    differing: list[Entry] = field(default_factory=list)
    gone: list[Entry] = field(default_factory=list)
    kept: list[tuple[Entry, WhyNotRemoved]] = field(default_factory=list)
    unmended: dict[int, str] = field(default_factory=dict)
    aside: list[str] = field(default_factory=list)


_NOT_ITS_OWN: Final = (CardGone, Cancelled)
"""What ends a run as a whole, and is no target's failure."""


class _Guard:
    """Takes what a target's disk or ledger has against it, as its failure."""

    __slots__ = ("_target",)

    def __init__(self, target: Target) -> None:
        self._target = target

    def __enter__(self) -> None:
        """Nothing is to be done yet."""

    def __exit__(self, _: object, error: BaseException | None, __: object) -> bool:
        if isinstance(error, OSError):
            error = _in_words(self._target.shoot, error)
        if not isinstance(error, SorterError) or isinstance(error, _NOT_ITS_OWN):
            return False
        self._target.fail(error)
        return True


class Target:
    """A shoot folder and its ledger, for one run. failure: why it takes no more; None while it does.

    broken: the numbers of files that were carried before and are to be replaced by good copies:
    what is in their places then is set aside, and where no copy comes they stay as they are.
    Its verbs raise nothing that its own disk or ledger has against them: that is the failure.
    """

    def __init__(
        self,
        shoot: Shoot,
        ledger: Ledger,
        renaming: Renaming,
        *,
        broken: frozenset[int] = frozenset(),
    ) -> None:
        self.shoot = shoot
        self.ledger = ledger
        self.outcome = Outcome()
        self.failure: SorterError | None = None
        self.halved: set[int] = set()  # frames of which a file could not be read
        self._renaming = renaming
        self._broken = broken
        self._placed: list[Entry] = []  # under their final names, and not noted yet

    def failing(self) -> _Guard:
        """What goes wrong within is this target's failure, and the end of it. The card's is not."""
        return _Guard(self)

    def fail(self, error: SorterError) -> None:
        """It takes no more; what failed first is what counts."""
        self.failure = self.failure or error

    # ---- a batch ---------------------------------------------------------------------------

    def settle(
        self, done: Iterable[Carried], taking: Taking | None, *, at_once: bool = False
    ) -> None:
        """What was verified is noted and placed, and noted as placed with the next batch or `flush`.

        What was not is noted with its reason.

        taking: for those of a move, which may have no copy under .sorter. at_once: the disk is forced
        as a whole rather than folder by folder.
        """
        if self.failure is not None:
            return
        with self.failing():
            verified = []
            for each in done:
                if each.reason:
                    self._leave(each.entry, each.reason)
                else:
                    self.outcome.held[each.entry.number] = each.held
                    self.outcome.twice[each.entry.number] = each.twice
                    self.outcome.mended += [each.entry] if each.mended else []
                    verified.append(replace(each.entry, state=State.VERIFIED))
            if verified:
                self._bring(verified, taking, at_once=at_once)

    def _leave(self, entry: Entry, reason: str) -> None:
        """Noted as failed, its reason said; the next run tries it again."""
        if entry.number in self._broken:
            self.shoot.remove(self.shoot.unfinished(entry.number))
            self.outcome.unmended[entry.number] = reason
            return
        noted = failed(entry, reason)
        self.shoot.remove(self.shoot.unfinished(entry.number))
        self.ledger.note([noted])
        self.halved.add(frame_of(entry))
        if reason == DIFFERS:
            self.outcome.differing.append(noted)

    def _bring(self, verified: list[Entry], taking: Taking | None, *, at_once: bool) -> None:
        self._note(verified, at_once=at_once)
        for entry in verified:
            try:
                self._placed.append(self.place(entry, taking))
            except Withheld as reason:
                del self.outcome.held[entry.number]
                self._leave(entry, str(reason))

    def flush(self) -> None:
        """What was placed last is noted too: else that is done with the next batch, in one commit."""
        with self.failing():
            self._note([], at_once=False)

    def _note(self, verified: list[Entry], *, at_once: bool) -> None:
        """What was placed before, and what is verified now; the names of both are on the disk first.

        A broken one stays noted as placed: cut here, it is found broken, and mended again.
        """
        folders = folders_of(self._placed) | ({UNFINISHED} if verified else set())
        if not (at_once and len(folders) > SOME and self.shoot.force_all()):
            self.shoot.force_folders(folders)
        self.ledger.note((*self._placed, *(e for e in verified if e.number not in self._broken)))
        self.outcome.placed += self._placed
        self._placed = []

    def place(self, entry: Entry, taking: Taking | None) -> Entry:
        """The verified file under its final name, or the next free one if something came there.

        Raises OSError for the shoot's disk, Withheld for the card, and what the ledger raises.
        """
        wanted, tries = entry, 1
        while True:
            try:
                gone = self._come(entry, taking)
            except FileExistsError:
                tries += 1
                entry = self._renamed(wanted, tries)
                self.ledger.note([entry])
            else:
                return replace(entry, state=State.PLACED, gone=gone)

    def _come(self, entry: Entry, taking: Taking | None) -> bool:
        """Out of .sorter by a rename, or of a move from the card by one; whether it left the card."""
        near = entry.moves and self.shoot.size(self.shoot.unfinished(entry.number)) is None
        if near and taking is not None and taking.take(entry):
            return True
        path = entry.row.destination
        if entry.number in self._broken and self.shoot.size(path) is not None:
            self.outcome.aside.append(self.shoot.set_aside(entry.number, path))
        self.shoot.place(entry.number, path)
        return False

    def _renamed(self, entry: Entry, tries: int) -> Entry:
        row = entry.row
        another = self._renaming(row.destination, tries)
        name = another.rpartition("/")[2]
        notes = (*entry.placement.carrying_notes, Renamed(name=name, why=WhyRenamed.CAME))
        placement = replace(
            entry.placement, row=replace(row, destination=another), carrying_notes=notes
        )
        return replace(entry, placement=placement)

    # ---- a stop ----------------------------------------------------------------------------

    def tidy_up(self) -> None:
        """Parts of files, and copies that were not noted yet, take no room while we are stopped.

        What is in its place is noted, now that there may be room for that.
        """
        with contextlib.suppress(OSError, SorterError):
            verified = self.ledger.entries(State.VERIFIED)
            self.shoot.remove_unfinished(keep=frozenset(entry.number for entry in verified))
            self._note([], at_once=False)

    def recover(self, taking: Taking | None) -> None:
        """What a stopped run noted as verified is placed, or planned again where it is not there."""
        with self.failing():
            entries = self.ledger.entries(State.VERIFIED)
            self.shoot.remove_unfinished(keep=frozenset(entry.number for entry in entries))
            found = [self._recovered(entry, taking) for entry in entries]
            self.shoot.force_folders(folders_of(found))
            self.ledger.note(found)
            self.outcome.placed += [entry for entry in found if entry.state is State.PLACED]

    def _recovered(self, entry: Entry, taking: Taking | None) -> Entry:
        if self.shoot.size(self.shoot.unfinished(entry.number)) is not None:
            if held := self.is_on_disk(entry):
                self.outcome.held[entry.number] = held
                return self.place(entry, taking)
        elif held := self.shoot.holds(entry.row.destination, entry.row.bytes, entry.row.sha256):
            self.outcome.held[entry.number] = held
            gone = entry.moves and taking is not None and not taking.is_on_card(entry)
            return replace(entry, state=State.PLACED, gone=gone)
        return replace(entry, state=State.PLANNED)

    def held(self, entry: Entry) -> ContentCheck:
        """Whether the placed copy was read whole in this run and had its digest; it is read now if not.

        One that is not there any more with its size is not held, whatever was seen before. Raises
        OSError.
        """
        row, known = entry.row, self.outcome.held
        if self.shoot.size(row.destination) != row.bytes:
            known[entry.number] = ContentCheck.NO
        elif entry.number not in known:
            known[entry.number] = self.shoot.holds(row.destination, row.bytes, row.sha256)
        return known[entry.number]

    def unfinished(self, entry: Entry) -> str:
        """The path of the entry's unfinished file, as the system names it."""
        return self.shoot.at(self.shoot.unfinished(entry.number))

    def is_on_disk(self, entry: Entry, *, forced: bool = False) -> ContentCheck:
        """Whether the unfinished file, forced to the disk, reads back as the entry's bytes.

        Raises OSError.
        """
        if not forced:
            self.shoot.force(entry.number)
        path = self.shoot.unfinished(entry.number)
        return self.shoot.holds(path, entry.row.bytes, entry.row.sha256)


def check_any(targets: Sequence[Target]) -> None:
    """Returns while one of the targets takes files; else raises what the first has against it."""
    failures = [target.failure for target in targets if target.failure is not None]
    if len(failures) == len(targets):
        raise failures[0]


def frame_of(entry: Entry) -> int:
    """Equal for the files of one frame; a file that is in none goes by itself."""
    return entry.row.frame or -entry.number


def folders_of(entries: Iterable[Entry]) -> set[str]:
    """The folders that the entries' files have their places in."""
    return {entry.row.destination.rpartition("/")[0] for entry in entries}


@contextlib.contextmanager
def stopping_clearly(shoot: Shoot) -> Iterator[None]:
    """What the shoot's disk has against it, as a sentence that says what to do."""
    try:
        yield
    except OSError as error:
        raise _in_words(shoot, error) from error


def _in_words(shoot: Shoot, error: OSError) -> SorterError:
    if error.errno in FULL:
        notes: SorterError = NoRoom(
            f"{shoot.root}: the disk is full. Nothing is lost: make room and run the same "
            "command again; it goes on where it stopped."
        )
    else:
        reason = error.strerror or str(error)
        which = (
            f" ({os.fsdecode(error.filename)})" if isinstance(error.filename, str | bytes) else ""
        )
        notes = ShootNotWritable(
            f"{shoot.root}: {reason}{which}. Nothing is lost: check the disk and its permissions, and run "
            "the same command again; it goes on where it stopped."
        )
    notes.__cause__ = error
    return notes
