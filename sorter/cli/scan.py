"""`sorter scan`: what is on a card."""

from __future__ import annotations

from pathlib import Path

import click

from sorter.cli.options import clock_option, corrections_option, settings_option
from sorter.cli.paths import GivenPath
from sorter.settings import load_settings

FINISHED_WITHOUT_SOME = 1

_EXAMPLE = """\b
Examples:
  sorter scan /media/card
  sorter scan /media/card --why
  sorter scan /media/card --manifest rock-pool.csv
  sorter scan /media/card --clock 0417=-4m --json
  sorter scan /media/card --corrections limpets.csv

Exit codes: 0 all went well; 1 finished, but some files could not be read: they are listed; 2
wrong usage, nothing done; 3 stopped, nothing lost.
"""


@click.command(epilog=_EXAMPLE)
@click.argument("card", type=GivenPath(), metavar="CARD")
@click.option(
    "--manifest",
    type=GivenPath(),
    metavar="FILE",
    help="Also write the manifest: a CSV file with a row for every file of the card. A file that "
    "is there already is replaced. It cannot lie in the card.",
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
@settings_option
@clock_option
@click.pass_context
def scan(
    ctx: click.Context,
    card: Path,
    manifest: Path | None,
    settings_file: Path | None,
    clock: tuple[str, ...],
    *,
    corrections_file: Path | None,
    as_json: bool,
    why: bool,
) -> None:
    """Shows which sequences are on a card, and why.

    CARD is the card's root, its DCIM, or any folder with pictures in it. It is only ever read.
    Prints a line for each sequence, then the files that are no frame, then how much there is of
    everything.
    """
    # Imported here, so that this command's help answers at once too.
    from sorter import pipeline  # noqa: PLC0415
    from sorter.cli import console  # noqa: PLC0415

    settings = load_settings(settings_file, clock)
    corrections = pipeline.read_corrections(corrections_file) if corrections_file else ()
    if manifest is not None:
        pipeline.check_target(manifest, card=card)
        if corrections_file is not None:
            pipeline.check_apart(manifest, corrections_file)
    with console.Bar("reading the card", "finding the sequences") as bar:
        account = pipeline.scan(card, settings, bar.tick, corrections)
    rows = 0 if manifest is None else pipeline.write_manifest(manifest, account)
    unread = pipeline.unread_files(account)
    if as_json:
        console.show_text(pipeline.document(account, card=str(card)))
    else:
        console.show_account(account, unread, why=why)
    if manifest is not None:
        console.remark(f"manifest: {manifest} ({rows} rows)")
    if unread or account.folders_closed:
        ctx.exit(FINISHED_WITHOUT_SOME)
