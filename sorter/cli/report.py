"""`sorter report`: the shoot as one page to look at."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import click

from sorter.cli.options import jobs_option
from sorter.cli.paths import GivenPath

FINISHED_WITHOUT_SOME: Final = 1
_EXAMPLE: Final = """\b
Examples:
  sorter report ~/pictures/rock-pool
  sorter report ~/pictures/rock-pool --jobs 2

\b
report/index.html in the shoot opens in any browser, from the disk and without
a network; its pictures lie beside it, in report/pictures. It has
  - a time line of all bodies, with a mark for each sequence
  - for each stack a trial merge of its previews, a depth map with the slice
    that is sharpest where, and focus over the slices
  - for each burst its best frames; singles as a wall; files in no sequence
  - filters by kind, and by what deserves a look
  - rows for a corrections file: split, join, another kind, a name

Exit codes: 0 all went well; 1 finished, but some frames have no picture: they are named; 2 wrong usage,
or a folder that is no shoot; 3 stopped, run it again: what was drawn is not drawn twice.
"""


@click.command(epilog=_EXAMPLE)
@click.argument("shoot", type=GivenPath(), metavar="SHOOT")
@jobs_option
@click.pass_context
def report(ctx: click.Context, shoot: Path, *, jobs: int | None) -> None:
    """Makes a page of a shoot: what was found, with a trial merge of every stack.

    Only previews are read, as `sorter check` does it, and what a check measured is not measured again.
    A trial merge has half the size of a preview: it is there to judge a stack by, and is never the
    final merge. Nothing in the shoot is changed but the folder report, which can be made anew at any
    time. Run it again after `sorter check --apply`.
    """
    # Imported here, so that this command's help answers at once too.
    from sorter import pipeline  # noqa: PLC0415
    from sorter.cli import console, words  # noqa: PLC0415
    from sorter.cli.layout import Printed  # noqa: PLC0415

    with console.Bars() as bars:
        found = pipeline.report(
            shoot,
            pipeline.Workers(jobs=jobs or pipeline.default_jobs()),
            bars.tick("looking at the pictures", "judging them"),
            bars.tick("drawing pictures and trial merges", "writing the page"),
        )
    for path, why in found.unseen.items():
        console.remark(f"{words.safe(path)} has no picture on the page: it {why}.")
    merges = words.counted(found.merges, "trial merge", "trial merges")
    looks = words.counted(found.looks, "sequence deserves", "sequences deserve")
    sequences = words.counted(found.sequences, "sequence", "sequences")
    console.show_lines(
        [
            Printed(text=f"{sequences}, {merges}; {looks} a look.", look="heading"),
            Printed(text=words.safe(str(found.page))),
        ]
    )
    if found.unseen:
        ctx.exit(FINISHED_WITHOUT_SOME)
