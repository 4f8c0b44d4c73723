"""The one loop by which a file's bytes are copied: hashed and watched while they pass to their copies."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

from sorter.writing.integrity import IntegrityCheck


class Outlet(Protocol):
    """Where a block goes."""

    def write(self, block: memoryview) -> None:
        """All of the block is taken."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Passed:
    """What passed: bytes, their SHA-256 in hexadecimal, and what is wrong with the file; empty: nothing."""

    count: int
    sha256: str
    verdict: str


def passed(
    blocks: Iterable[memoryview], watch: IntegrityCheck, outlets: Sequence[Outlet]
) -> Passed:
    """Every block stands in each of the outlets, in order; a block is good until the next is asked for.

    Raises what the blocks and the outlets raise.
    """
    count, hashed = 0, hashlib.sha256()
    for block in blocks:
        hashed.update(block)
        watch.feed(block)
        for outlet in outlets:
            outlet.write(block)
        count += len(block)
    return Passed(count=count, sha256=hashed.hexdigest(), verdict=watch.verdict())
