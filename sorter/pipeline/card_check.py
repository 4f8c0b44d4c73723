"""A card held against the copies of it: which of its files a shoot has, byte by byte."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from pathlib import Path

from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.errors import CardGone, CardNotReadable
from sorter.model.advice import Copy, DiskLayout, Evidence
from sorter.model.card import CardFile, Drift, Listing, differences
from sorter.model.plan import ContentCheck, Entry, State
from sorter.model.progress import CountProgress
from sorter.pipeline.ingest_options import SharedCount
from sorter.pipeline.places import disk_layout
from sorter.reading.cards import files_of, thrown_away
from sorter.writing.reading import readers
from sorter.writing.verify import Findings


@dataclass(frozen=True, slots=True, kw_only=True)
class CardSide:
    """What a card holds, and what of it was carried; paths below the card.

    equal: the entry that has the bytes of each file, and whether they came from the card itself. other:
    files whose path was carried with other bytes. unknown: files that were never carried. unread: those
    that the card does not give, with the reason. links: no plain files. closed: folders that cannot be
    listed. thrown: pictures in a trash or another system folder. shoots: folders that are shoots. drift: how the card differs at the
    end; None where it could not be listed again.
    """

    root: Path
    equal: Mapping[str, tuple[Entry, ContentCheck]] = field(default_factory=dict)
    other: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()
    unread: Mapping[str, str] = field(default_factory=dict)
    links: tuple[str, ...] = ()
    closed: tuple[str, ...] = ()
    thrown: tuple[str, ...] = ()
    shoots: tuple[str, ...] = ()
    drift: Drift | None = None
    places: DiskLayout = field(default_factory=DiskLayout)

    @property
    def files(self) -> int:
        """How many files the card holds that are to be in a copy."""
        return sum(map(len, (self.equal, self.other, self.unknown, self.unread)))

    @property
    def unsure(self) -> int:
        """How many of the card's files were read perhaps from memory."""
        return sum(held is ContentCheck.PERHAPS for _, held in self.equal.values())

    @property
    def has_failed(self) -> bool:
        """Whether a file is not what was carried, or cannot be read."""
        return bool(self.other or self.unread)

    @property
    def has_remarks(self) -> bool:
        """Whether something else on the card is in no copy, it changed meanwhile, or it holds no file."""
        still = self.drift is not None and not self.drift
        left = self.unknown or self.links or self.closed or self.shoots or self.thrown
        return bool(left or not self.files or not still)

    def held_by(self, findings: Findings) -> dict[str, ContentCheck]:
        """Which of the card's files are whole in a copy, and how sure that is."""
        return {
            path: findings.held[entry.number]
            for path, (entry, _) in self.equal.items()
            if entry.number in findings.held
        }

    def evidence(self, shoot: Findings, backup: Findings | None) -> Evidence:
        """What this run saw of the card and its copies."""
        drift = self.drift or Drift()
        return Evidence(
            files=self.files - len(self.unread),
            listed=self.drift is not None,
            new=len(drift.new),
            changed=len(drift.changed),
            vanished=len(drift.vanished),
            uncarried=len(self.unread),
            closed=len({*self.closed, *drift.closed}),
            links=len(self.links),
            thrown=len(self.thrown),
            shoots=len(self.shoots),
            shoot=_copy(self.held_by(shoot)),
            backup=None if backup is None else _copy(self.held_by(backup)),
            places=self.places,
        )


def against_card(
    root: Path, shoot: Path, backup: Path | None, known: Findings, progress: CountProgress
) -> CardSide:
    """Every file of the card read past the system's cache, and sought among what the shoot knows.

    known: what was found in the shoot. Nothing is changed. Raises what Card raises, and CardGone.
    """
    card = Card(root)
    listing = card.listing(may_be_empty=True)
    files = files_of(card, listing)
    # What is spoiled, edited or missing in the shoot may be whole in the second copy.
    groups = (known.sound, known.broken, known.worked, known.waiting)
    entries = [entry for group in groups for entry in group.values()]
    counted = SharedCount(progress, sum(file.size for file in files))
    sound = {entry.row.sha256 for entry in known.sound.values()}
    return _Against(card, listing, entries, sound).side(
        files, Shoot(shoot), None if backup is None else Shoot(backup), counted.add
    )


class _Against:
    """The card's files and the entries, to be found by what they hold: those first that are sound."""

    def __init__(
        self, card: Card, listing: Listing, entries: Iterable[Entry], sound: AbstractSet[str]
    ) -> None:
        self._card = card
        self._listing = listing
        carried = [entry for entry in entries if entry.row.sha256]
        self._sound = sound
        self._own = {(e.row.source, e.row.sha256): e for e in reversed(carried)}
        self._by_digest = {entry.row.sha256: entry for entry in reversed(carried)}
        self._paths = {entry.row.source for entry in carried if entry.state is State.PLACED}

    def side(
        self,
        files: Iterable[CardFile],
        shoot: Shoot,
        backup: Shoot | None,
        progress: Callable[[int], None],
    ) -> CardSide:
        plain = [file for file in files if file.plain and not file.obstacle]
        unread = {f.path: f.obstacle for f in files if f.plain and f.obstacle}
        equal: dict[str, tuple[Entry, ContentCheck]] = {}
        strange: list[str] = []
        with readers() as pool:
            known = pool.map(lambda file: self._found(file, progress), plain)
            for file, found in zip(plain, known, strict=True):
                if isinstance(found, str):
                    unread[file.path] = found
                elif found is None:
                    strange.append(file.path)
                else:
                    equal[file.path] = found
        after, drift = self._listed_again()
        return CardSide(
            root=self._card.root,
            equal=equal,
            other=tuple(path for path in strange if path in self._paths),
            unknown=tuple(path for path in strange if path not in self._paths),
            unread=unread,
            links=tuple(file.path for file in files if not file.plain),
            closed=self._listing.folders_closed,
            thrown=in_no_copy(self._card, thrown_away(self._card, after), self._sound),
            shoots=after.shoots,
            drift=drift,
            places=disk_layout(self._card, shoot, backup),
        )

    def _found(
        self, file: CardFile, progress: Callable[[int], None]
    ) -> tuple[Entry, ContentCheck] | str | None:
        """The entry with the file's bytes; None for none, or why the card does not give them."""
        try:
            known = self._card.measured(file.path, progress)
        except OSError as error:
            return error.strerror or str(error)
        own = self._own.get((file.path, known.sha256))
        entry = own or self._by_digest.get(known.sha256)
        return None if entry is None else (entry, ContentCheck.of(same=True, sure=known.sure))

    def _listed_again(self) -> tuple[Listing, Drift | None]:
        try:
            after = self._card.listing(may_be_empty=True)
        except (CardGone, CardNotReadable):
            return self._listing, None
        return after, differences(self._listing, after, frozenset())


def in_no_copy(card: Card, paths: Iterable[str], held: AbstractSet[str]) -> tuple[str, ...]:
    """Those of the card's files whose bytes, read past the cache, are not among these digests.

    What cannot be read is in no copy either, as far as can be told. Raises CardGone.
    """
    return tuple(path for path in paths if not _is_among(card, path, held))


def _is_among(card: Card, path: str, held: AbstractSet[str]) -> bool:
    try:
        return card.measured(path).sha256 in held
    except OSError:
        return False


def _copy(held: Mapping[str, ContentCheck]) -> Copy:
    unsure = sum(each is ContentCheck.PERHAPS for each in held.values())
    return Copy(verified=len(held), unsure=unsure)
