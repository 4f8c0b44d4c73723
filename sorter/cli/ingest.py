"""`sorter ingest`: a card carried into a shoot folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from sorter import api
from sorter.cli import console, endings
from sorter.cli.options import (
    corrections_option,
    json_option,
    pixels_option,
    settings_options,
    yes_option,
)
from sorter.cli.paths import GivenPath
from sorter.errors import NotAgreed
from sorter.settings import Settings, with_most_megapixels

if TYPE_CHECKING:
    from sorter.api import IngestPlan

FINISHED_WITHOUT_SOME: Final = 1

_EXAMPLE = """\b
Examples:
  sorter ingest /media/card ~/pictures/rock-pool --dry-run
  sorter ingest /media/card ~/pictures/rock-pool --backup /media/second/rock-pool
  sorter ingest /media/card ~/pictures/rock-pool --name "west pool" --look
  sorter ingest /media/card ~/pictures/rock-pool --folder "{sequence:03d} {kind} f{f_number}"
  sorter ingest /media/card ~/pictures/rock-pool --corrections limpets.csv --hand-pause 90

A folder pattern is in Python's format syntax, over the names of the manifest's columns and name:
{sequence:04d}_{kind}_{frames}_{name} is the default.

Exit codes: 0 every file is in the shoot and verified; 1 finished, but some files could not be
carried, or were changed since: they are listed; 2 wrong usage, nothing done; 3 stopped, nothing
lost, run it again to go on; 4 a copy came out different from the card's file: it is named. A picture
that cannot be read, and is carried and verified, is named and is no failure. A dry run ends with 1
where its ingest would.
"""


@click.command(epilog=_EXAMPLE)
@click.argument("card", type=GivenPath(), metavar="CARD")
@click.argument("shoot", type=GivenPath(), metavar="SHOOT")
@click.option(
    "--dry-run", is_flag=True, help="Print the plan as a tree, and write nothing anywhere."
)
@click.option(
    "--move",
    is_flag=True,
    help="Move the files: a file leaves the card when all files of its frame are verified in every "
    "copy, and it was itself read once more and still is what was carried. So the card is read twice. "
    "On one disk a move is a rename, and the card is read once.",
)
@click.option(
    "--backup",
    type=GivenPath(),
    metavar="DIR",
    help="Write a second verified copy to this folder in the same pass, best on another disk.",
)
@click.option(
    "--reread",
    "rereads",
    is_flag=True,
    help="Read the card a second time, past the system's cache, and compare: a reader that gave wrong "
    "bits once is found out. Takes as long again as reading the card.",
)
@click.option(
    "--folder",
    metavar="PATTERN",
    help="How the folders of sequences are named; see below.",
)
@click.option(
    "--look",
    is_flag=True,
    help="Look at the pictures before planning: markers part what they stand between, stacks among "
    "bursts and singles are found.",
)
@click.option("--name", default="", metavar="NAME", help="A name for the folders, as {name}.")
@corrections_option
@pixels_option
@settings_options
@yes_option
@json_option
@click.pass_context
def ingest(
    ctx: click.Context,
    card: Path,
    shoot: Path,
    folder: str | None,
    backup: Path | None,
    *,
    name: str,
    corrections_file: Path | None,
    most_megapixels: int | None,
    settings: Settings,
    dry_run: bool,
    move: bool,
    rereads: bool,
    look: bool,
    yes: bool,
    as_json: bool,
) -> None:
    """Carries a card into a shoot folder, and verifies it.

    CARD is the card's root, its DCIM, or any folder with pictures in it. SHOOT is a folder for the
    shoot: it is made where it is missing; where it holds a shoot already, what is missing is added.

    Every file is copied, forced to the disk, read back and compared. The card is only read, but for
    --move. An ingest that was stopped goes on where it stopped when it is run again. What is in the
    shoot stays as it is there, whatever corrections and other options say later.

    With --backup the card is read once and written twice. The second copy is a shoot folder too; one
    that lacks files of the shoot gets them. Either may fail without the other: the last lines say
    what is where.
    """
    options = api.IngestOptions(
        settings=with_most_megapixels(settings, most_megapixels),
        name=name,
        corrections=api.corrections_of(corrections_file),
        moves=move,
        uses_pictures=look,
        backup=backup,
        rereads=rereads,
        folder=api.folder_of(folder),
    )
    if move and not (yes or dry_run or console.can_ask()):
        raise NotAgreed(
            "--move takes files off the card. Without a terminal to ask on, give --yes."
        )
    request = api.IngestRequest(card=card, shoot=shoot, options=options)
    with console.Bars() as bars, api.Ingesting(request, api.Watch(progress=bars.progress)) as work:
        plan = work.inspect(hold=not dry_run)
        bars.stop()
        if dry_run:
            _show_plan(plan, as_json=as_json)
            ctx.exit(0 if endings.would_be_whole(plan) else FINISHED_WITHOUT_SOME)
        if plan.would_move and not yes and (plan.waiting or plan.finishing):
            _ask(plan, card)
        for remark in endings.beforehand(plan):
            console.remark(remark)
        outcome = work.carry(plan)
    for remark in endings.too_late(outcome.report.too_late):
        console.remark(remark)
    if as_json:
        console.show_json(outcome.to_dict())
    else:
        console.show_lines(endings.ingested(outcome.report, plan.shoot))
    if outcome.report.failures:
        raise outcome.report.failures[0]
    ctx.exit(outcome.exit_code)


def _show_plan(plan: IngestPlan, *, as_json: bool) -> None:
    if as_json:
        console.show_json(plan.to_dict())
    else:
        console.show_lines(endings.planned(plan))


def _ask(plan: IngestPlan, card: Path) -> None:
    if not console.can_ask():
        raise NotAgreed(
            "the ingest that was stopped here is a move, which takes files off the card. Without a "
            "terminal to ask on, give --yes to go on with it."
        )
    late = (entry.placement for entry in plan.finishing)
    files = endings.files_and_size((*plan.waiting, *late))
    if not console.agrees(
        f"Move {files} from {card} to {plan.shoot}? The card keeps none of them."
    ):
        raise NotAgreed("nothing was done.")
