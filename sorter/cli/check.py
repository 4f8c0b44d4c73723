"""`sorter check`: what the pictures say."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import click

from sorter import api
from sorter.cli import console, findings
from sorter.cli.options import corrections_option, jobs_option, pixels_option, settings_options
from sorter.cli.paths import GivenPath
from sorter.settings import Settings

_EXAMPLE: Final = """\b
Examples:
  sorter check ~/pictures/rock-pool
  sorter check /media/card
  sorter check ~/pictures/rock-pool --json
  sorter check ~/pictures/rock-pool --write-corrections limpets.csv
  sorter check ~/pictures/rock-pool --apply
  sorter check ~/pictures/rock-pool --apply --corrections limpets.csv

\b
checks.csv in the shoot has a row for each sequence of two or more frames:
  verdict         complete, usable (without the frames that dark and jumps
                  name), incomplete, broken, unjudged (the pictures do not
                  tell); empty for what is no stack
  missing_end     first, last, both: where sharp subject goes on beyond it
  gaps, jumps     positions; what lies between two is named by the first
  dark, surplus   misfires and covered frames; slices that are sharpest nowhere
  step_of_depth   an estimate by focal length and distance, for a full-frame
                  sensor: from slice to slice, in depths of field
  fitting         share of the tiles with texture that focus explains
  best_frames     of a burst, the best first
  looks_like      the kind that the pictures say, where it differs
  attempts        sequences of one subject, the best first

Exit codes: 0 all went well; 1 finished, but some pictures could not be looked at: they are named; 2
wrong usage; 3 stopped, run it again: what was looked at is not looked at twice. A stack that deserves
a look is no failure.
"""


@click.command(epilog=_EXAMPLE)
@click.argument("root", type=GivenPath(), metavar="SHOOT|CARD")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document and nothing else.")
@click.option(
    "--csv",
    "target",
    type=GivenPath(),
    metavar="FILE",
    help="Also write the table to this file, in the place of such a table or of plain text. A shoot "
    "has it as checks.csv anyhow.",
)
@click.option(
    "--write-corrections",
    "written",
    type=GivenPath(),
    metavar="FILE",
    help="Also write how the pictures would group frames otherwise, as a corrections file for ingest "
    "and scan. A file that is there already is never replaced.",
)
@click.option(
    "--apply",
    "applies",
    is_flag=True,
    help="Group the shoot as the pictures say: files are moved within it, and `sorter undo` takes that "
    "back. Then the shoot is looked at as it is now.",
)
@corrections_option
@click.option(
    "--folder",
    metavar="PATTERN",
    help="With --apply: how folders of sequences are named, as ingest has it.",
)
@jobs_option
@pixels_option
@settings_options
@click.pass_context
def check(
    ctx: click.Context,
    root: Path,
    *,
    as_json: bool,
    target: Path | None,
    written: Path | None,
    applies: bool,
    corrections_file: Path | None,
    folder: str | None,
    jobs: int | None,
    most_megapixels: int | None,
    settings: Settings,
) -> None:
    """Looks at the pictures: which stacks are worth merging, and which frames.

    For every stack: whether the subject is sharp from end to end, gaps between slices, slices to
    spare, dark frames, drift and movement, and which of several attempts is best. For every burst:
    the best frames. For all: whether the pictures say another kind than the camera's data did.

    Only the previews that cameras embed are read, or the JPEGs themselves at reduced size. A shoot
    gets its findings as checks.csv and in its manifest's notes; on a card nothing is written. What was
    measured is kept in the shoot, so that a second check answers at once.

    With --apply and --corrections a shoot is grouped as that file says too: what you say goes before
    what the pictures say, now and in later checks.
    """
    with console.Bars() as bars:
        outcome = api.check(
            root,
            settings=settings,
            csv=target,
            write_corrections=written,
            apply=applies,
            corrections=corrections_file,
            folder=folder,
            jobs=jobs,
            most_megapixels=most_megapixels,
            progress=bars.progress,
        )
    found = outcome.found
    if as_json:
        console.show_json(outcome.to_dict())
    else:
        console.show_lines(findings.lines(found))
    for inner in found.shoots:
        console.remark(f"not looked into: {inner}/ is a shoot. `sorter check` takes it by itself.")
    if outcome.regrouped is not None:
        for remark in findings.regrouped(outcome.regrouped):
            console.remark(remark)
    ctx.exit(outcome.exit_code)
