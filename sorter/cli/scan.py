"""`sorter scan`: what is on a card."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sorter.cli.options import corrections_option, settings_options
from sorter.cli.paths import GivenPath
from sorter.settings import Settings

if TYPE_CHECKING:
    from sorter.model.sequence import Account

FINISHED_WITHOUT_SOME = 1

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
    # Imported here, so that this command's help answers at once too.
    from sorter import pipeline  # noqa: PLC0415
    from sorter.cli import console  # noqa: PLC0415

    corrections = pipeline.read_corrections(corrections_file) if corrections_file else ()
    _check_targets(card, manifest, written, corrections_file)
    with console.Bar("reading the card", "finding the sequences") as bar:
        account = pipeline.scan(card, settings, bar.tick, corrections)
    remarks = _write(account, manifest, written)
    unread = pipeline.unread_files(account)
    if as_json:
        console.show_text(pipeline.document(account, card=str(card)))
    else:
        console.show_account(account, unread, why=why)
    for remark in remarks:
        console.remark(remark)
    if unread or account.folders_closed:
        ctx.exit(FINISHED_WITHOUT_SOME)


def _check_targets(
    card: Path, manifest: Path | None, written: Path | None, read: Path | None
) -> None:
    """Returns where all that was asked for may be written; nothing is written to find out."""
    from sorter import pipeline  # noqa: PLC0415  see above

    for corrections in filter(None, (read, written)):
        if manifest is not None:
            pipeline.check_apart(manifest, corrections)
    if manifest is not None:
        pipeline.check_target(manifest, output=pipeline.Output.MANIFEST, card=card)
    if written is not None:
        pipeline.check_target(written, card=card)


def _write(account: Account, manifest: Path | None, written: Path | None) -> list[str]:
    """What was asked for stands on the disk; returns what is to be said of it.

    The corrections come first: they may be refused, and then nothing at all is to be written.
    """
    from sorter import pipeline  # noqa: PLC0415  see above

    said = []
    if written is not None:
        rows, is_new = pipeline.write_corrections(written, account)
        said.append(f"corrections: {written} ({rows} rows{'' if is_new else ', as it was'})")
    if manifest is not None:
        rows = pipeline.write_manifest(manifest, account)
        said.append(f"manifest: {manifest} ({rows} rows)")
    return said
