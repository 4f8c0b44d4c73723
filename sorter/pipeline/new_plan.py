"""A new plan for all that a shoot does not have yet: from an account of the card, and what was compared."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from sorter.manifest.rows import make_rows, spelled
from sorter.model.correction import Correction
from sorter.model.frame import ReadFile
from sorter.model.numbers import Numbers
from sorter.model.plan import Entry, Plan
from sorter.model.row import Row
from sorter.model.sequence import Account
from sorter.pipeline.scanning import unread_files
from sorter.planning.lateness import too_late
from sorter.planning.numbering import numbers_for
from sorter.planning.places import Naming, PathFacts, ShootContents, make_plan
from sorter.planning.presses import joined, same_press
from sorter.writing.compare import Comparison


def contents_of(
    known: tuple[Entry, ...], found: Comparison, rows: tuple[Row, ...], taken: Iterable[str]
) -> ShootContents:
    """What the shoot holds already, other files of the same presses too.

    found: those that are files of this card. rows: the card's, with numbers from 1. taken: every path in
    the folder.
    """
    contents = ShootContents(
        known=known,
        there=found.there,
        failed=found.failed,
        changed=frozenset(found.changed),
        taken=frozenset(taken),
    )
    return (
        replace(contents, same_press=same_press(rows, contents.numbered, known))
        if known
        else contents
    )


def plan_new(account: Account, contents: ShootContents, naming: Naming) -> Plan:
    """The plan for an account's files; numbers count on from those of the shoot."""
    known, matched = contents.numbered, contents.same_press
    numbers = numbers_for(account, {**matched, **known}, contents.known)
    rows = tuple(
        joined(row, matched.get(row.source), known.get(row.source))
        for row in make_rows(account, numbers)
    )
    return make_plan(rows, _about(account, numbers, matched), contents, naming)


def late_corrections(
    account: Account, plan: Plan, contents: ShootContents, asked: tuple[Correction, ...]
) -> tuple[Correction, ...]:
    """The corrections that come too late. A path may be spelled as the manifest does it."""
    if not asked:
        return ()
    paths = [file.path for file in files_in(account)]
    known = {spelled(path): path for path in paths} | {path: path for path in paths}
    pairs = [(known[each.first], each) for each in asked]
    known_values = {**contents.same_press, **contents.numbered}
    late = too_late(account, plan, known_values, (path for path, _ in pairs))
    return tuple(each for path, each in pairs if path in late)


def files_in(account: Account) -> Iterator[ReadFile]:
    """Every file of the account."""
    yield from (file for _, file in account.loose)
    for frame in account.order:
        yield from frame.files


def _about(account: Account, numbers: Numbers, matched: Mapping[str, Entry]) -> PathFacts:
    """What planning has to know beside the rows. matched: as presses.same_press found it."""
    from_near: dict[str, int | None] = {}
    for sequence in account.sequences:
        places = (*sequence.focus.places, *(None for _ in sequence.results))
        for frame, place in zip((*sequence.frames, *sequence.results), places, strict=True):
            from_near |= {file.path: place for file in frame.files}
    from_near |= {path: entry.placement.from_near for path, entry in matched.items()}
    named = zip(numbers.sequences, account.sequences, strict=True)
    return PathFacts(
        files={file.path: file for file in files_in(account)},
        from_near=from_near,
        unread=frozenset(file.path for file in unread_files(account)),
        names={number: sequence.name for number, sequence in named if sequence.name},
    )
