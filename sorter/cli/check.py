"""`sorter check`: what the pictures say."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from sorter.cli.options import corrections_option, jobs_option, settings_options
from sorter.cli.paths import GivenPath
from sorter.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Sequence

    from sorter import pipeline
    from sorter.cli import console
    from sorter.model.correction import Correction

FINISHED_WITHOUT_SOME: Final = 1
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
                  name), incomplete, broken; empty for what is no stack
  missing_end     first, last, both: where sharp subject goes on beyond it
  gaps, jumps     positions; what lies between two is named by the first
  dark, surplus   misfires and covered frames; slices that are sharpest nowhere
  step_of_depth   an estimate by focal length and distance, for a full-frame
                  sensor: from slice to slice, in depths of field
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
    # Imported here, so that this command's help answers at once too.
    from sorter import pipeline  # noqa: PLC0415
    from sorter.cli import console, findings  # noqa: PLC0415

    _refuse(root, applies=applies, corrections_file=corrections_file, folder=folder)
    said = pipeline.read_corrections(corrections_file) if corrections_file else ()
    pipeline.check_outputs(root, target, written)
    workers, regrouped = pipeline.Workers(jobs=jobs or pipeline.default_jobs()), None
    with console.Bars() as bars:
        if applies:
            pipeline.end_regrouping(root, bars.tick("ending what was stopped"))
        found = _checked(root, workers, settings, bars)
        if applies:
            regrouped = _applied(root, found, said, folder, bars)
            found = _checked(root, workers, settings, bars) if regrouped.is_anything else found
    _write(root, found, target, written)
    if as_json:
        text = pipeline.checks_document(found.checks, found.suggested, root=str(root))
        console.show_text(text)
    else:
        console.show_lines(findings.lines(found))
    for inner in found.shoots:
        console.remark(f"not looked into: {inner}/ is a shoot. `sorter check` takes it by itself.")
    if regrouped is not None:
        for remark in findings.regrouped(regrouped):
            console.remark(remark)
    if _lacks(found, regrouped):
        ctx.exit(FINISHED_WITHOUT_SOME)


def _write(root: Path, found: pipeline.Checked, target: Path | None, written: Path | None) -> None:
    """What was found stands on the disk. The corrections come first: they may be refused."""
    from sorter import pipeline  # noqa: PLC0415  see above

    if written is not None:
        pipeline.write_suggested(written, found)
    if pipeline.is_shoot(root):
        pipeline.write_checks(root, found)
    if target is not None:
        pipeline.write_table(target, found)


def _lacks(found: pipeline.Checked, regrouped: pipeline.Regrouped | None) -> bool:
    """Whether something could not be looked at, or could not follow."""
    return any(each.unseen for each in found.checks) or bool(regrouped and regrouped.left)


def _applied(
    root: Path,
    found: pipeline.Checked,
    said: Sequence[Correction],
    folder: str | None,
    bars: console.Bars,
) -> pipeline.Regrouped:
    from sorter import pipeline  # noqa: PLC0415  see above

    pattern = pipeline.DEFAULT_FOLDER if folder is None else folder
    moving = bars.tick("moving files in the shoot")
    return pipeline.apply(root, found.regroupings, said, moving, folder=pattern)


def _refuse(
    root: Path, *, applies: bool, corrections_file: Path | None, folder: str | None
) -> None:
    from sorter import pipeline  # noqa: PLC0415  see above

    if applies and not pipeline.is_shoot(root):
        raise click.UsageError(
            f"--apply: {root} is no shoot. On a card nothing is changed: give --look to `sorter ingest`."
        )
    if not applies and (corrections_file or folder is not None):
        option = "--corrections" if corrections_file else "--folder"
        raise click.UsageError(f"{option} goes with --apply.")


def _checked(
    root: Path, workers: pipeline.Workers, settings: Settings, bars: console.Bars
) -> pipeline.Checked:
    from sorter import pipeline  # noqa: PLC0415  see above

    looking = bars.tick("looking at the pictures", "judging them")
    if pipeline.is_shoot(root):
        return pipeline.check_shoot(root, workers, looking)
    return pipeline.check_card(root, settings, workers, bars.tick("reading the card"), looking)
