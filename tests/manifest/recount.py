"""A shoot counted anew out of its manifest.csv with csv and collections of the standard library alone.

Nothing here comes from sorter: it is what the tables are held against.
"""

from __future__ import annotations

import csv
import io
from collections import Counter, defaultdict
from collections.abc import Callable
from statistics import median
from typing import Final

Cells = dict[str, str]
Sums = dict[str, Counter[str]]

STACKS: Final = {"focus-bracket", "manual-stack"}
TOLD: Final[dict[str, Callable[[Cells], str]]] = {
    "kind": lambda row: row["kind"],
    "lens": lambda row: row["lens"].strip(),
    "f_number": lambda row: row["f_number"],
    "hour": lambda row: row["captured"][11:13],
    "day": lambda row: row["captured"][:10],
}


def rows_in(manifest: bytes) -> list[Cells]:
    """The rows of a manifest whose files are in the shoot."""
    lines = csv.DictReader(io.StringIO(manifest.decode(), newline=""))
    return [row for row in lines if row["destination"]]


def recount(manifest: bytes) -> dict[str, Sums]:
    """What every file adds to its group, by table and by what the group has in common."""
    rows = rows_in(manifest)
    frames, heads, results = _frames(rows), _heads(rows), _results(rows)
    tables: dict[str, Sums] = {}
    for table, told in TOLD.items():
        sums: Sums = defaultdict(Counter)
        for row in rows:
            sums[told(_speaker(row, frames, heads))] += _of_file(row, results)
        for file in frames.values():
            sums[told(file)]["frames"] += 1
        for number, head in heads.items():
            sums[told(head)] += _of_sequence(head, number in results)
        for number, found in results.items():
            sums[told(heads[number])]["results"] += len(found)
        tables[table] = {key: +count for key, count in sums.items()}
    return tables


def frames_per_stack(manifest: bytes) -> dict[str, tuple[int, int, float, int]]:
    """Number of stacks with a frame, and the fewest, median and most frames; by kind, "" for all."""
    frames: dict[tuple[str, str], set[str]] = defaultdict(set)
    for row in rows_in(manifest):
        if row["kind"] in STACKS and row["position"]:
            frames[row["kind"], row["sequence"]].add(row["frame"])
    sizes = defaultdict(list)
    for (kind, _), numbers in frames.items():
        sizes[kind].append(len(numbers))
        sizes[""].append(len(numbers))
    return {kind: (len(each), min(each), median(each), max(each)) for kind, each in sizes.items()}


def _frames(rows: list[Cells]) -> dict[str, Cells]:
    """A row of each frame of a series; results have no position."""
    return {row["frame"]: row for row in rows if row["frame"] and row["position"]}


def _heads(rows: list[Cells]) -> dict[str, Cells]:
    """The row that speaks for each sequence: of the lowest position, else the first that there is."""
    heads: dict[str, Cells] = {}
    for row in sorted(rows, key=lambda row: int(row["position"] or 10**9)):
        if row["sequence"]:
            heads.setdefault(row["sequence"], row)
    return heads


def _results(rows: list[Cells]) -> dict[str, set[str]]:
    """The results of each sequence: by frame from the camera, by path from elsewhere."""
    found: dict[str, set[str]] = defaultdict(set)
    for row in rows:
        if row["role"] == "result":
            found[row["sequence"]].add(row["frame"] or row["destination"])
    return found


def _speaker(row: Cells, frames: dict[str, Cells], heads: dict[str, Cells]) -> Cells:
    """Whose word counts for a file."""
    if row["frame"] in frames:
        return frames[row["frame"]]
    return heads.get(row["sequence"], row)


def _of_file(row: Cells, results: dict[str, set[str]]) -> Counter[str]:
    size = int(row["bytes"])
    count = Counter({"files": 1, "bytes": size})
    if row["kind"] in STACKS and row["position"]:
        count["archivable_bytes" if row["sequence"] in results else "waiting_bytes"] = size
    return count


def _of_sequence(head: Cells, has_result: bool) -> Counter[str]:
    is_stack = head["kind"] in STACKS
    return Counter(sequences=1, stacks=is_stack, stacks_with_result=is_stack and has_result)
