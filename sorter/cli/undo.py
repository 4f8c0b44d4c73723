"""`sorter undo`: the last ingest taken back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sorter import api
from sorter.cli import console, endings
from sorter.cli.options import json_option, yes_option
from sorter.cli.paths import GivenPath
from sorter.errors import NotAgreed
from sorter.model.operation import OperationKind

if TYPE_CHECKING:
    from sorter.api import UndoSession

_EXAMPLE = """\b
Examples:
  sorter undo ~/pictures/rock-pool
  sorter undo ~/pictures/rock-pool --yes --card /media/card

Exit codes: 0 all of it was taken back; 1 some files stay: they are named; 2 wrong usage, nothing
done; 3 stopped, nothing lost, run it again to go on; 4 moved files are missing in the shoot, and not
on the card: they are named.
"""


@click.command(epilog=_EXAMPLE)
@click.argument("shoot", type=GivenPath(), metavar="SHOOT")
@click.option(
    "--card",
    type=GivenPath(),
    metavar="CARD",
    help="Where the card is now, if not where it was. A shoot is no card.",
)
@click.option(
    "--without-card",
    is_flag=True,
    help="Also remove copies whose originals are not on the card any more.",
)
@yes_option
@json_option
@click.pass_context
def undo(
    ctx: click.Context,
    shoot: Path,
    card: Path | None,
    *,
    without_card: bool,
    yes: bool,
    as_json: bool,
) -> None:
    """Takes the last ingest of a shoot back.

    Copies are removed, moved files go back to the card. What was changed since stays, and is named; so
    does what cannot be read, in the shoot or on the card: run it again when it can. Copies that the card
    does not have any more are the only ones: they are not removed, and nothing is done. A link, a hard
    link or a folder that is mounted twice makes no copy its own original. A second copy is a shoot of
    its own, and stays: name its folder to take the ingest back there too.
    """
    if not (yes or console.can_ask()):
        raise NotAgreed("undo removes files. Without a terminal to ask on, give --yes.")
    request = api.UndoRequest(shoot=shoot, card=card, without_card=without_card)
    with (
        console.Bars() as bars,
        api.UndoSession(request, api.Watch(progress=bars.progress)) as work,
    ):
        work.inspect()
        bars.stop()
        files = endings.files_and_size(entry.placement for entry in work.here)
        console.remark_in_bold(endings.newest(work, files))
        if not yes and not console.agrees(_question(work, shoot, files)):
            raise NotAgreed("nothing was done.")
        outcome = work.carry()
    if as_json:
        console.show_json(outcome.to_dict())
    else:
        console.show_lines(endings.undone(outcome.undone, shoot, outcome.card))
    ctx.exit(outcome.exit_code)


def _question(work: UndoSession, shoot: Path, files: str) -> str:
    """What is asked before anything is done."""
    if work.what is OperationKind.REGROUPING:
        return f"Take the last regrouping of {shoot} back: move {files} to where they were in it?"
    if work.what is OperationKind.ADOPTION:
        return f"Take the last adoption of {shoot} back: note the old places of {files}?"
    back = f"move {files} back to {work.card}" if work.moves else f"remove {files}"
    return f"Take the last ingest of {shoot} back: {back}?"
