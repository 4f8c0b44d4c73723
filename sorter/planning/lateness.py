"""Which corrections of sequences come too late: the shoot holds their frames as something else. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from sorter.model.plan import Entry, Plan
from sorter.model.row import Row
from sorter.model.sequence import Account, Sequence


@dataclass(slots=True, kw_only=True)
class _Held:
    """What the manifest says of files of this card: each one's row, and the paths of each sequence."""

    rows: dict[str, Row] = field(default_factory=dict)
    paths: dict[int | None, set[str]] = field(default_factory=dict)


def too_late(
    account: Account, plan: Plan, there: Mapping[str, Entry], asked: Iterable[str]
) -> frozenset[str]:
    """Those of the asked paths whose sequences the shoot holds as something else.

    asked: a path of a frame in each sequence that the user asked for. there: entries of files of
    this card, by their paths on it. Something else is another kind, or frames that are apart there,
    or together with others of this card. What the plan says again of what is there counts as said.
    """
    held = _held(plan, there)
    own = dict(_by_path(account))
    return frozenset(path for path in asked if path in own and not _stands(own[path], held))


def _held(plan: Plan, there: Mapping[str, Entry]) -> _Held:
    renewed = {number: placement.row for number, placement in plan.updated}
    held = _Held()
    for path, entry in there.items():
        row = renewed.get(entry.number, entry.row)
        held.rows[path] = row
        held.paths.setdefault(row.sequence, set()).add(path)
    return held


def _by_path(account: Account) -> Iterator[tuple[str, Sequence]]:
    for sequence in account.sequences:
        for frame in sequence.frames:
            yield from ((file.path, sequence) for file in frame.files)


def _stands(sequence: Sequence, held: _Held) -> bool:
    """Whether all of it that is there is one sequence of its kind, and nothing else in that."""
    frames = (*sequence.frames, *sequence.results)
    paths = {file.path for frame in frames for file in frame.files}
    rows = [held.rows[path] for path in paths if path in held.rows]
    numbers = {row.sequence for row in rows}
    same = all(row.kind is sequence.kind for row in rows)
    return same and len(numbers) <= 1 and all(held.paths[each] <= paths for each in numbers)
