"""Plans of made-up accounts, and the entries that a ledger has once such a plan was carried out."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import replace

from sorter.manifest.rows import make_rows
from sorter.model.frame import Frame, ReadFile
from sorter.model.plan import Entry, Placement, Plan, State
from sorter.model.row import Row
from sorter.model.sequence import Account
from sorter.planning.numbering import numbers_for
from sorter.planning.pattern import DEFAULT, parse
from sorter.planning.places import Naming, PathFacts, ShootContents, make_plan

NAMING = Naming(pattern=parse(DEFAULT))
NOTHING = ShootContents()


def frames_of(account: Account) -> tuple[Frame, ...]:
    return tuple(frame for each in account.sequences for frame in (*each.frames, *each.results))


def files_of(account: Account) -> dict[str, ReadFile]:
    """Every file of the account, by its path."""
    of_frames = [file for frame in frames_of(account) for file in frame.files]
    return {file.path: file for file in (*of_frames, *(file for _, file in account.loose))}


def rows_of(account: Account, contents: ShootContents = NOTHING) -> tuple[Row, ...]:
    return make_rows(account, numbers_for(account, contents.numbered, contents.known))


def path_facts(account: Account, numbers: tuple[int, ...]) -> PathFacts:
    places = {
        file.path: place
        for each in account.sequences
        for frame, place in zip(each.frames, each.focus.places, strict=True)
        for file in frame.files
    }
    named = zip(numbers, account.sequences, strict=True)
    return PathFacts(
        files=files_of(account),
        from_near=places,
        names={number: each.name for number, each in named if each.name},
    )


def plan_of(account: Account, contents: ShootContents = NOTHING, naming: Naming = NAMING) -> Plan:
    numbers = numbers_for(account, contents.numbered, contents.known)
    rows = make_rows(account, numbers)
    return make_plan(rows, path_facts(account, numbers.sequences), contents, naming)


def carried(plan: Plan, before: Iterable[Entry] = ()) -> tuple[Entry, ...]:
    """What the ledger knows once the plan was carried out, behind what it knew before."""
    entries = {entry.number: entry for entry in before}
    for number, placement in plan.updated:
        entries[number] = replace(entries[number], placement=_read(placement))
    run = max((entry.run for entry in entries.values()), default=0) + 1
    for number, placement in enumerate(plan.placements, len(entries) + 1):
        state = State.PLACED if placement.row.destination else State.LEFT
        entries[number] = Entry(number=number, run=run, placement=_read(placement), state=state)
    return tuple(entries.values())


def _read(placement: Placement) -> Placement:
    row = placement.row
    if not row.destination or row.sha256:
        return placement
    digest = hashlib.sha256(row.source.encode("utf-8", "surrogateescape")).hexdigest()
    return replace(placement, row=replace(row, sha256=digest))


def contents(account: Account, known: tuple[Entry, ...], *more: str) -> ShootContents:
    """The shoot of these entries as this card finds it: each file is told by its path."""
    there = {entry.row.source: entry for entry in known}
    here = files_of(account)
    return ShootContents(
        known=known,
        there={path: entry for path, entry in there.items() if path in here},
        taken=frozenset({entry.row.destination for entry in known} - {""} | {*more}),
    )


def destinations(plan: Plan) -> dict[str, str]:
    """Source to destination of all that is new."""
    return {each.row.source: each.row.destination for each in plan.placements}
