"""`sorter report`: the shoot as one page to look at."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from sorter import api
from sorter.cli import console, phrases
from sorter.cli.layout import Printed
from sorter.cli.options import jobs_option, json_option, pixels_option, settings_option
from sorter.cli.paths import GivenPath

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sorter.api import Reported

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
@pixels_option
@settings_option
@json_option
@click.pass_context
def report(
    ctx: click.Context,
    shoot: Path,
    *,
    jobs: int | None,
    most_megapixels: int | None,
    settings_file: Path | None,
    as_json: bool,
) -> None:
    """Makes a page of a shoot: what was found, with a trial merge of every stack.

    Only previews are read, as `sorter check` does it, and what a check measured is not measured again.
    A trial merge has half the size of a preview: it is there to judge a stack by, and is never the
    final merge. Nothing in the shoot is changed but the folder report, which can be made again at any
    time. Run it again after `sorter check --apply`.
    """
    with console.Bars() as bars:
        outcome = api.report(
            shoot,
            jobs=jobs,
            settings=settings_file,
            most_megapixels=most_megapixels,
            progress=bars.progress,
        )
    found = outcome.reported
    for path, why in found.unseen.items():
        console.remark(f"{phrases.safe(path)} has no picture on the page: it {why}.")
    if as_json:
        console.show_json(outcome.to_dict())
    else:
        console.show_lines(_lines(found))
    ctx.exit(outcome.exit_code)


def _lines(found: Reported) -> Iterator[Printed]:
    merges = phrases.counted(found.merges, "trial merge", "trial merges")
    looks = phrases.counted(found.attention_count, "sequence deserves", "sequences deserve")
    sequences = phrases.counted(found.sequences, "sequence", "sequences")
    yield Printed(text=f"{sequences}, {merges}; {looks} a look.", style="heading")
    yield Printed(text=phrases.safe(str(found.page)))
