"""`sorter tally`: a season in numbers."""

from __future__ import annotations

from pathlib import Path

import click

from sorter import api
from sorter.cli import console, sums
from sorter.cli.paths import GivenPath

_EXAMPLE = """\b
Examples:
  sorter tally ~/pictures/rock-pool
  sorter tally ~/pictures/2026-*
  sorter tally ~/pictures/2026-* --csv season.csv
  sorter tally ~/pictures/rock-pool --json

\b
The CSV (UTF-8, RFC 4180) has a line for each group of each shoot. Its columns:
  shoot           the folder's name; its path where several have that name
  table           kind, lens, f_number, hour, day: what the key is; total: the
                  whole shoot; all: all shoots together, once at the end
  key             such as focus-bracket, 5.6, 13, 2026-05-17; else "not told"
  first, last     when its first and last frames were taken, by the camera
  sequences, frames, stacks, stacks_with_result, results, files, bytes
  archivable_bytes, waiting_bytes   the files of stacks that have a result,
                  without the results; of stacks that have none
  frames_least, frames_median, frames_most   frames of a stack
Add up the lines of one table only: each of them has every file.

Exit codes: 0 all went well; 2 wrong usage, or a folder that is no shoot: nothing is printed;
3 stopped (another run is at work in a shoot, Ctrl-C).
"""


@click.command(epilog=_EXAMPLE)
@click.argument("shoots", nargs=-1, required=True, type=GivenPath(), metavar="SHOOT...")
@click.option(
    "--csv",
    "target",
    type=GivenPath(),
    metavar="FILE",
    help="Also write the figures of each shoot to this file, as CSV. They take the place of a tally or "
    "of plain text, and of nothing else.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document and nothing else.")
def tally(shoots: tuple[Path, ...], *, target: Path | None, as_json: bool) -> None:
    """Counts what shoots hold: a season in numbers.

    Each SHOOT is a folder that a card was ingested to; one that is named twice counts once. Sequences,
    frames, results and space by kind, lens, aperture and hour; frames of a stack; the hours of each
    day; and how much of the space could be archived, because its stack has a result.

    A frame is a press of the shutter, however many files it has; results are no frames. A result
    counts with its stack, and a sequence with its first frame. Only files that are in the shoot
    count, as large as they were when carried. Only the ledgers are read, and nothing is changed.
    """
    with console.Bars() as bars:
        outcome = api.tally(*shoots, csv=target, progress=bars.progress)
    if as_json:
        console.show_json(outcome.to_dict())
    else:
        console.show_lines(sums.lines(outcome.tally))
    for remark in sums.remarks(outcome.tally):
        console.remark(remark)
