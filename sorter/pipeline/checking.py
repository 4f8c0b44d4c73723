"""The pictures of a card or a shoot looked at: what they say of every sequence, and of the grouping."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path

from sorter.disk import shoots
from sorter.disk.card import Card
from sorter.disk.measurements import MeasurementStore
from sorter.disk.shoot import Shoot
from sorter.model.correction import Correction
from sorter.model.measurement import MOST_PIXELS
from sorter.model.plan import Entry
from sorter.model.progress import CountProgress
from sorter.model.sequence import Account
from sorter.model.subject import Checked, Subject
from sorter.pipeline.findings import findings
from sorter.pipeline.scanning import account_of
from sorter.pipeline.subjects import of_account, of_entries
from sorter.pipeline.working import Workers
from sorter.settings import Settings
from sorter.writing import records


def is_shoot(root: Path) -> bool:
    """Whether the folder is a shoot, and no card; links are followed."""
    return shoots.is_shoot(os.fspath(root))


def check_card(
    root: Path, settings: Settings, workers: Workers, reading: CountProgress, looking: CountProgress
) -> Checked:
    """What the pictures of a card say. Raises what scan raises; the card is only read."""
    card = Card(root)
    account = account_of(card, card.listing(), settings, reading)
    found = check_account(card, account, workers, looking, settings.most_pixels)
    return replace(found, shoots=account.shoots)


def check_account(
    card: Card,
    account: Account,
    workers: Workers,
    looking: CountProgress,
    most_pixels: int = MOST_PIXELS,
) -> Checked:
    """What the pictures of these sequences say. most_pixels: a picture of more is not decoded."""
    subjects = list(of_account(card, account, most_pixels))
    return findings(subjects, workers, looking, MeasurementStore(None))


def check_shoot(
    root: Path, workers: Workers, looking: CountProgress, most_pixels: int = MOST_PIXELS
) -> Checked:
    """What the pictures of a shoot say. What was looked at before is not looked at again.

    Raises what entries_of raises.
    """
    shoot = Shoot(root)
    subjects = subjects_of(shoot, records.entries_of(root), most_pixels)
    return check_subjects(shoot, subjects, workers, looking)


def subjects_of(
    shoot: Shoot, entries: Iterable[Entry], most_pixels: int = MOST_PIXELS
) -> list[Subject]:
    """Every sequence of a shoot whose frames lie in it, singles too, in the order of their numbers."""
    return list(of_entries(shoot, entries, most_pixels))


def check_subjects(
    shoot: Shoot, subjects: list[Subject], workers: Workers, looking: CountProgress
) -> Checked:
    """What the pictures of these sequences say, which are all of the shoot's."""
    kept = MeasurementStore(shoot)
    found = findings(subjects, workers, looking, kept)
    kept.drop_others()
    return found


def apart_from(
    notes: Iterable[Correction], suggested: Iterable[Correction], account: Account
) -> tuple[Correction, ...]:
    """What the pictures suggest of frames of which the user says nothing."""
    place = {file.path: n for n, frame in enumerate(account.order) for file in frame.files}
    taken = [_span(each, place) for each in notes]
    return tuple(
        each
        for each in suggested
        if not any(
            start <= _span(each, place)[1] and _span(each, place)[0] <= stop
            for start, stop in taken
        )
    )


def _span(correction: Correction, place: Mapping[str, int]) -> tuple[int, int]:
    first = place.get(correction.first, -1)
    return first, place.get(correction.last or correction.first, first)
