"""`sorter handoff`: the stacks of a shoot, for another program."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import click

from sorter.cli.paths import GivenPath
from sorter.model.kinds import NO_FRAME_KINDS, STACK_KINDS, Kind
from sorter.model.stack import SliceFiles, SliceOrder, Wish

FINISHED_WITHOUT_SOME: Final = 1
_KINDS: Final = [str(kind) for kind in Kind if kind not in NO_FRAME_KINDS]
_EXAMPLE: Final = """\b
Examples:
  sorter handoff rock-pool --list rock-pool/lists
  sorter handoff rock-pool --folders /fast/stacks --order near-first
  sorter handoff rock-pool --folders /fast/stacks --only 3,7-9 --files raw
  sorter handoff rock-pool --list lists --kind burst --only 11

Exit codes: 0 all went well; 1 finished, but some stacks were left out: they are named; 2 wrong
usage, nothing done; 3 stopped (a full disk, Ctrl-C), nothing lost, run it again.
"""


@click.command(epilog=_EXAMPLE)
@click.argument("shoot", type=GivenPath(), metavar="SHOOT")
@click.option(
    "--list",
    "lists",
    type=GivenPath(),
    metavar="DIR",
    help="Write a text file for each stack to this folder: the absolute paths of its slices, one "
    "a line. A list that is there already is replaced.",
)
@click.option(
    "--folders",
    type=GivenPath(),
    metavar="DIR",
    help="Make a folder for each stack in this folder, with its slices and nothing else: hard "
    "links, or copies where the disk has none. A folder that holds anything else is never touched.",
)
@click.option(
    "--only",
    metavar="NUMBERS",
    help="Only the sequences with these numbers: 3,7-9.",
)
@click.option(
    "--kind",
    "kinds",
    multiple=True,
    type=click.Choice(_KINDS),
    metavar="KIND",
    help="Sequences of this kind in place of focus brackets and manual stacks: "
    f"{', '.join(_KINDS)}. Give it once for every kind.",
)
@click.option(
    "--files",
    type=click.Choice([str(each) for each in SliceFiles]),
    metavar="|".join(SliceFiles),
    help="Which files of a frame. Without this option: the images of a stack where every frame has "
    "one, else the raws where every frame has one, else of each frame what it has.",
)
@click.option(
    "--order",
    type=click.Choice([str(each) for each in SliceOrder]),
    default=str(SliceOrder.CAPTURE),
    metavar="ORDER",
    help=f"{', '.join(SliceOrder)}. Without this option, and for a stack where the camera did not "
    "tell the focus of every slice: capture.",
)
@click.pass_context
def handoff(
    ctx: click.Context,
    *,
    shoot: Path,
    lists: Path | None,
    folders: Path | None,
    only: str | None,
    kinds: tuple[str, ...],
    files: str | None,
    order: str,
) -> None:
    """Hands the stacks of a shoot to a stacking program.

    SHOOT is a folder that a card was ingested to; nothing in it is changed. Each stack becomes a
    list, a folder, or both, named as its folder in the shoot. A stack that lacks a slice is left
    out and named: half a stack is never handed over.
    """
    # Imported here, so that this command's help answers at once too.
    from sorter import pipeline  # noqa: PLC0415
    from sorter.cli import console  # noqa: PLC0415

    wish = Wish(
        kinds=frozenset(map(Kind, kinds)) or STACK_KINDS,
        only=None if only is None else pipeline.parse_numbers(only),
        files=SliceFiles(files) if files else None,
        order=SliceOrder(order),
    )
    with console.Bar("handing over") as bar:
        outcome = pipeline.hand_off(shoot, wish, bar.tick, lists=lists, folders=folders)
    console.show_handoff(outcome)
    if outcome.left_out:
        ctx.exit(FINISHED_WITHOUT_SOME)
