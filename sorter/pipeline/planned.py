"""The plan of an ingest: all that one look at card, shoot and second copy found, and all that is to be done.

It is a value: frozen, to be shown, written as JSON, pickled, and carried out, now or in a later session.
"""

from __future__ import annotations

import reprlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Self

from sorter.errors import SorterError
from sorter.model.card import Listing
from sorter.model.compared import Compared
from sorter.model.correction import Correction
from sorter.model.plan import Entry, Placement, Plan
from sorter.pipeline.ingest_options import IngestOptions
from sorter.pipeline.plandict import Json, plan_dict
from sorter.writing.ledger import IngestRun

_SHORT: Final = reprlib.Repr()
_SHORT.maxstring = _SHORT.maxother = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """An error as a value: its class, and its sentence."""

    kind: type[SorterError]
    says: str

    @classmethod
    def of(cls, error: SorterError | None) -> Self | None:
        """The error as a value; None where there is none."""
        return None if error is None else cls(kind=type(error), says=str(error))

    def error(self) -> SorterError:
        """The error again."""
        return self.kind(self.says)


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupFound:
    """What a look found of the second copy.

    folder: every link followed. basis: what its ledger held (basis_of). compared: its copies, read; by
    number, for its paths are numbers. lacking: what the shoot has and it has not. ahead: what it has
    already, and the shoot is still to get, as it knows them. failure: why it takes nothing.
    """

    folder: Path
    basis: str = ""
    compared: Compared = field(default_factory=Compared)
    lacking: tuple[Entry, ...] = ()
    ahead: tuple[Entry, ...] = ()
    failure: Failure | None = None


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class IngestPlan(Plan):
    """All that one look found out, and all that is to be done; the rest follows from it.

    card: the folder, from the root of the file system on. shoot: every link followed. options: what the user
    asked for; of a stopped plan that is gone on with nothing is asked again. basis: what the shoot's ledger
    held (basis_of). listing: the card's files. compared: those that the shoot has.
    stored: entries of stopped plans that are to be carried and can be. resumed: these and others that are
    carried to the places that they have: not carried yet, or gone missing; of a stopped plan what is spoiled
    too, which gets a name beside. goes_on: the stopped ingest whose plan this is; None for a new plan.
    waits_elsewhere: one that waits for another card. repeats: the shoot held something before, so that
    the card may have been read before. too_late: corrections of frames that are in the shoot already as
    something else. suggested: what the pictures made of the grouping, where they were to be looked at. thrown: pictures
    in a trash of the card, or another folder of a system, as far as was looked. backup: what was found
    of the second copy; None where none is asked for. astray: how many copies are not in their places, and lie
    elsewhere in the shoot by name and size.
    """

    card: Path
    shoot: Path
    options: IngestOptions = field(default_factory=IngestOptions)
    basis: str = ""
    listing: Listing = field(default_factory=lambda: Listing(files=()))
    compared: Compared = field(default_factory=Compared)
    stored: tuple[Entry, ...] = ()
    resumed: tuple[Entry, ...] = ()
    goes_on: IngestRun | None = None
    waits_elsewhere: IngestRun | None = None
    repeats: bool = False
    too_late: tuple[Correction, ...] = ()
    suggested: tuple[Correction, ...] = ()
    thrown: tuple[str, ...] = ()
    backup: BackupFound | None = None
    astray: int = 0

    def __repr__(self) -> str:
        """Where from, where to and how much, in one line that stays short."""
        notes = {
            "card": str(self.card),
            "shoot": str(self.shoot),
            "second": str(self.backup.folder) if self.backup else None,
            "moves": self.would_move,
            "goes_on": self.goes_on.run if self.goes_on else None,
            "waiting": len(self.waiting),
            "bytes": sum(each.row.bytes for each in self.waiting),
            "there": self.there,
        }
        return (
            f"{type(self).__name__}({', '.join(f'{k}={_SHORT.repr(v)}' for k, v in notes.items())})"
        )

    def to_dict(self) -> dict[str, Json]:
        """The plan in plain values of JSON: see plan_dict."""
        return plan_dict(self)

    @property
    def waiting(self) -> tuple[Placement, ...]:
        """Every placement that is to be carried out, those of stopped runs first."""
        changed = [each for number, each in self.updated if number in self.again]
        new = [each for each in self.placements if each.row.destination]
        return (*(entry.placement for entry in self.resumed), *changed, *new)

    @property
    def carried_again(self) -> frozenset[int]:
        """The numbers of what is carried and was known before."""
        return frozenset(entry.number for entry in self.resumed) | self.again

    @property
    def there(self) -> int:
        """How many files of the card are in the shoot already, byte by byte."""
        return len(self._held)

    @property
    def _held(self) -> dict[str, Entry]:
        held = dict(self.compared.held)
        return {path: entry for path, entry in self.compared.there if entry.number in held}

    @property
    def finishing(self) -> tuple[Entry, ...]:
        """What an earlier move carried and could not take off the card; it leaves now, if this is one."""
        if not self.would_move:
            return ()
        here = {file.path for file in self.listing.files}
        held = self._held.items()
        return tuple(e for path, e in held if e.moves and not e.gone and path in here)

    @property
    def staying(self) -> int:
        """How many files are in the shoot already, and stay on the card: no move from it brought them.

        What a move took off another card, or put here again since, is no file of this move either.
        """
        return sum(entry.gone or not entry.moves for entry in self._held.values())

    @property
    def unread(self) -> tuple[Placement, ...]:
        """Files of the card that could not be read as what their names say, as far as was looked."""
        return tuple({each.row.source: each for each in self._known() if each.unread}.values())

    def _known(self) -> Iterator[Placement]:
        yield from self.placements
        yield from (each for _, each in self.updated)
        yield from (entry.placement for _, entry in self.compared.there)

    @property
    def left(self) -> tuple[Placement, ...]:
        """What stays on the card: links, pipes and devices."""
        return tuple(each for each in self.placements if not each.row.destination)

    @property
    def closed(self) -> tuple[str, ...]:
        """Folders of the card that could not be listed."""
        return self.listing.folders_closed

    @property
    def shoots(self) -> tuple[str, ...]:
        """Folders of the card that are shoots, and are not looked into."""
        return self.listing.shoots

    @property
    def filling(self) -> tuple[Entry, ...]:
        """What the shoot has already and the second copy has not."""
        return self.backup.lacking if self.backup else ()

    @property
    def would_move(self) -> bool:
        """Whether the files are moved: what a stopped plan says counts, not what is asked now."""
        return self.options.moves if self.goes_on is None else self.goes_on.moves

    @property
    def lacks_backup(self) -> bool:
        """Whether a move into two copies is gone on with, and no second copy was named."""
        return self.backup is None and self.goes_on is not None and self.goes_on.two
