"""How much of a card's truth a manifest found, counted so that cards can be added up.

A boundary is a frame that begins a sequence: its first frame by position. The first frame of each
body begins one whatever happens, so it counts on neither side; pictures merged by the body are no
frames and begin nothing. A frame's kind is right where every one of its files has it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields

from scoring.tables import PICTURES, Place, Wanted


@dataclass(slots=True, kw_only=True)
class Counts:
    """What was counted; the shares come out of it. Two of them add up."""

    cards: int = 0
    frames: int = 0
    hit: int = 0
    """Boundaries of the truth that were found."""
    missed: int = 0
    invented: int = 0
    frames_of_kind: int = 0
    sequences: int = 0
    sequences_of_kind: int = 0
    series: int = 0
    """Sequences of more than one frame."""
    whole: int = 0
    """Of these, those of which the same frames were found together."""
    whole_of_kind: int = 0

    def add(self, other: Counts) -> None:
        """Takes in what was counted elsewhere."""
        for one in fields(self):
            setattr(self, one.name, getattr(self, one.name) + getattr(other, one.name))

    @property
    def precision(self) -> float:
        """Found boundaries that are true ones."""
        return _share(self.hit, self.hit + self.invented)

    @property
    def recall(self) -> float:
        """True boundaries that were found."""
        return _share(self.hit, self.hit + self.missed)

    @property
    def f1(self) -> float:
        """The harmonic mean of the two."""
        return _share(2 * self.hit, 2 * self.hit + self.invented + self.missed)

    def figures(self) -> dict[str, float | int]:
        """Counts and shares by name."""
        counted: dict[str, float | int] = {
            one.name: getattr(self, one.name) for one in fields(self)
        }
        return counted | {
            "precision": self.precision,
            "recall": self.recall,
            "f1": self.f1,
            "frames_of_kind_share": _share(self.frames_of_kind, self.frames),
            "sequences_of_kind_share": _share(self.sequences_of_kind, self.sequences),
            "whole_share": _share(self.whole, self.series),
            "whole_of_kind_share": _share(self.whole_of_kind, self.series),
        }


def _share(part: int, whole: int) -> float:
    """The share; all of nothing is all of it."""
    return part / whole if whole else 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """A sequence that was not found as it is, and what was found in its place."""

    card: str
    sequence: str
    body: str
    kind: str
    frames: int
    decidable: bool
    about: str
    found: str


@dataclass(slots=True, kw_only=True)
class Score:
    """Counts by body and by kind, each for decidable sequences and for all; and what failed."""

    bodies: dict[str, Counts] = field(default_factory=dict)
    bodies_all: dict[str, Counts] = field(default_factory=dict)
    kinds: dict[str, Counts] = field(default_factory=dict)
    kinds_all: dict[str, Counts] = field(default_factory=dict)
    failures: list[Failure] = field(default_factory=list)
    lacking: list[str] = field(default_factory=list)
    """Picture files of the truth that a manifest does not name, with their card."""

    def take(self, card: str, truth: Sequence[Wanted], found: Mapping[str, Place]) -> None:
        """Counts one card."""
        sources = (source for one in truth for frame in one.frames for source in frame)
        self.lacking += [f"{card}: {source}" for source in sources if source not in found]
        groups = _groups(found)
        for body in dict.fromkeys(one.body for one in truth):
            own = [one for one in truth if one.body == body]
            self._body(card, body, own, found, groups)

    def _body(
        self,
        card: str,
        body: str,
        truth: Sequence[Wanted],
        found: Mapping[str, Place],
        groups: Mapping[str, frozenset[str]],
    ) -> None:
        edges = _Edges(truth, found)
        _bucket(self.bodies, body).cards += 1
        _bucket(self.bodies_all, body).cards += 1
        for one in truth:
            counts = _counted(one, found, groups)
            counts.add(edges.of(one))
            for many in (self.bodies_all, self.bodies)[: 2 if one.decidable else 1]:
                _bucket(many, body).add(counts)
            for many in (self.kinds_all, self.kinds)[: 2 if one.decidable else 1]:
                _bucket(many, one.kind).add(counts)
            if not _is_as_wanted(one, found, groups):
                self.failures.append(_failure(card, one, found, groups))


def total(many: Iterable[Counts]) -> Counts:
    """All counts together."""
    out = Counts()
    for one in many:
        out.add(one)
    return out


def _bucket(many: dict[str, Counts], name: str) -> Counts:
    return many.setdefault(name, Counts())


# ---- boundaries -----------------------------------------------------------------------------


class _Edges:
    """Where sequences begin, by the truth and by what was found."""

    def __init__(self, truth: Sequence[Wanted], found: Mapping[str, Place]) -> None:
        self._first = truth[0].frames[0] if truth else ()
        self._begun = _begun(truth, found)

    def of(self, one: Wanted) -> Counts:
        """The boundaries of one sequence: its own begin, and what was invented within it."""
        begins = [frame in self._begun for frame in one.frames]
        counts = Counts(invented=sum(begins[1:]))
        if one.frames[0] != self._first:
            counts.hit, counts.missed = int(begins[0]), int(not begins[0])
        return counts


def _begun(truth: Sequence[Wanted], found: Mapping[str, Place]) -> set[tuple[str, ...]]:
    """The frames of the truth that come first in what was found; those not found begin one each."""
    firsts: dict[str, tuple[int, tuple[str, ...]]] = {}
    alone: set[tuple[str, ...]] = set()
    for one in truth:
        for frame in one.frames:
            place = found.get(frame[0])
            if place is None or not place.sequence or place.role not in PICTURES:
                alone.add(frame)
                continue
            firsts[place.sequence] = min(
                firsts.get(place.sequence, (place.position, frame)), (place.position, frame)
            )
    return alone | {frame for _, frame in firsts.values()}


# ---- sequences ------------------------------------------------------------------------------


def _groups(found: Mapping[str, Place]) -> dict[str, frozenset[str]]:
    """The picture files of each sequence that was found."""
    groups: dict[str, set[str]] = {}
    for source, place in found.items():
        if place.sequence and place.role in PICTURES:
            groups.setdefault(place.sequence, set()).add(source)
    return {name: frozenset(sources) for name, sources in groups.items()}


def _is_of_kind(frame: Sequence[str], kind: str, found: Mapping[str, Place]) -> bool:
    return all(source in found and found[source].kind == kind for source in frame)


def _is_whole(
    one: Wanted, found: Mapping[str, Place], groups: Mapping[str, frozenset[str]]
) -> bool:
    place = found.get(one.frames[0][0])
    return place is not None and groups.get(place.sequence) == one.sources


def _counted(
    one: Wanted, found: Mapping[str, Place], groups: Mapping[str, frozenset[str]]
) -> Counts:
    right = [_is_of_kind(frame, one.kind, found) for frame in one.frames]
    whole = one.is_series and _is_whole(one, found, groups)
    return Counts(
        frames=len(right),
        frames_of_kind=sum(right),
        sequences=1,
        sequences_of_kind=int(all(right)),
        series=int(one.is_series),
        whole=int(whole),
        whole_of_kind=int(whole and all(right)),
    )


def _is_as_wanted(
    one: Wanted, found: Mapping[str, Place], groups: Mapping[str, frozenset[str]]
) -> bool:
    kinds = all(_is_of_kind(frame, one.kind, found) for frame in one.frames)
    return kinds and _is_whole(one, found, groups)


# ---- what failed ----------------------------------------------------------------------------


def _failure(
    card: str, one: Wanted, found: Mapping[str, Place], groups: Mapping[str, frozenset[str]]
) -> Failure:
    return Failure(
        card=card,
        sequence=one.name,
        body=one.body,
        kind=one.kind,
        frames=len(one.frames),
        decidable=one.decidable,
        about=one.about,
        found=_told(one, found, groups),
    )


def _told(one: Wanted, found: Mapping[str, Place], groups: Mapping[str, frozenset[str]]) -> str:
    """What its frames were found as: ``12 of burst 7 + 18 of burst 8 (with 3 files more)``."""
    parts = Counter(_label(found.get(frame[0])) for frame in one.frames)
    more = {
        place.sequence: len(groups[place.sequence] - one.sources)
        for source in one.sources
        if (place := found.get(source)) is not None and place.sequence in groups
    }
    texts = [
        f"{count} of {label}{_with_more(more.get(sequence, 0))}"
        for (label, sequence), count in parts.items()
    ]
    shown = " + ".join(texts[:4])
    return shown + (f" + {len(texts) - 4} others" if len(texts) > 4 else "")


def _label(place: Place | None) -> tuple[str, str]:
    if place is None:
        return "nothing", ""
    as_role = "" if place.role in PICTURES else f" as {place.role}"
    return f"{place.kind} {place.sequence}{as_role}".rstrip(), place.sequence


def _with_more(count: int) -> str:
    return f" (with {count} files more)" if count else ""
