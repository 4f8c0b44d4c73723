"""Truth and manifest as values: what each says of every picture file."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sorter.manifest.csvfile import read_path

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

PICTURES = frozenset({"raw", "image"})


class NoTable(Exception):
    """The file is no table of the kind that was asked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """What a manifest says of a file: its sequence and place in it (from 1), kind and role."""

    sequence: str
    position: int
    kind: str
    role: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A sequence of the truth: its frames in order, each with its picture files.

    body is the name of what took it; kind is the one that the files can tell.
    """

    name: str
    body: str
    kind: str
    decidable: bool
    about: str
    frames: tuple[tuple[str, ...], ...]

    @property
    def sources(self) -> frozenset[str]:
        """All its picture files."""
        return frozenset(source for frame in self.frames for source in frame)

    @property
    def is_series(self) -> bool:
        """Whether it has more than one frame."""
        return len(self.frames) > 1


def wanted(rows: Iterable[Mapping[str, str]]) -> list[Wanted]:
    """The sequences of a truth table in its order; merged pictures and sidecars are no frames.

    A table without makers is one of one body for each folder's free characters; one without
    kind_by_tags means its kind, one without decidable can be decided.
    """
    sequences: dict[str, dict[str, list[Mapping[str, str]]]] = {}
    for row in rows:
        if row["sequence"] and row["frame"] and row["role"] in PICTURES:
            sequences.setdefault(row["sequence"], {}).setdefault(row["frame"], []).append(row)
    return [_wanted(name, frames) for name, frames in sequences.items()]


def _wanted(name: str, frames: Mapping[str, Sequence[Mapping[str, str]]]) -> Wanted:
    ordered = sorted(frames.values(), key=lambda rows: int(rows[0]["position"]))
    first = ordered[0][0]
    return Wanted(
        name=name,
        body=first.get("maker") or _folder(first["source"]),
        kind=first.get("kind_by_tags") or first["kind"],
        decidable=first.get("decidable") != "no",
        about=first["about"],
        frames=tuple(tuple(row["source"] for row in rows) for rows in ordered),
    )


def _folder(source: str) -> str:
    """The free characters of the DCF folder, which name the body."""
    return source.split("/")[-2][3:].lower() if source.count("/") else ""


def places(rows: Iterable[Mapping[str, str]]) -> dict[str, Place]:
    """What a manifest says, by path below the card."""
    return {
        read_path(row["source"]): Place(
            sequence=row["sequence"],
            position=int(row["position"] or 0),
            kind=row["kind"],
            role=row["role"],
        )
        for row in rows
    }


def read(path: Path) -> list[dict[str, str]]:
    """The rows of a truth table or a manifest. Raises NoTable where it is none, and OSError."""
    with path.open(encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        missing = {"source", "sequence", "kind", "position", "role"} - set(reader.fieldnames or ())
        if missing:
            raise NoTable(f"{path} has no column {min(missing)}: name a manifest or a truth")
        return list(reader)
