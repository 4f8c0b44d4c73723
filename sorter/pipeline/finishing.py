"""A merged picture brought into the shoot: looked at, its Exif put back, verified, noted, placed."""

from __future__ import annotations

import hashlib
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.disk.workplace import write_pieces
from sorter.errors import BadShoot
from sorter.handoff.exif import CannotPutBack, put_back
from sorter.model.folders import RESULTS
from sorter.model.kinds import Role
from sorter.model.note import Related
from sorter.model.plan import Entry, Placement, State
from sorter.model.reference import Reference
from sorter.model.relation_kind import RelationKind
from sorter.model.row import Row, is_brought_back
from sorter.model.stack import Stack
from sorter.pixels.decoded import Decoded, Undecodable, picture_digest
from sorter.planning import names
from sorter.planning.places import another_name
from sorter.reading.reference import read_reference
from sorter.writing.ledger import Ledger
from sorter.writing.target import Carried, Target, check_any, stopping_clearly

CHANGED: Final = "putting its Exif back would have changed the picture, and was left out"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finished:
    """A result that lies verified among the unfinished files. notes: what is to be said of it.

    given: bytes and digest of what the other program made; None where it lies there as it was made.
    """

    number: int
    bytes: int
    sha256: str
    notes: tuple[str, ...] = ()
    given: tuple[int, str] | None = None


def finish(shoot: Shoot, number: int, data: bytes, picture: Decoded, stack: Stack) -> Finished:
    """The picture with the Exif of its stack, as the unfinished file of this number.

    data: the bytes of its file. picture: what these decode to; that it is the same afterwards is
    proved by decoding the new file too. Several threads may do it at a time. Raises OSError.
    """
    try:
        size = (picture.width, picture.height)
        parts = put_back(data, _reference(shoot, stack), slices=stack.frames, size=size)
    except CannotPutBack as why:
        return as_it_is(shoot, number, data, f"its Exif could not be put back: {why}")
    count, sha256 = write_pieces(shoot, number, parts)
    if _decoded(shoot, number) != picture:
        return as_it_is(shoot, number, data, CHANGED)
    given = (len(data), hashlib.sha256(data).hexdigest())
    return Finished(number=number, bytes=count, sha256=sha256, given=given)


def _decoded(shoot: Shoot, number: int) -> Decoded | None:
    """What the unfinished file decodes to; None where it does not."""
    with suppress(Undecodable):
        return picture_digest(Path(shoot.at(shoot.unfinished(number))))
    return None


def as_it_is(shoot: Shoot, number: int, data: bytes, note: str) -> Finished:
    """The bytes as they are, as the unfinished file of this number. Raises OSError."""
    count, sha256 = write_pieces(shoot, number, [data])
    return Finished(number=number, bytes=count, sha256=sha256, notes=(note,))


def _reference(shoot: Shoot, stack: Stack) -> Reference:
    """What the stack's first frame says of itself. Raises CannotPutBack where it cannot be read."""
    path = first_of(stack).destination
    try:
        with Card(shoot.root, of_shoot=True).open(path) as source:
            return read_reference(source)
    except OSError as error:
        raise CannotPutBack(f"{path} cannot be read ({error.strerror})") from error


def first_of(stack: Stack) -> Row:
    """The row of the stack's first frame in order of capture."""
    return min((each.row for each in stack.slices), key=lambda row: row.position or 0)


def placement_of(stack: Stack, finished: Finished, destination: str, made: str) -> Placement:
    """What the manifest says of a result: its stack's data, and the depth that it covers.

    made: how it came about, such as the program that merged it.
    """
    first, rows = first_of(stack), [each.row for each in stack.slices]
    near = [row.focus_near_m for row in rows if row.focus_near_m is not None]
    far = [row.focus_far_m for row in rows if row.focus_far_m is not None]
    row = replace(
        first,
        source="",
        destination=destination,
        frame=None,
        position=None,
        role=Role.RESULT,
        focus_near_m=min(near, default=None),
        focus_far_m=max(far, default=None),
        bytes=finished.bytes,
        sha256=finished.sha256,
        grounds="",
        remarks=(Related(what=RelationKind.RESULT, sequence=stack.number),),
    )
    notes = (f"{made} of {stack.frames} frames", *finished.notes)
    return Placement(
        row=row, carrying_notes=notes, fingerprint=1
    )  # it was read: nobody has to look at it again


@dataclass(slots=True, kw_only=True)
class Keeper:
    """Notes and places results, one after the other. To be used by one thread.

    Where an undo was stopped nothing is kept: raises BadShoot. What the shoot's disk or its ledger
    has against it is raised as what Target makes of it.
    """

    shoot: Shoot
    ledger: Ledger
    _target: Target = field(init=False)
    _next: int = field(init=False)
    _taken: set[str] = field(init=False)
    _results: dict[int, list[Entry]] = field(init=False)

    def __post_init__(self) -> None:
        if any(run.is_undoing for run in self.ledger.runs()):
            raise BadShoot(
                f"{self.shoot.root}: an undo was stopped here. Run `sorter undo` with this folder "
                "again to end it."
            )
        self._target = Target(self.shoot, self.ledger, another_name)
        self._target.recover(None)
        check_any([self._target])
        self._next = self.ledger.next_number()
        entries = self.ledger.entries()
        self._taken = {names.same(entry.row.destination) for entry in entries}
        self._results = {}
        for entry in entries:
            if entry.state is State.PLACED and is_brought_back(entry.row):
                self._results.setdefault(entry.row.sequence or 0, []).append(entry)

    def number(self) -> int:
        """A number for one more result."""
        self._next += 1
        return self._next - 1

    def results(self, sequence: int) -> list[Entry]:
        """The sequence's results that lie in the shoot and came from no card, the last one last."""
        return [entry for entry in self._results.get(sequence, []) if self._is_here(entry)]

    def knows(self, path: str) -> bool:
        """Whether the shoot has a file of its own at this path."""
        return names.same(path) in self._taken

    def equal(self, stack: Stack, finished: Finished) -> str:
        """Where the stack has a result of just these bytes; empty where it has none."""
        there = self.results(stack.number)
        same = (e.row.destination for e in there if e.row.sha256 == finished.sha256)
        return next(same, "")

    def keep(
        self, stack: Stack, finished: Finished, name: str, made: str, *, instead: str = ""
    ) -> str:
        """The result is known and in its place; returns where: the name, or with a number behind it.

        An earlier result of the stack that someone removed is known no more. instead: the path of a
        file in whose place it comes; that one is set aside.
        """
        known = self._results.get(stack.number, [])
        lost = [entry for entry in known if self._is_gone(entry)]
        self._taken -= {names.same(entry.row.destination) for entry in lost}
        destination = instead or self._free(f"{RESULTS}/{names.legal(name)}")
        placement = placement_of(stack, finished, destination, made)
        entry = self.ledger.add_result(finished.number, placement, finished.given)
        if lost:
            self.ledger.drop_results(entry.number for entry in lost)
        if instead:
            self._set_aside(finished.number, instead)
        self._target.settle([Carried(entry=entry)], None)
        self._target.flush()
        check_any([self._target])
        placed = self._target.outcome.placed[-1]
        self._taken.add(names.same(placed.row.destination))
        self._results[stack.number] = [*(each for each in known if each not in lost), placed]
        return placed.row.destination

    def tidy_up(self) -> None:
        """Parts of results, where the run was stopped, take no room any more."""
        self._target.tidy_up()

    def _set_aside(self, number: int, path: str) -> None:
        with stopping_clearly(self.shoot):
            self.shoot.set_aside(number, path)

    def _is_here(self, entry: Entry) -> bool:
        return self.shoot.size(entry.row.destination) == entry.row.bytes

    def _is_gone(self, entry: Entry) -> bool:
        return self.shoot.size(entry.row.destination) is None

    def _free(self, path: str) -> str:
        """The path, or the first with a number that nothing in the shoot has."""
        number, free = 1, path
        while names.same(free) in self._taken or self.shoot.size(free) is not None:
            number += 1
            free = another_name(path, number)
        return free
