"""`sorter scan`: what is on a card."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sorter import api
from sorter.cli import console
from sorter.cli.options import corrections_option, settings_options
from sorter.cli.paths import GivenPath
from sorter.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sorter.api import Scanned

_EXAMPLE = """\b
Examples:
  sorter scan /media/card
  sorter scan /media/card --why
  sorter scan /media/card --manifest rock-pool.csv
  sorter scan /media/card --clock 0417=-4m --json
  sorter scan /media/card --write-corrections limpets.csv
  sorter scan /media/card --corrections limpets.csv
  sorter scan /media/card --hand-pause 90 --unsure-below 7

Exit codes: 0 all went well; 1 finished, but some files could not be read: they are listed; 2
wrong usage, nothing done; 3 stopped, nothing lost.
"""


@click.command(epilog=_EXAMPLE)
@click.argument("card", type=GivenPath(), metavar="CARD")
@click.option(
    "--manifest",
    type=GivenPath(),
    metavar="FILE",
    help="Also write the manifest: a CSV file with a row for every file of the card. It takes the "
    "place of a manifest or of plain text, and of nothing else. It cannot lie in a card.",
)
@click.option(
    "--json",
    "as_json",
    is_flag=True,
    help="Print one JSON document in place of the table; it holds the reasons of --why too.",
)
@click.option(
    "--why",
    is_flag=True,
    help="For every sequence print why it begins where it begins, why it is of its kind, and the "
    "next best account.",
)
@corrections_option
@click.option(
    "--write-corrections",
    "written",
    type=GivenPath(),
    metavar="FILE",
    help="Also write what was found as a corrections file, a row for each sequence: --write-"
    "corrections limpets.csv, edit it, and give it back with --corrections limpets.csv. Every row "
    "that you leave in it stands as your word. A file that is there already is never replaced, for "
    "you may have edited it: name a new one. It cannot lie in a card.",
)
@settings_options
@click.pass_context
def scan(
    ctx: click.Context,
    card: Path,
    manifest: Path | None,
    *,
    corrections_file: Path | None,
    written: Path | None,
    settings: Settings,
    as_json: bool,
    why: bool,
) -> None:
    """Shows which sequences are on a card, and why.

    CARD is the card's root, its DCIM, or any folder with pictures in it. It is only ever read.
    Prints a line for each sequence, then the files that are no frame, then how much there is of
    everything.
    """
    with console.Bars() as bars:
        found = api.scan(
            card,
            settings=settings,
            corrections=corrections_file,
            manifest=manifest,
            write_corrections=written,
            progress=bars.progress,
        )
    if as_json:
        console.show_json(found.to_dict())
    else:
        console.show_account(found.account, found.unread, why=why)
    for remark in _written(found, manifest, written):
        console.remark(remark)
    ctx.exit(found.exit_code)


def _written(found: Scanned, manifest: Path | None, written: Path | None) -> Iterator[str]:
    """What is to be said of the files that were asked for."""
    if written is not None:
        as_it_was = "" if found.corrections_new else ", as it was"
        yield f"corrections: {written} ({found.corrections_rows} rows{as_it_was})"
    if manifest is not None:
        yield f"manifest: {manifest} ({found.manifest_rows} rows)"
