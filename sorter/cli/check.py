"""`sorter check`: what the pictures say."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from sorter.cli.options import settings_options
from sorter.cli.paths import GivenPath
from sorter.settings import Settings

if TYPE_CHECKING:
    from sorter import pipeline
    from sorter.cli import console

FINISHED_WITHOUT_SOME: Final = 1
_MOST_JOBS: Final = 64
_EXAMPLE: Final = """\b
Examples:
  sorter check ~/pictures/rock-pool
  sorter check /media/card
  sorter check ~/pictures/rock-pool --json
  sorter check ~/pictures/rock-pool --write-corrections limpets.csv

\b
checks.csv in the shoot has a row for each sequence of two or more frames:
  verdict         complete, usable (without the frames that dark and jumps
                  name), incomplete, broken; empty for what is no stack
  missing_end     first, last, both: where sharp subject goes on beyond it
  gaps, jumps     positions; what lies between two is named by the first
  dark, surplus   misfires and covered frames; slices that are sharpest nowhere
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
    help="Also write the table to this file; one that is there is replaced. A shoot has it as "
    "checks.csv anyhow.",
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
    "--jobs",
    type=click.IntRange(1, _MOST_JOBS),
    metavar="N",
    help="How many pictures are decoded at a time; without this option one a processor.",
)
@settings_options
@click.pass_context
def check(
    ctx: click.Context,
    root: Path,
    *,
    as_json: bool,
    target: Path | None,
    written: Path | None,
    jobs: int | None,
    settings: Settings,
) -> None:
    """Looks at the pictures: which stacks are worth merging, and which frames.

    For every stack: whether the subject is sharp from end to end, gaps between slices, slices to
    spare, dark frames, drift and movement, and which of several attempts is best. For every burst:
    the best frames. For all: whether the pictures say another kind than the camera's data did.

    Only the previews that cameras embed are read, or the JPEGs themselves at reduced size. A shoot
    gets its findings as checks.csv and in its manifest's notes; on a card nothing is written. What was
    measured is kept in the shoot, so that a second check answers at once.
    """
    # Imported here, so that this command's help answers at once too.
    from sorter import pipeline  # noqa: PLC0415
    from sorter.cli import console, findings  # noqa: PLC0415

    for file in filter(None, (target, written)):
        pipeline.check_target(file, card=root)
    with console.Bars() as bars:
        found = _checked(root, jobs or pipeline.default_jobs(), settings, bars)
    if pipeline.is_shoot(root):
        pipeline.write_checks(root, found)
    if target is not None:
        pipeline.write_table(target, found)
    if written is not None:
        pipeline.write_suggested(written, found)
    if as_json:
        text = pipeline.checks_document(found.checks, found.suggested, root=str(root))
        console.show_text(text)
    else:
        console.show_lines(findings.lines(found))
    if any(each.unseen for each in found.checks):
        ctx.exit(FINISHED_WITHOUT_SOME)


def _checked(root: Path, jobs: int, settings: Settings, bars: console.Bars) -> pipeline.Checked:
    from sorter import pipeline  # noqa: PLC0415  see above

    looking = bars.tick("looking at the pictures", "judging them")
    if pipeline.is_shoot(root):
        return pipeline.check_shoot(root, jobs, looking)
    return pipeline.check_card(root, settings, jobs, bars.tick("reading the card"), looking)
