"""`sorter verify`: is a shoot what it was."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import click

from sorter.cli.paths import GivenPath

ADDED_OR_EDITED: Final = 1
VERIFICATION_FAILED: Final = 4

_EXAMPLE = """\b
Examples:
  sorter verify ~/pictures/rock-pool
  sorter verify ~/pictures/rock-pool --backup /media/second/rock-pool
  sorter verify ~/pictures/rock-pool --backup /media/second/rock-pool --mend

Exit codes: 0 every file is as it was carried; 1 the same, but files were added, sidecars edited, or
some of the card never carried: they are listed; 2 wrong usage; 3 stopped; 4 files are changed,
missing or unreadable, and were not mended: they are named.
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
@click.pass_context
def verify(ctx: click.Context, shoot: Path, backup: Path | None, *, mend: bool) -> None:
    """Reads a shoot again and names what has changed.

    Every file that was carried into SHOOT is read and held against the digest that the ledger has
    of it. Nothing is changed.

    With --backup the second copy is read and held against the same digests. With --mend as well, what
    is missing or changed in one of the two comes from the other, verified; the file that it takes the
    place of is kept under .sorter/replaced. An edited sidecar is your work, and stays.
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
    console.show_lines(lines)
    for each in both if backup else ():
        if each.failure:
            raise each.failure
    if any(each.has_failed for each in found):
        ctx.exit(VERIFICATION_FAILED)
    if any(each.has_remarks for each in found):
        ctx.exit(ADDED_OR_EDITED)
