"""A shoot held against its ledger: every file read again, and its digest compared."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, field, replace
from typing import Final

from sorter.disk.shoot import Shoot
from sorter.disk.streams import Measured
from sorter.errors import BadShoot
from sorter.model.kinds import Role
from sorter.model.moved import Relocation, relocations
from sorter.model.plan import ContentCheck, Entry, State
from sorter.writing.reading import readers

LINKED: Final = "its folder is a link to another place"

# What the sorter writes itself, at the top of a shoot.
_OURS: Final = frozenset({"manifest.csv", "SHA256SUMS", "checks.csv"})
_OUR_FOLDERS: Final = frozenset({"report"})


@dataclass(slots=True, kw_only=True)
class Findings:
    """What was found in one folder; entries by their numbers, paths in their order.

    sound: files that are as they were carried; held: how sure that is. lost, altered: not so. closed: the disk did not give
    their bytes, and the system's reason. waiting: files of the card that are not here; left: those
    that never are. worked: sidecars that were edited; edited: their places, and what the sorter wrote itself and was edited.
    added: files that the ledger does not know. hidden: folders that cannot be listed. unlisted: lists
    of ours that cannot be read, and why. mended: the paths of those that were put right. moved: files that
    their owner put elsewhere, as the ledger has them; adopted: those of which that was noted; unnoted: those of
    which it cannot be, and why.
    """

    sound: dict[int, Entry] = field(default_factory=dict)
    held: dict[int, ContentCheck] = field(default_factory=dict)
    lost: dict[int, Entry] = field(default_factory=dict)
    altered: dict[int, Entry] = field(default_factory=dict)
    closed: dict[int, tuple[Entry, str]] = field(default_factory=dict)
    waiting: dict[int, Entry] = field(default_factory=dict)
    left: dict[int, Entry] = field(default_factory=dict)
    worked: dict[int, Entry] = field(default_factory=dict)
    edited: list[str] = field(default_factory=list)
    added: list[str] = field(default_factory=list)
    hidden: list[str] = field(default_factory=list)
    unlisted: dict[str, str] = field(default_factory=dict)
    mended: list[str] = field(default_factory=list)
    moved: dict[int, Entry] = field(default_factory=dict)
    adopted: dict[int, Entry] = field(default_factory=dict)
    unnoted: dict[int, str] = field(default_factory=dict)
    behind: dict[int, Entry] = field(default_factory=dict)
    names: set[str] = field(default_factory=set)

    @property
    def good(self) -> int:
        """How many files are as they were carried."""
        return len(self.sound)

    @property
    def sidecars(self) -> int:
        """How many sidecars were edited."""
        return len(self.worked)

    @property
    def ways(self) -> dict[str, str]:
        """From where to where each file was moved by the owner of the folder, noted since or not."""
        both = {**self.moved, **self.adopted}
        return {
            both[number].row.destination: self._here[number].row.destination
            for number in sorted(both)
        }

    @property
    def moves(self) -> tuple[Relocation, ...]:
        """The same as few moves: of whole folders where all that is left of one went to another."""
        return self._moves(self.moved.keys() | self.adopted.keys())

    @property
    def noted_moves(self) -> tuple[Relocation, ...]:
        """Those that are noted."""
        return self._moves(self.adopted.keys())

    @property
    def unnoted_moves(self) -> tuple[Relocation, ...]:
        """Those that are not noted, and can be."""
        return self._moves(self.moved.keys() - self.unnoted.keys())

    def _moves(self, numbers: Collection[int]) -> tuple[Relocation, ...]:
        both, there = {**self.moved, **self.adopted}, {**self._here, **self.broken}
        ways = {
            both[number].row.destination: self._here[number].row.destination
            for number in sorted(numbers)
        }
        gone = {*numbers, *self.lost}
        places = ((n, both.get(n, entry).row.destination) for n, entry in there.items())
        return relocations(ways, (place for number, place in places if number not in gone))

    @property
    def never_noted(self) -> dict[str, str]:
        """Where files lie that cannot be noted there, with the reason."""
        return {self._here[n].row.destination: why for n, why in self.unnoted.items()}

    @property
    def crowded(self) -> dict[int, Entry]:
        """Files that are nowhere, and in whose places others lie that were moved there."""
        taken = {*self.ways.values()}
        return {n: entry for n, entry in self.lost.items() if entry.row.destination in taken}

    @property
    def _here(self) -> dict[int, Entry]:
        """What is whole or an edited sidecar, where it lies now."""
        return {**self.sound, **self.worked}

    @property
    def missing(self) -> list[str]:
        """The places where files are not any more."""
        return sorted(entry.row.destination for entry in self.lost.values())

    @property
    def changed(self) -> list[str]:
        """The places where files hold other bytes."""
        return sorted(entry.row.destination for entry in self.altered.values())

    @property
    def unreadable(self) -> dict[str, str]:
        """The places of files that the disk does not give, each with the system's reason."""
        files = {entry.row.destination: reason for entry, reason in self.closed.values()}
        return {**files, **self.unlisted}

    @property
    def uncarried(self) -> list[str]:
        """The paths on the card of what is not here; of results, which came from none, in the shoot."""
        both = {**self.waiting, **self.left}
        rows = (both[number].row for number in sorted(both))
        return [row.source or row.destination for row in rows]

    @property
    def broken(self) -> dict[int, Entry]:
        """The entries of files that are not what they were."""
        closed = {number: entry for number, (entry, _) in self.closed.items()}
        return {**self.lost, **self.altered, **closed}

    def mend(self, entry: Entry, held: ContentCheck) -> None:
        """The file of this entry is as it is to be now, and is here; it was read back."""
        for found in (self.lost, self.altered, self.closed, self.waiting):
            found.pop(entry.number, None)
        self.sound[entry.number] = entry
        self.held[entry.number] = held
        self.mended.append(entry.row.destination)

    @property
    def has_failed(self) -> bool:
        """Whether a file is not what it was."""
        return bool(self.missing or self.changed or self.unreadable)

    @property
    def has_remarks(self) -> bool:
        """Whether there is something else to say."""
        return bool(self.added or self.edited or self.uncarried or self.hidden or self.moved)

    def find(self, entry: Entry, path: str, held: ContentCheck) -> None:
        """The file lies at this path; held: with its own bytes, or with others as an edited sidecar."""
        number, now = entry.number, at(entry, path)
        if number in self.worked:
            self.edited.remove(entry.row.destination)
        for known in (self.lost, self.altered, self.closed, self.worked, self.behind):
            known.pop(number, None)
        self.moved[number] = entry
        if held:
            self.sound[number] = now
            self.held[number] = held
        else:
            self.worked[number] = now
            self.edited.append(path)

    def lose(self, entry: Entry) -> None:
        """The file is nowhere: in its place lies another of the folder."""
        if entry.number in self.worked:
            self.edited.remove(entry.row.destination)
        for known in (self.altered, self.worked):
            known.pop(entry.number, None)
        self.lost[entry.number] = entry

    def adopt(self, numbers: Iterable[int]) -> None:
        """The places that these files have now are noted as theirs."""
        for number in sorted(numbers):
            self.adopted[number] = self.moved.pop(number)


def verify(
    shoot: Shoot,
    entries: Iterable[Entry],
    is_system_file: Callable[[str], bool],
    progress: Callable[[int], None],
) -> Findings:
    """Every placed file held against its digest, and every other path named.

    is_system_file: whether a path is what systems leave, which is passed over.
    """
    findings, known = Findings(), set()
    for entry in entries:
        if entry.state is State.PLACED:
            known.add(entry.row.destination)
            _check(shoot, entry, findings, progress)
        elif entry.state is State.LEFT:
            findings.left[entry.number] = entry
        else:
            findings.waiting[entry.number] = entry
    for path, is_folder in shoot.paths(findings.hidden.append):
        if is_folder:
            continue
        findings.names.add(path)
        if path not in known and not _is_ours(path) and not is_system_file(path):
            findings.added.append(path)
    findings.hidden.sort()
    findings.edited.sort()
    findings.added.sort()
    return findings


def _check(shoot: Shoot, entry: Entry, findings: Findings, progress: Callable[[int], None]) -> None:
    row = entry.row
    try:
        is_gone = shoot.size(row.destination) is None
        held = ContentCheck.NO
        if not is_gone:
            held = shoot.holds(row.destination, row.bytes, row.sha256, progress)
    except OSError as error:
        findings.closed[entry.number] = (entry, error.strerror or str(error))
        return
    except BadShoot:  # a folder that is a link now: nothing is read through it
        findings.closed[entry.number] = (entry, LINKED)
        findings.behind[entry.number] = entry
        return
    if is_gone:
        findings.lost[entry.number] = entry
    elif held:
        findings.sound[entry.number] = entry
        findings.held[entry.number] = held
    elif row.role is Role.SIDECAR:
        findings.edited.append(row.destination)
        findings.worked[entry.number] = entry
    else:
        findings.altered[entry.number] = entry


def measure(
    shoot: Shoot, paths: Iterable[str], sizes: Collection[int], progress: Callable[[int], None]
) -> dict[str, Measured]:
    """What the plain files among these paths hold that have one of the sizes, read past the cache.

    What cannot be read is left out: it is nothing that can be known again.
    """
    fitting = [path for path in paths if _has_size(shoot, path, sizes)]
    with readers() as pool:
        known = pool.map(lambda path: _measured(shoot, path, progress), fitting)
        both = zip(fitting, known, strict=True)
        return {path: found for path, found in both if found is not None}


def _has_size(shoot: Shoot, path: str, sizes: Collection[int]) -> bool:
    try:
        return shoot.size(path) in sizes
    except (OSError, BadShoot):
        return False


def _measured(shoot: Shoot, path: str, progress: Callable[[int], None]) -> Measured | None:
    try:
        return shoot.measured(path, progress)
    except (OSError, BadShoot):
        return None


def at(entry: Entry, path: str) -> Entry:
    """The entry with its file at this path."""
    row = replace(entry.row, destination=path)
    return replace(entry, placement=replace(entry.placement, row=row))


def _is_ours(path: str) -> bool:
    top, _, _ = path.partition("/")
    return path in _OURS or top in _OUR_FOLDERS
