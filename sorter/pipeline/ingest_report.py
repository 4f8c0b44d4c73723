"""How an ingest ended."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sorter.errors import SorterError
from sorter.model.advice import Copy, DiskLayout, Evidence
from sorter.model.card import Drift
from sorter.model.correction import Correction
from sorter.model.damage import Damage
from sorter.model.kinds import Role
from sorter.model.plan import ContentCheck, Entry, State, WhyNotRemoved

if TYPE_CHECKING:
    from sorter.pipeline.planned import IngestPlan

_TRACKS: Final = frozenset({Role.CLIP, Role.SOUND})


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupReport:
    """How it stands with the second copy of what an ingest is about.

    entries: as its ledger knows them. new: those that this run carried. edited, lost, differing, held:
    as of a report. failure: what stopped the work there.
    """

    folder: Path
    entries: tuple[Entry, ...] = ()
    new: tuple[Entry, ...] = ()
    edited: tuple[Entry, ...] = ()
    changed: tuple[Entry, ...] = ()
    lost: tuple[Entry, ...] = ()
    differing: tuple[Entry, ...] = ()
    failed: tuple[Entry, ...] = ()
    held: Mapping[int, ContentCheck] = field(default_factory=dict)
    failure: SorterError | None = None

    @property
    def verified(self) -> int:
        """How many files are there, read back in this run, with exactly the bytes that the card gave."""
        return _held(self.entries, self.held, ContentCheck.PERHAPS)

    @property
    def unsure(self) -> int:
        """How many of these were read back perhaps from memory."""
        return self.verified - _held(self.entries, self.held, ContentCheck.SURE)

    @property
    def is_whole(self) -> bool:
        """Whether all of it went well, and every file was read back."""
        wanted = sum(entry.state is not State.LEFT for entry in self.entries)
        troubled = (self.failure, self.edited, self.changed, self.failed, self.lost)
        return not any(troubled) and self.verified == wanted


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """How an ingest ended.

    entries: every file of the card that the shoot knows. new: those that this run carried.
    failed: not carried; differing: those of them whose copies came out wrong. edited, changed:
    copies that were changed since, sidecars and others. lost: copies of an earlier run that are gone,
    or hold other bytes, and are not on the card any more. held: by number, which copies this run read
    back; twice: which files of the card it read past the cache and found equal to what was carried.
    mended: those of which it gave other bytes at first. other: paths on the card whose files were carried
    before with other bytes. gone: files that it took off the card. kept: those that were to be moved and are still there.
    closed: folders of the card that could not be listed. system_files: what was passed over. drift: how the
    card differs at the end from what it was; None where it could not be listed again. thrown: pictures
    in a trash on it. shoots: those that lie on it, and are not looked into. places: whether card, shoot and second copy lie on one disk.
    failure: what stopped the work in the shoot, while the second copy went on.
    plans: the plans that were carried out: that of the look, and one that followed it in the same run.
    """

    entries: tuple[Entry, ...]
    new: tuple[Entry, ...] = ()
    failed: tuple[Entry, ...] = ()
    differing: tuple[Entry, ...] = ()
    edited: tuple[Entry, ...] = ()
    changed: tuple[Entry, ...] = ()
    lost: tuple[Entry, ...] = ()
    held: Mapping[int, ContentCheck] = field(default_factory=dict)
    twice: Mapping[int, ContentCheck] = field(default_factory=dict)
    mended: tuple[Entry, ...] = ()
    other: tuple[str, ...] = ()
    gone: tuple[Entry, ...] = ()
    kept: tuple[tuple[Entry, WhyNotRemoved], ...] = ()
    closed: tuple[str, ...] = ()
    system_files: int = 0
    moves: bool = False
    drift: Drift | None = None
    thrown: tuple[str, ...] = ()
    shoots: tuple[str, ...] = ()
    places: DiskLayout = field(default_factory=DiskLayout)
    failure: SorterError | None = None
    backup: BackupReport | None = None
    plans: tuple[IngestPlan, ...] = ()

    @property
    def too_late(self) -> tuple[Correction, ...]:
        """Corrections of frames that are in the shoot already as something else: they move nothing there."""
        return self.plans[-1].too_late if self.plans else ()

    @property
    def verified(self) -> int:
        """How many files are in the shoot, read back in this run, with exactly what the card gave."""
        return _held(self.entries, self.held, ContentCheck.PERHAPS)

    @property
    def unsure(self) -> int:
        """How many of these were read back perhaps from memory."""
        return self.verified - _held(self.entries, self.held, ContentCheck.SURE)

    @property
    def reread(self) -> int:
        """How many of the card's files were read past the cache and are equal to what was carried.

        What a move took off it was.
        """
        gone = {entry.number for entry in self.gone}
        return sum(
            entry.number in gone
            or self.twice.get(entry.number, ContentCheck.NO) is ContentCheck.SURE
            for entry in self.entries
        )

    @property
    def evidence(self) -> Evidence:
        """What this run saw of the card and its copies."""
        drift, backup = self.drift or Drift(), self.backup
        left = {entry.number for entry in (*self.failed, *self.left)}
        other = {entry.row.source for entry, why in self.kept if why is WhyNotRemoved.CHANGED}
        return Evidence(
            files=sum(entry.number not in left for entry in self.entries),
            moved=len(self.gone),
            listed=self.drift is not None,
            new=len(drift.new),
            changed=len({*drift.changed, *other}),
            vanished=len(drift.vanished),
            uncarried=len(self.failed),
            closed=len({*self.closed, *drift.closed}),
            links=len(self.left),
            thrown=len(self.thrown),
            shoots=len(self.shoots),
            shoot=_copy(self),
            backup=None if backup is None else _copy(backup),
            places=self.places,
        )

    @property
    def left(self) -> tuple[Entry, ...]:
        """Links, pipes and devices: they stay on the card."""
        return tuple(entry for entry in self.entries if entry.state is State.LEFT)

    @property
    def unread(self) -> tuple[Entry, ...]:
        """Files that could not be read as what their names say; carried all the same."""
        return tuple(
            entry
            for entry in self.entries
            if entry.placement.unread and entry.state is State.PLACED
        )

    @property
    def damaged(self) -> tuple[Entry, ...]:
        """Pictures and clips that are not whole by their bytes; carried all the same."""
        return tuple(entry for entry in self.entries if _is_damaged(entry))

    def after(self, before: Report) -> Report:
        """This report of a run's second plan, with what its first one did."""
        backup = self.backup
        again = {entry.number for entry in (*self.gone, *(entry for entry, _ in self.kept))}
        if backup is not None and before.backup is not None:
            backup = replace(
                backup,
                new=(*before.backup.new, *backup.new),
                edited=_each_once(*before.backup.edited, *backup.edited),
                differing=(*before.backup.differing, *backup.differing),
                changed=(*before.backup.changed, *backup.changed),
                lost=(*before.backup.lost, *backup.lost),
                held={**before.backup.held, **backup.held},
            )
        return replace(
            self,
            new=(*before.new, *self.new),
            differing=(*before.differing, *self.differing),
            changed=(*before.changed, *self.changed),
            lost=(*before.lost, *self.lost),
            held={**before.held, **self.held},
            twice={**before.twice, **self.twice},
            mended=(*before.mended, *self.mended),
            other=tuple(dict.fromkeys((*before.other, *self.other))),
            gone=(*before.gone, *self.gone),
            kept=(*(each for each in before.kept if each[0].number not in again), *self.kept),
            backup=backup,
            plans=(*before.plans, *self.plans),
        )

    @property
    def is_whole(self) -> bool:
        """Whether all bytes of the card are in the shoot, read back in this run, and nothing else is amiss.

        A picture that cannot be read as one, and was carried as it is, is no failure.
        """
        wanted = sum(entry.state is not State.LEFT for entry in self.entries)
        troubled = (self.failed, self.edited, self.changed, self.kept, self.closed, self.left)
        backup = self.backup is None or self.backup.is_whole
        still = self.drift is not None and not self.drift
        return (
            backup and still and not any(troubled) and not self.failure and self.verified == wanted
        )

    @property
    def has_differing(self) -> bool:
        """Whether a copy came out wrong, twice, or is wrong and cannot be made again."""
        both = (self, self.backup) if self.backup else (self,)
        return any(each.differing or each.lost for each in both)

    @property
    def failures(self) -> tuple[SorterError, ...]:
        """What stopped the work in one of the folders."""
        both = (self.failure, self.backup and self.backup.failure)
        return tuple(failure for failure in both if failure)


def _each_once(*entries: Entry) -> tuple[Entry, ...]:
    """Those with one number once, as they are named last."""
    return tuple({entry.number: entry for entry in entries}.values())


def _copy(of: Report | BackupReport) -> Copy:
    return Copy(verified=of.verified, unsure=of.unsure, stopped=of.failure is not None)


def _is_damaged(entry: Entry) -> bool:
    if entry.row.role in _TRACKS and entry.row.bytes == 0:
        return entry.state is State.PLACED
    notes = (*entry.row.remarks, *entry.placement.carrying_notes)
    return any(isinstance(each, Damage) and each is not Damage.EMPTY for each in notes)


def _held(entries: tuple[Entry, ...], held: Mapping[int, ContentCheck], least: ContentCheck) -> int:
    return sum(
        e.state is State.PLACED and held.get(e.number, ContentCheck.NO) >= least for e in entries
    )
