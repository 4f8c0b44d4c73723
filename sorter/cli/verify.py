"""`sorter verify`: is a shoot what it was."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import click

from sorter.cli.paths import GivenPath

ADDED_OR_EDITED: Final = 1
VERIFICATION_FAILED: Final = 4

_EXAMPLE = """\b
Example:
  sorter verify ~/pictures/rock-pool

Exit codes: 0 every file is as it was carried; 1 the same, but files were added, sidecars edited, or
some of the card never carried: they are listed; 2 wrong usage; 3 stopped; 4 files are changed,
missing or unreadable: they are named.
"""


@click.command(epilog=_EXAMPLE)
@click.argument("shoot", type=GivenPath(), metavar="SHOOT")
@click.pass_context
def verify(ctx: click.Context, shoot: Path) -> None:
    """Reads a shoot again and names what has changed.

    Every file that was carried into SHOOT is read and held against the digest that the ledger has
    of it. Nothing is changed.
    """
    # Imported here, so that this command's help answers at once too.
    from sorter import pipeline  # noqa: PLC0415
    from sorter.cli import console, endings  # noqa: PLC0415

    with console.Bars() as bars:
        findings = pipeline.verify(shoot, bars.tick("verifying", in_bytes=True))
    console.show_lines(endings.verified(findings, shoot))
    if findings.has_failed:
        ctx.exit(VERIFICATION_FAILED)
    if findings.has_remarks:
        ctx.exit(ADDED_OR_EDITED)
