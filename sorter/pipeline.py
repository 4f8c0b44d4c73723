"""The stages in order, called by the commands: listing, reading, clocks, grouping, writing."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final, TypeAlias

from sorter.disk.card import Card
from sorter.disk.shoot import check_target, real_path, replace_file
from sorter.errors import BadChoice, BadSettings
from sorter.grouping.account import account_for
from sorter.handoff.choose import choose
from sorter.handoff.deliver import Delivery, refuse_lists, refuse_shoots_own
from sorter.handoff.numbers import parse_numbers
from sorter.manifest.csvfile import manifest_bytes
from sorter.manifest.document import document
from sorter.manifest.rows import make_rows
from sorter.model.frame import Facts, Frame, ReadFile, Reading
from sorter.model.kinds import PICTURE_ROLES, Kind
from sorter.model.sequence import Account
from sorter.model.stack import Handed, Handoff, LeftOut, Wish
from sorter.model.values import Moment
from sorter.reading.cards import read_card
from sorter.settings import Settings

__all__ = [
    "Tick",
    "check_target",
    "document",
    "hand_off",
    "parse_numbers",
    "scan",
    "unread_files",
    "write_manifest",
]

Tick: TypeAlias = Callable[[int, int], None]
"""Called while files are read or written: how many are done, of how many."""

_LAST_S: Final = 253_402_300_799  # 9999-12-31 23:59:59: ISO 8601 writes years in four digits


def scan(root: Path, settings: Settings, tick: Tick) -> Account:
    """The account of the card below the root; the card is only read.

    Raises what Card and its listing raise, CardGone, and BadSettings for a clock of a body that
    is not on the card.
    """
    card = Card(root)
    listing = card.listing()
    total = len(listing.files)
    reading = read_card(card, listing, lambda done: tick(done, total))
    return account_for(with_clocks_set(reading, settings), settings.grouping)


def write_manifest(path: Path, account: Account) -> int:
    """The manifest of the account stands at the path; returns its number of rows.

    Raises OutputNotWritable, and then the path holds what it held before.
    """
    rows = make_rows(account)
    replace_file(path, manifest_bytes(rows))
    return len(rows)


def unread_files(account: Account) -> tuple[ReadFile, ...]:
    """The files whose content could not be read at all, in the order of their paths."""
    unread = [file for kind, file in account.loose if kind is Kind.UNREADABLE or _is_closed(file)]
    for sequence in account.sequences:
        for frame in (*sequence.frames, *sequence.results):
            unread += [file for file in frame.files if _is_closed(file)]
    return tuple(sorted(unread, key=lambda file: file.path))


def _is_closed(file: ReadFile) -> bool:
    """Whether it was not opened, or is a picture by its name and no picture by its content."""
    return bool(file.file.obstacle) or (file.role in PICTURE_ROLES and not file.is_picture)


# ---- handing over ---------------------------------------------------------------------------


def hand_off(
    shoot: Path, wish: Wish, tick: Tick, *, lists: Path | None, folders: Path | None
) -> Handoff:
    """The stacks that are wished for stand as lists, as folders, or both; and what came of each.

    Raises BadChoice where nothing is to be written or the wish does not fit the shoot, and what
    entries_of raises where there is none, before anything is written. After that OutputNotWritable
    and NoRoom; what was handed over before them stays.
    """
    # Imported here: no other command of this module needs a ledger.
    from sorter.writing.records import entries_of  # noqa: PLC0415

    if lists is None and folders is None:
        raise BadChoice("say where the stacks are to go: --list DIR, --folders DIR, or both.")
    entries = entries_of(shoot)
    choice = choose(entries, wish)
    shoot, lists, folders = real_path(shoot), _real(lists), _real(folders)
    for target in filter(None, (lists, folders)):
        refuse_shoots_own(shoot, target, entries)
    if lists is not None:
        refuse_lists(shoot, lists, folders, choice.stacks)
    delivery = Delivery(shoot=shoot, lists=lists, folders=folders, tick=tick)
    outcomes = (*delivery.hand_over(choice.stacks), *choice.left_out)
    left_out = [each for each in outcomes if isinstance(each, LeftOut)]
    return Handoff(
        wish=wish,
        handed=tuple(each for each in outcomes if isinstance(each, Handed)),
        left_out=tuple(sorted(left_out, key=lambda each: each.number)),
        passed_over=choice.passed_over,
        lists=str(lists or ""),
        folders=str(folders or ""),
    )


def _real(path: Path | None) -> Path | None:
    return None if path is None else real_path(path)


# ---- clocks ---------------------------------------------------------------------------------


def with_clocks_set(reading: Reading, settings: Settings) -> Reading:
    """The reading with every body's times moved by what the settings say for it.

    Raises BadSettings where a body that was named for this run is not on the card.
    """
    _refuse_strangers(reading, settings.clock_asked)
    if not settings.clock:
        return reading
    clock = {_folded(body): seconds for body, seconds in settings.clock.items()}
    return replace(
        reading,
        frames=tuple(_frame_moved(frame, clock) for frame in reading.frames),
        loose=tuple((kind, _file_moved(file, file.facts, clock)) for kind, file in reading.loose),
    )


def _frame_moved(frame: Frame, clock: dict[str, int]) -> Frame:
    body = frame.facts
    return replace(
        frame,
        facts=_facts_moved(frame.facts, body, clock),
        files=tuple(_file_moved(file, body, clock) for file in frame.files),
    )


def _file_moved(file: ReadFile, body: Facts, clock: dict[str, int]) -> ReadFile:
    return replace(file, facts=_facts_moved(file.facts, body, clock))


def _facts_moved(facts: Facts, body: Facts, clock: dict[str, int]) -> Facts:
    seconds = next((clock[name] for name in _names(body) if name in clock), 0)
    return replace(facts, moment=_moved(facts.moment, seconds))


def _moved(moment: Moment | None, seconds: int) -> Moment | None:
    if moment is None or not seconds or not 0 <= moment.local_s + seconds <= _LAST_S:
        return moment
    return moment.shifted(seconds)


def _names(body: Facts) -> tuple[str, ...]:
    """What a body answers to: its serial, or where it tells none its model, in any case."""
    names = (body.serial,) if body.serial else (body.model, body.camera)
    return tuple(_folded(name) for name in names if name)


def _folded(name: str) -> str:
    return name.strip().casefold()


def _refuse_strangers(reading: Reading, asked: frozenset[str]) -> None:
    bodies = list(dict.fromkeys(_bodies(reading)))
    there = {name for body in bodies for name in _names(body)}
    for name in sorted(asked):
        if _folded(name) not in there:
            known = ", ".join(sorted({_introduced(body) for body in bodies})) or "none that tells"
            raise BadSettings(f"--clock: no body on this card is {name!r}. There are: {known}.")


def _bodies(reading: Reading) -> Iterator[Facts]:
    told = [frame.facts for frame in reading.frames] + [file.facts for _, file in reading.loose]
    for facts in told:
        if facts.serial or facts.model:
            yield Facts(make=facts.make, model=facts.model, serial=facts.serial)


def _introduced(body: Facts) -> str:
    return f"{body.serial} ({body.camera})" if body.serial else body.camera
