"""A shoot held against its ledger: every file read again, and its digest compared."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Final

from sorter.disk.shoot import Shoot
from sorter.model.kinds import Role
from sorter.model.plan import Entry, State

# What the sorter writes itself, at the top of a shoot.
_OURS: Final = frozenset({"manifest.csv", "SHA256SUMS", "checks.csv"})
_OUR_FOLDERS: Final = frozenset({"report"})


@dataclass(slots=True, kw_only=True)
class Findings:
    """What was found; paths below the shoot, in their order.

    good: files that are as they were carried. missing, changed: not so. edited: sidecars that were
    changed, so many, and what the sorter itself wrote. unreadable: the disk did not give their
    bytes, each with the system's reason. added: files that the ledger does not know. uncarried:
    files of the card that are not in the shoot.
    """

    good: int = 0
    sidecars: int = 0
    missing: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    edited: list[str] = field(default_factory=list)
    unreadable: dict[str, str] = field(default_factory=dict)
    added: list[str] = field(default_factory=list)
    uncarried: list[str] = field(default_factory=list)

    @property
    def has_failed(self) -> bool:
        """Whether a file is not what it was."""
        return bool(self.missing or self.changed or self.unreadable)

    @property
    def has_remarks(self) -> bool:
        """Whether there is something else to say."""
        return bool(self.added or self.edited or self.uncarried)


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
        else:
            findings.uncarried.append(entry.row.source)
    for path, is_folder in shoot.paths():
        if not is_folder and path not in known and not _is_ours(path) and not is_litter(path):
            findings.added.append(path)
    for paths in (findings.missing, findings.changed, findings.edited, findings.added):
        paths.sort()
    return findings


def _check(shoot: Shoot, entry: Entry, findings: Findings, tick: Callable[[int], None]) -> None:
    row = entry.row
    if shoot.size(row.destination) is None:
        findings.missing.append(row.destination)
        tick(row.bytes)
        return
    try:
        same = shoot.holds(row.destination, row.bytes, row.sha256, tick)
    except OSError as error:
        findings.unreadable[row.destination] = error.strerror or str(error)
        return
    if same:
        findings.good += 1
    elif row.role is Role.SIDECAR:
        findings.edited.append(row.destination)
        findings.sidecars += 1
    else:
        findings.changed.append(row.destination)


def _is_ours(path: str) -> bool:
    top, _, _ = path.partition("/")
    return path in _OURS or top in _OUR_FOLDERS
