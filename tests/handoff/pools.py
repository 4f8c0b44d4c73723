"""Shoots of a rock pool, built by hand: entries as a ledger knows them, and their files on the disk."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

from sorter.model.kinds import Kind, Role
from sorter.model.plan import Entry, Placement, State
from sorter.model.row import Row

ROLES = {"JPG": Role.IMAGE, "HIF": Role.IMAGE, "ORF": Role.RAW, "xmp": Role.SIDECAR}


def content(name: str) -> bytes:
    """What the file of this name holds: different for each."""
    return f"a limpet, slice {name}\n".encode("utf-8", "surrogateescape")


def entry(
    destination: str,
    *,
    sequence: int | None = 3,
    kind: Kind = Kind.FOCUS_BRACKET,
    position: int | None = 1,
    from_near: int | None = None,
    state: State = State.PLACED,
    role: Role | None = None,
    frames: int | None = None,
) -> Entry:
    """One file. Its role is told by its extension where it is not given."""
    name = destination.rpartition("/")[2]
    data = content(name)
    row = Row(
        source=f"DCIM/100TIDES/{name}",
        destination=destination,
        frame=position,
        sequence=sequence,
        kind=kind,
        position=position,
        frames=frames,
        role=role or ROLES.get(name.rpartition(".")[2], Role.OTHER),
        bytes=len(data),
        sha256=hashlib.sha256(data).hexdigest(),
    )
    return Entry(number=0, run=1, placement=Placement(row=row, from_near=from_near), state=state)


def stack(
    number: int,
    count: int,
    *extensions: str,
    kind: Kind = Kind.FOCUS_BRACKET,
    far_to_near: bool = False,
    told: bool = True,
) -> list[Entry]:
    """A sequence of so many frames in a folder of its own. told: the camera says where it focused."""
    folder = f"{number:04d}_{kind}_{count}"
    return [
        entry(
            f"{folder}/P{number}17{place:04d}.{extension}",
            sequence=number,
            kind=kind,
            position=place,
            from_near=(count + 1 - place if far_to_near else place) if told else None,
            frames=count,
        )
        for place in range(1, count + 1)
        for extension in extensions or ("JPG",)
    ]


def changed(one: Entry, **about: object) -> Entry:
    """The entry with another row."""
    row = replace(one.row, **about)  # type: ignore[arg-type]
    return replace(one, placement=replace(one.placement, row=row))


def without(entries: Iterable[Entry], destination: str) -> list[Entry]:
    """The entries without the one of this destination."""
    return [each for each in entries if each.row.destination != destination]


def lay_out(shoot: Path, entries: Iterable[Entry]) -> Path:
    """The files of the entries lie in the shoot's folder; returns it."""
    (shoot / ".sorter").mkdir(parents=True, exist_ok=True)
    for each in entries:
        path = shoot / each.row.destination
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content(path.name))
    return shoot
