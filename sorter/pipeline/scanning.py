"""From a card to an account of it: listing, reading, clocks, grouping; and its manifest."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Final

from sorter.disk.card import Card, nothing_here
from sorter.disk.output import Output, add_file, is_same, real_path, replace_file
from sorter.errors import BadCorrections, BadSettings, OutputNotWritable
from sorter.grouping.account import account_for
from sorter.manifest.corrections import corrections_bytes, corrections_of
from sorter.manifest.csvfile import manifest_bytes
from sorter.manifest.rows import make_rows
from sorter.model.card import Listing
from sorter.model.correction import Correction
from sorter.model.frame import Facts, Frame, ReadFile, Reading
from sorter.model.kinds import PICTURE_ROLES, Kind
from sorter.model.progress import CountProgress
from sorter.model.sequence import Account
from sorter.model.stretches import Misfit
from sorter.model.values import Moment
from sorter.reading.cards import files_to_read, read_card
from sorter.settings import Settings

_LAST_S: Final = 253_402_300_799  # 9999-12-31 23:59:59: ISO 8601 writes years in four digits


def scan(
    root: Path,
    settings: Settings,
    progress: CountProgress,
    corrections: tuple[Correction, ...] = (),
) -> Account:
    """The account of the card below the root; the card is only read.

    Raises what Card and its listing raise, CardGone, BadSettings for a clock of a body that is not
    on the card, and BadCorrections for a correction that does not fit it.
    """
    card = Card(root)
    listing = card.listing(may_be_empty=True)
    account = account_of(card, listing, settings, progress, corrections)
    refuse_empty(card, account)
    return account


def refuse_empty(card: Card, account: Account) -> None:
    """Raises CardEmpty where nothing is on the card but files of systems that are no pictures."""
    if account.is_empty:
        raise nothing_here(card.root, system_files=account.system_files, shoots=account.shoots)


def account_of(
    card: Card,
    listing: Listing,
    settings: Settings,
    progress: CountProgress,
    corrections: tuple[Correction, ...] = (),
) -> Account:
    """The account of what was listed. Raises CardGone, BadSettings and BadCorrections as scan does."""
    return accounted(reading_of(card, listing, settings, progress), settings, corrections)


def reading_of(
    card: Card, listing: Listing, settings: Settings, progress: CountProgress
) -> Reading:
    """What was listed, read, with the clocks set. Raises CardGone and BadSettings as scan does."""
    total = files_to_read(listing)
    reading = read_card(card, listing, lambda done: progress(done, total))
    return with_clocks_set(reading, settings)


def accounted(
    reading: Reading, settings: Settings, corrections: tuple[Correction, ...] = ()
) -> Account:
    """The account of a reading whose clocks are set. Raises BadCorrections as scan does."""
    try:
        return account_for(reading, settings.grouping, corrections)
    except Misfit as misfit:
        raise BadCorrections(f"corrections, line {misfit.line}: {misfit}") from misfit


def write_manifest(path: Path, account: Account) -> int:
    """The manifest of the account stands at the path; returns its number of rows.

    Raises OutputNotWritable, and then the path holds what it held before.
    """
    rows = make_rows(account)
    replace_file(path, manifest_bytes(rows), Output.MANIFEST)
    return len(rows)


def write_corrections(path: Path, account: Account) -> tuple[int, bool]:
    """The account stands at the path as corrections that would make it.

    Returns the number of its rows, and whether it was written now: False where the same stood there
    already. Raises OutputNotWritable, also where anything else is there: it may have been edited.
    """
    rows = corrections_of(account)
    return len(rows), add_file(path, corrections_bytes(rows))


def check_apart(manifest: Path, corrections: Path) -> None:
    """Raises OutputNotWritable where the manifest would replace corrections, read or written."""
    if is_same(real_path(manifest), real_path(corrections)):
        raise OutputNotWritable(
            f"{manifest}: this is your corrections file, and the manifest would replace it. Name "
            "another file."
        )


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


# ---- clocks ---------------------------------------------------------------------------------


def with_clocks_set(reading: Reading, settings: Settings) -> Reading:
    """The reading with every body's times moved by what the settings say for it.

    Raises BadSettings where a body that was named for this run is not on the card.
    """
    _refuse_unknown_bodies(reading, settings.clock_asked)
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


def _refuse_unknown_bodies(reading: Reading, asked: frozenset[str]) -> None:
    bodies = list(dict.fromkeys(_bodies(reading)))
    there = {name for body in bodies for name in _names(body)}
    for name in sorted(asked):
        if _folded(name) not in there:
            known = ", ".join(sorted({_introduced(body) for body in bodies})) or "none that tells"
            raise BadSettings(f"--clock: no body on this card is {name!r}. There are: {known}.")


def _bodies(reading: Reading) -> Iterator[Facts]:
    known = [frame.facts for frame in reading.frames] + [file.facts for _, file in reading.loose]
    for facts in known:
        if facts.serial or facts.model:
            yield Facts(make=facts.make, model=facts.model, serial=facts.serial)


def _introduced(body: Facts) -> str:
    return f"{body.serial} ({body.camera})" if body.serial else body.camera
