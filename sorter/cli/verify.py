"""`sorter verify`: is a shoot what it was."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from sorter.cli.paths import GivenPath

if TYPE_CHECKING:
    from sorter.pipeline import CardSide, Findings

ADDED_OR_EDITED: Final = 1
VERIFICATION_FAILED: Final = 4

_EXAMPLE = """\b
Examples:
  sorter verify ~/pictures/rock-pool
  sorter verify ~/pictures/rock-pool --backup /media/second/rock-pool
  sorter verify ~/pictures/rock-pool --backup /media/second/rock-pool --mend
  sorter verify ~/pictures/rock-pool --backup /media/second/rock-pool --card /media/card

Exit codes: 0 every file is as it was carried; 1 the same, but files were added, sidecars edited, or
some of the card never carried: they are listed; 2 wrong usage; 3 stopped; 4 files are changed,
missing or unreadable, in a copy or on the card, and were not mended: they are named.
"""


@click.command(epilog=_EXAMPLE)
@click.argument("shoot", type=GivenPath(), metavar="SHOOT")
@click.option(
    "--backup",
    type=GivenPath(),
    metavar="DIR",
    help="Read the second copy in this folder too.",
)
@click.option(
    "--mend",
    is_flag=True,
    help="Copy what one of the two lacks, or holds otherwise, from the other. Needs --backup.",
)
@click.option(
    "--card",
    type=GivenPath(),
    metavar="CARD",
    help="Read this card too, past the system's cache, and say which of its files are in the shoot.",
)
@click.pass_context
def verify(
    ctx: click.Context, shoot: Path, backup: Path | None, card: Path | None, *, mend: bool
) -> None:
    """Reads a shoot again and names what has changed.

    Every file that was carried into SHOOT is read and held against the digest that the ledger has
    of it. Nothing is changed.

    With --backup the second copy is read and held against the same digests. With --mend as well, what
    is missing or changed in one of the two comes from the other, verified; the file that it takes the
    place of is kept under .sorter/replaced. An edited sidecar is your work, and stays.

    With --card every file of the card is read and compared with what the copies hold now, and the last
    line says whether the card may be formatted. The card is only ever read.
    """
    # Imported here, so that this command's help answers at once too.
    from sorter import pipeline  # noqa: PLC0415
    from sorter.cli import console, endings  # noqa: PLC0415

    if mend and backup is None:
        raise click.UsageError("--mend needs --backup: the second copy to mend from.")
    if mend and backup is not None:
        pipeline.check_folder(backup)
    with console.Bars() as bars:
        tick = bars.tick("verifying", in_bytes=True)
        if backup is None:
            found = [pipeline.verify(shoot, tick)]
            lines = endings.verified(found[0], shoot)
        else:
            mending = bars.tick("mending", in_bytes=True)
            both = pipeline.verify_both(shoot, backup, tick, mending, mends=mend)
            found = [each.findings for each in both]
            lines = endings.both_verified(both, mends=mend)
        side = None
        if card is not None:
            comparing = bars.tick("comparing with the card", in_bytes=True)
            side = pipeline.against_card(card, shoot, backup, found[0], comparing)
    console.show_lines(lines)
    if side is not None:
        console.show_lines(endings.card_verified(side, *found))
    for each in both if backup else ():
        if each.failure:
            raise each.failure
    every: list[Findings | CardSide] = [*found, *([] if side is None else [side])]
    if any(each.has_failed for each in every):
        ctx.exit(VERIFICATION_FAILED)
    if any(each.has_remarks for each in every):
        ctx.exit(ADDED_OR_EDITED)
