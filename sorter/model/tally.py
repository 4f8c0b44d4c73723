"""What a season comes to: sequences, frames, results and space, of one shoot or of several."""

from __future__ import annotations

from dataclasses import dataclass

from sorter.model.kinds import Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """What a heap of files comes to. Files are counted where they stand in the shoot, and only these.

    frames: presses of the shutter, however many files each has; a result is none. stacks: the
    sequences among them that are focus brackets or manual stacks. results: pictures merged of
    others, in the camera or by another program. archivable_bytes: the files of stacks that have a
    result, without what belongs to the results; waiting_bytes: the same of stacks that have none.
    """

    sequences: int = 0
    frames: int = 0
    stacks: int = 0
    stacks_with_result: int = 0
    results: int = 0
    files: int = 0
    bytes: int = 0
    archivable_bytes: int = 0
    waiting_bytes: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """The files that have one thing in common: a kind, a lens, an aperture, an hour, a day.

    key: what they have in common; empty where it is not told. first, last: when its first and last
    frames were taken, to the second, by the camera's own clock (ISO 8601); empty without frames.
    """

    key: str
    counts: Counts
    first: str = ""
    last: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """How many frames the stacks of a kind have, of all kinds where it is None.

    Only stacks with a frame in the shoot; zeros where there are none.
    """

    kind: Kind | None
    stacks: int = 0
    least: int = 0
    median: float = 0
    most: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """One shoot, or several together: the same files in groups by one thing after the other.

    The groups of each table add up to the total. shoot: a name that no other of them has; path:
    where it is; both empty for all together. absent: files that the ledger knows and that are not
    in their places; they are counted nowhere else.
    """

    shoot: str = ""
    path: str = ""
    total: Group
    kinds: tuple[Group, ...] = ()
    lenses: tuple[Group, ...] = ()
    f_numbers: tuple[Group, ...] = ()
    hours: tuple[Group, ...] = ()
    days: tuple[Group, ...] = ()
    stacks: tuple[Spread, ...] = ()
    absent: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """Two shoots, by their names, that hold so many pictures (raws and images) of the same bytes."""

    one: str
    two: str
    pictures: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """Each shoot for itself, in the order given, and all of them together."""

    shoots: tuple[Tables, ...]
    together: Tables
    shared: tuple[Shared, ...] = ()
