"""A shoot as one page to look at, with its pictures beside it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from sorter.disk.reported import ReportFolder
from sorter.disk.shoot import Shoot
from sorter.errors import ShootBusy
from sorter.manifest.corrections import path_cell
from sorter.manifest.rows import in_order, spelled
from sorter.model.measurement import MOST_PIXELS
from sorter.model.plan import Entry
from sorter.model.progress import CountProgress
from sorter.model.report import Material
from sorter.model.row import Row
from sorter.model.subject import Checked
from sorter.page.attention import suggestion
from sorter.page.build import make_page
from sorter.page.render import GENERATOR, render
from sorter.pipeline.checking import check_subjects, subjects_of
from sorter.pipeline.picturing import Pictures, make_pictures
from sorter.pipeline.working import Workers
from sorter.pixels.drawn import colours
from sorter.writing import records
from sorter.writing.ledger import Ledger
from sorter.writing.target import stopping_clearly

COLOURS: Final = 13
"""Of the map, in a legend: between them a browser mixes, and comes within a grey level of the map."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reported:
    """What was written. page: its path. attention_count: sequences that deserve a look.

    unseen: frames that have no picture, by name, with the reason.
    """

    page: Path
    sequences: int
    merges: int
    attention_count: int
    unseen: dict[str, str]


def report(
    root: Path,
    workers: Workers,
    looking: CountProgress,
    drawing: CountProgress,
    most_pixels: int = MOST_PIXELS,
) -> Reported:
    """The shoot's page is there, as it is now; nothing else in the shoot is changed.

    most_pixels: a picture of more is named, and not decoded.

    Pictures that an earlier run made of the same frames stay. Raises NoShoot, ShootBusy,
    LedgerDamaged, ShootNotWritable, NoRoom.
    """
    shoot = Shoot(root)
    folder = ReportFolder(shoot, GENERATOR)
    folder.refuse_foreign()
    entries = records.entries_of(root)
    subjects = subjects_of(shoot, entries, most_pixels)
    found = check_subjects(shoot, subjects, workers, looking)
    with Ledger(shoot.hidden, hold=True) as ledger, stopping_clearly(shoot):
        _refuse_changed(ledger, entries, shoot)
        pictures = make_pictures(folder, subjects, found, workers, drawing)
        material = _material(shoot, entries, found, pictures)
        page = make_page(material)
        folder.put_page(spelled(render(page)).encode())
        folder.drop_others(pictures.names)
    names = {row.frame: row.destination for row in reversed(material.rows) if row.frame}
    return Reported(
        page=folder.page,
        sequences=len(page.sections) + len(page.wall),
        merges=len(pictures.trials),
        attention_count=page.attention_count,
        unseen={names[n]: each.why for n, each in pictures.frames.items() if each.why},
    )


def _refuse_changed(ledger: Ledger, entries: Sequence[Entry], shoot: Shoot) -> None:
    """Raises ShootBusy where another run changed the shoot while its pictures were looked at."""
    if ledger.entries() != tuple(entries):
        raise ShootBusy(
            f"{shoot.root}: another run changed the shoot meanwhile. Nothing was written: run it again."
        )


def _material(
    shoot: Shoot, entries: Sequence[Entry], found: Checked, pictures: Pictures
) -> Material:
    plain = (replace(entry, found="") for entry in entries)  # what was found stands by itself
    rows = in_order(records.rows_of(plain))
    return Material(
        title=shoot.root.name or str(shoot.root),
        rows=rows,
        checks={each.sequence: each for each in found.checks},
        frame_findings=found.frame_findings,
        trials=pictures.trials,
        pictures=pictures.frames,
        suggested=_suggested(rows, found),
        colours=colours(COLOURS),
        cell=path_cell,
    )


def _suggested(rows: Sequence[Row], found: Checked) -> dict[int, str]:
    """What is suggested of each frame, by its number, in words."""
    firsts = {row.frame: row for row in reversed(rows) if row.frame and row.sequence}
    said: dict[int, str] = {}
    for regrouping, correction in zip(found.regroupings, found.suggested, strict=True):
        words = suggestion(correction, [firsts[frame] for frame in regrouping.frames])
        said |= dict.fromkeys(regrouping.frames, words)
    return said
