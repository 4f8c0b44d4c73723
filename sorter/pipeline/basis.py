"""What a plan was made from, and whether card and shoot are still that."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from pathlib import Path

from sorter.errors import PlanOutdated
from sorter.model.card import Listing, differences
from sorter.model.plan import Entry
from sorter.writing.ledger import IngestRun


def basis_of(runs: Iterable[IngestRun], entries: Iterable[Entry]) -> str:
    """A digest of what a ledger holds, as far as a plan is made from it; empty where it holds nothing.

    A path holds no NUL, so that no two runs and no two entries make one line.
    """
    lines = [f"{run.run}\0{run.card}\0{run.moves}\0{run.two}\0{run.state}\n" for run in runs]
    lines += map(_line, entries)
    text = "".join(lines).encode("utf-8", "surrogatepass")
    return hashlib.sha256(text).hexdigest() if lines else ""


def _line(entry: Entry) -> str:
    """How far the file has come, and of which sequence it is. A shoot has many thousand: 1 µs each."""
    row = entry.placement.row
    return (
        f"{entry.number}\0{entry.run}\0{entry.state}\0{entry.gone}\0{row.source}\0{row.destination}\0"
        f"{row.bytes}\0{row.sha256}\0{row.frame}\0{row.sequence}\0{row.kind}\0{entry.placement.fingerprint}\n"
    )


def refuse_other_card(card: Path, before: Listing, now: Listing) -> None:
    """Returns where the card is what it was: paths, sizes and stamps. Raises PlanOutdated."""
    drift = differences(before, now, frozenset())
    known = (("new", drift.new), ("changed", drift.changed), ("gone", drift.vanished))
    lines = [f"{len(paths)} {word} ({_first_of(paths)})" for word, paths in known if paths]
    if drift.closed:
        lines.append(f"{len(drift.closed)} folders that cannot be listed any more")
    if set(before.shoots) != set(now.shoots):
        lines.append("other shoots on it")
    if lines:
        raise outdated(
            card, f"files differ from those that the plan was made from: {', '.join(lines)}"
        )


def refuse_other_bytes(card: Path, paths: Sequence[str]) -> None:
    """Returns where there is no such file: none that begins otherwise than it did. Raises PlanOutdated."""
    if paths:
        raise outdated(
            card, f"{len(paths)} begin with other bytes, or cannot be read now ({_first_of(paths)})"
        )


def refuse_other_shoot(shoot: Path, before: str, now: str) -> None:
    """Returns where the folder's ledger holds what it held. Raises PlanOutdated."""
    if before != now:
        raise outdated(shoot, "other work was done here since the plan was made")


def outdated(place: Path, why: str) -> PlanOutdated:
    """The error that says why a plan is not carried out."""
    return PlanOutdated(f"{place}: {why}. Nothing was done: make the plan anew.")


def _first_of(paths: Sequence[str]) -> str:
    return paths[0] if len(paths) == 1 else f"{paths[0]}, …"
