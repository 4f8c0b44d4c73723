"""`sorter ingest`: a card carried into a shoot folder."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from sorter.cli.options import corrections_option, settings_options, yes_option
from sorter.cli.paths import GivenPath
from sorter.errors import NotAgreed
from sorter.settings import Settings

if TYPE_CHECKING:
    from sorter import pipeline
    from sorter.cli.console import Bars

FINISHED_WITHOUT_SOME: Final = 1
VERIFICATION_FAILED: Final = 4

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
@settings_options
@yes_option
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
    settings: Settings,
    dry_run: bool,
    move: bool,
    rereads: bool,
    look: bool,
    yes: bool,
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
    # Imported here, so that this command's help answers at once too.
    from sorter import pipeline  # noqa: PLC0415
    from sorter.cli import console, endings  # noqa: PLC0415

    wishes = pipeline.Wishes(
        settings=settings,
        name=name,
        corrections=pipeline.read_corrections(corrections_file) if corrections_file else (),
        moves=move,
        looks=look,
        backup=backup,
        rereads=rereads,
        folder=pipeline.DEFAULT_FOLDER if folder is None else folder,
    )
    if move and not (yes or dry_run or console.can_ask()):
        raise NotAgreed(
            "--move takes files off the card. Without a terminal to ask on, give --yes."
        )
    with pipeline.Ingest(card, shoot, wishes) as work:
        with console.Bars() as bars:
            plan = work.inspect(_ticks(bars), hold=not dry_run)
        if dry_run:
            console.show_lines(endings.planned(plan))
            if not endings.would_be_whole(plan):
                ctx.exit(FINISHED_WITHOUT_SOME)
            return
        if plan.would_move and not yes and (plan.waiting or plan.finishing):
            _ask(plan, card)
        _say_what_comes(plan)
        with console.Bars() as bars:
            report = work.carry(plan, _ticks(bars))
    for remark in endings.too_late(report.too_late):
        console.remark(remark)
    console.show_lines(endings.ingested(report, plan.shoot))
    if report.failures:
        raise report.failures[0]
    if report.has_differing:
        ctx.exit(VERIFICATION_FAILED)
    if not report.is_whole:
        ctx.exit(FINISHED_WITHOUT_SOME)


def _ticks(bars: Bars) -> pipeline.Ticks:
    from sorter import pipeline  # noqa: PLC0415  see above

    return pipeline.Ticks(
        reading=bars.tick("reading the card", "finding the sequences"),
        looking=bars.tick("looking at the pictures", "judging them"),
        comparing=bars.tick("comparing with the shoot", in_bytes=True),
        carrying=bars.tick("carrying", "verifying", in_bytes=True),
    )


def _ask(plan: pipeline.IngestPlan, card: Path) -> None:
    from sorter.cli import console, endings  # noqa: PLC0415  see above

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


def _say_what_comes(plan: pipeline.IngestPlan) -> None:
    from sorter.cli import console, endings  # noqa: PLC0415  see above

    for remark in endings.beforehand(plan):
        console.remark(remark)
