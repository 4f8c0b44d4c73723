"""A shoot held against its ledger: every file read again, and its digest compared."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Final

from sorter.disk.shoot import Shoot
from sorter.errors import BadShoot
from sorter.model.kinds import Role
from sorter.model.plan import Entry, Held, State

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
    of ours that cannot be read, and why. mended: the paths of those that were put right.
    """

    sound: dict[int, Entry] = field(default_factory=dict)
    held: dict[int, Held] = field(default_factory=dict)
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

    @property
    def good(self) -> int:
        """How many files are as they were carried."""
        return len(self.sound)

    @property
    def sidecars(self) -> int:
        """How many sidecars were edited."""
        return len(self.worked)

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

    def mend(self, entry: Entry, held: Held) -> None:
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
        return bool(self.added or self.edited or self.uncarried or self.hidden)


def verify(
    shoot: Shoot,
    entries: Iterable[Entry],
    is_litter: Callable[[str], bool],
    tick: Callable[[int], None],
) -> Findings:
    """Every placed file held against its digest, and every other path named.

    is_litter: whether a path is what systems leave, which is passed over.
    """
    findings, known = Findings(), set()
    for entry in entries:
        if entry.state is State.PLACED:
            known.add(entry.row.destination)
            _check(shoot, entry, findings, tick)
        elif entry.state is State.LEFT:
            findings.left[entry.number] = entry
        else:
            findings.waiting[entry.number] = entry
    for path, is_folder in shoot.paths(findings.hidden.append):
        if not is_folder and path not in known and not _is_ours(path) and not is_litter(path):
            findings.added.append(path)
    findings.hidden.sort()
    findings.edited.sort()
    findings.added.sort()
    return findings


def _check(shoot: Shoot, entry: Entry, findings: Findings, tick: Callable[[int], None]) -> None:
    row = entry.row
    try:
        is_gone = shoot.size(row.destination) is None
        held = Held.NO
        if not is_gone:
            held = shoot.holds(row.destination, row.bytes, row.sha256, tick)
    except OSError as error:
        findings.closed[entry.number] = (entry, error.strerror or str(error))
        return
    except BadShoot:  # a folder that is a link now: nothing is read through it
        findings.closed[entry.number] = (entry, LINKED)
        return
    if is_gone:
        findings.lost[entry.number] = entry
        tick(row.bytes)
    elif held:
        findings.sound[entry.number] = entry
        findings.held[entry.number] = held
    elif row.role is Role.SIDECAR:
        findings.edited.append(row.destination)
        findings.worked[entry.number] = entry
    else:
        findings.altered[entry.number] = entry


def _is_ours(path: str) -> bool:
    top, _, _ = path.partition("/")
    return path in _OURS or top in _OUR_FOLDERS
