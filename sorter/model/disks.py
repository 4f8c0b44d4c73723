"""Which disk a folder lies on, as far as the system tells, and whether two lie on one. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Lies(StrEnum):
    """What a folder's file system is kept on."""

    DISK = "disk"
    MEMORY = "memory"
    NETWORK = "network"
    UNKNOWN = "unknown"


class Apart(StrEnum):
    """Whether two folders lie on one disk, on two, or the system cannot tell."""

    ONE = "one"
    TWO = "two"
    UNKNOWN = "untold"


@dataclass(frozen=True, slots=True, kw_only=True)
class Disk:
    """What the system tells of where a folder lies.

    device: the file system's number (st_dev). parts: the names of all the disks that it is kept on,
    partitions and mapped devices followed down to them; empty where that cannot be told. source: what
    is mounted, as the system names it (a share, a pool); empty where it does not.
    """

    lies: Lies
    device: int
    parts: frozenset[str] = frozenset()
    source: str = ""


def apart(one: Disk, two: Disk) -> Apart:
    """Whether the two are one disk.

    One file system is one disk. Two may still be: two partitions, two names of one (a subvolume, a
    bind mount), two mapped devices on the same; then the disks below them tell.
    """
    if one.device == two.device:
        return Apart.ONE
    if one.parts and two.parts:
        return Apart.ONE if one.parts & two.parts else Apart.TWO
    if Lies.MEMORY in (one.lies, two.lies) and one.lies is not two.lies:
        known = one if two.lies is Lies.MEMORY else two
        return Apart.TWO if known.lies is Lies.DISK else Apart.UNKNOWN
    if one.source and one.source == two.source:
        return Apart.ONE
    return Apart.UNKNOWN
