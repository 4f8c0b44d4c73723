"""`sorter handoff`: the stacks of a shoot, for another program."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import click

from sorter.cli.paths import GivenPath
from sorter.errors import BadChoice
from sorter.model.finding import Verdict
from sorter.model.kinds import NO_FRAME_KINDS, STACK_KINDS, Kind
from sorter.model.result import Asked, ResultType
from sorter.model.stack import SliceFiles, SliceOrder, Stack, Wish
from sorter.settings import parse_shift

FINISHED_WITHOUT_SOME: Final = 1
_MOST_JOBS: Final = 64
_KINDS: Final = [str(kind) for kind in Kind if kind not in NO_FRAME_KINDS]
_EXAMPLE: Final = """\b
Examples:
  sorter handoff rock-pool --list rock-pool/lists
  sorter handoff rock-pool --folders /fast/stacks --order near-first
  sorter handoff rock-pool --folders /fast/stacks --only 3,7-9 --files raw
  sorter handoff rock-pool --run 'merge --output {result} {frames}' --jobs 2
  sorter handoff rock-pool --collect Desktop/0003_limpet.tif
  sorter handoff rock-pool --folders /fast/stacks --verdict complete --verdict usable --trim
  sorter handoff rock-pool --list lists --kind burst --best 5

Exit codes: 0 all went well; 1 finished, but some stacks were left out or gave no result, or some
files were not taken in: they are named; 2 wrong usage, nothing done; 3 stopped (a full disk,
Ctrl-C), nothing lost, run it again.
"""


@click.command(epilog=_EXAMPLE)
@click.argument("shoot", type=GivenPath(), metavar="SHOOT")
@click.argument("files_to_collect", type=GivenPath(), metavar="[FILES]...", nargs=-1)
@click.option(
    "--list",
    "lists",
    type=GivenPath(),
    metavar="DIR",
    help="Write a text file for each stack to this folder: the absolute paths of its slices, one "
    "a line. A list takes the place of a list or of plain text, and of nothing else.",
)
@click.option(
    "--folders",
    type=GivenPath(),
    metavar="DIR",
    help="Make a folder for each stack in this folder, with its slices and nothing else: hard "
    "links, or copies where the disk has none. A folder that holds anything else is never touched.",
)
@click.option(
    "--run",
    "command",
    metavar="COMMAND",
    help="Run this command once for each stack that has no result yet, and bring its result into the "
    "shoot. It is split into arguments as a shell would do it, and given to no shell. Its fields: "
    "{frames} (an argument for each slice), {list} (a file of their paths), {folder} (nothing but the "
    "slices in it), {result} (what it is to write), {name}, and the columns of the manifest.",
)
@click.option(
    "--result-type",
    type=click.Choice([str(each) for each in ResultType]),
    default=str(ResultType.TIF),
    metavar="|".join(ResultType),
    help="The extension of {result}; without this option tif.",
)
@click.option(
    "--jobs",
    type=click.IntRange(1, _MOST_JOBS),
    default=1,
    metavar="N",
    help="How many stacks are merged at a time; without this option one.",
)
@click.option(
    "--time-limit",
    metavar="TIME",
    help="End the command where it takes longer for a stack: 90s, 15m, 2h.",
)
@click.option("--again", is_flag=True, help="Also merge stacks that have a result: it stays too.")
@click.option(
    "--collect",
    "collects",
    is_flag=True,
    help="Take in FILES as results: copies, matched to their stacks by name, else by time. With "
    "--only 7 all of them are of sequence 7.",
)
@click.option(
    "--only",
    metavar="NUMBERS",
    help="Only the sequences with these numbers: 3,7-9.",
)
@click.option(
    "--kind",
    "kinds",
    multiple=True,
    type=click.Choice(_KINDS),
    metavar="KIND",
    help="Sequences of this kind in place of focus brackets and manual stacks: "
    f"{', '.join(_KINDS)}. Give it once for every kind.",
)
@click.option(
    "--files",
    type=click.Choice([str(each) for each in SliceFiles]),
    metavar="|".join(SliceFiles),
    help="Which files of a frame. Without this option: the images of a stack where every frame has "
    "one, else the raws where every frame has one, else of each frame what it has.",
)
@click.option(
    "--order",
    type=click.Choice([str(each) for each in SliceOrder]),
    default=str(SliceOrder.CAPTURE),
    metavar="ORDER",
    help=f"{', '.join(SliceOrder)}. Without this option, and for a stack where the camera did not "
    "tell the focus of every slice: capture.",
)
@click.option(
    "--best",
    type=click.IntRange(1),
    metavar="N",
    help="Only the N best frames of each sequence, as the findings in checks.csv name them: for "
    "bursts.",
)
@click.option(
    "--verdict",
    "verdicts",
    multiple=True,
    type=click.Choice([str(each) for each in Verdict]),
    metavar="VERDICT",
    help=f"Only stacks that `sorter check` calls {', '.join(Verdict)}. Give it once for every verdict.",
)
@click.option(
    "--trim",
    is_flag=True,
    help="Leave out the frames that `sorter check` calls surplus, dark or of something else.",
)
@click.option(
    "--with-related",
    is_flag=True,
    help="Also the single or burst of a stack's set-up, as a list or folder beside the stack's; with "
    "--run as {related}.",
)
@click.pass_context
def handoff(ctx: click.Context, /, *, shoot: Path, **given: Any) -> None:  # noqa: ANN401  click's options
    """Hands the stacks of a shoot to a stacking program, and takes results back.

    SHOOT is a folder that a card was ingested to. Each stack becomes a list, a folder, or both,
    named as its folder in the shoot; or a command is run for each, and its results come into the
    shoot with the Exif that they lost. A stack that lacks a slice is left out and named: half a
    stack is never handed over.
    """
    refuse_mixtures(given)
    # Imported here, so that this command's help answers at once too.
    from sorter import pipeline  # noqa: PLC0415

    kinds, only, files = given["kinds"], given["only"], given["files"]
    wish = Wish(
        kinds=frozenset(map(Kind, kinds)) or STACK_KINDS,
        only=None if only is None else pipeline.parse_numbers(only),
        files=SliceFiles(files) if files else None,
        order=SliceOrder(given["order"]),
        best=given["best"],
        verdicts=frozenset(map(Verdict, given["verdicts"])) or None,
        trims=given["trim"],
        with_related=given["with_related"],
    )
    if given["command"] is not None:
        is_whole = _run(shoot, wish, given)
    elif given["collects"]:
        is_whole = _collect(shoot, wish, given["files_to_collect"])
    else:
        is_whole = _hand_over(shoot, wish, given["lists"], given["folders"])
    if not is_whole:
        ctx.exit(FINISHED_WITHOUT_SOME)


def refuse_mixtures(given: Mapping[str, Any]) -> None:
    """Returns where the options go together: one way of handing over, and only what belongs to it.

    Raises BadChoice.
    """
    run, collects = given["command"] is not None, given["collects"]
    lists = given["lists"] is not None or given["folders"] is not None
    if run + collects + lists > 1:
        raise BadChoice("--run, --collect, and --list or --folders: each goes by itself.")
    if given["files_to_collect"] and not collects:
        raise BadChoice(
            f"{given['files_to_collect'][0]}: files are named only to be taken in, with --collect."
        )
    own = {"jobs": 1, "time_limit": None, "again": False, "result_type": str(ResultType.TIF)}
    if not run and any(given[name] != usual for name, usual in own.items()):
        raise BadChoice("--jobs, --time-limit, --again and --result-type go with --run.")
    narrows = ("best", "verdicts", "trim", "with_related", "files")
    if collects and any(given[name] for name in narrows):
        raise BadChoice(
            "--best, --verdict, --trim, --with-related and --files do not go with --collect."
        )


def parse_limit(text: str) -> float:
    """Seconds out of `90s`, `15m`, `2h`. Raises BadChoice where it is no such text."""
    seconds = parse_shift(text)
    if seconds is None or seconds <= 0:
        raise BadChoice(f"--time-limit {text!r} is not understood. Write 90s, 15m or 2h.")
    return seconds


def _hand_over(shoot: Path, wish: Wish, lists: Path | None, folders: Path | None) -> bool:
    """Lists and folders; whether every stack was handed over."""
    from sorter import pipeline  # noqa: PLC0415  see above
    from sorter.cli import console  # noqa: PLC0415

    with console.Bar("handing over") as bar:
        outcome = pipeline.hand_off(shoot, wish, bar.tick, lists=lists, folders=folders)
    console.show_handoff(outcome)
    return not outcome.left_out


def _run(shoot: Path, wish: Wish, given: Mapping[str, Any]) -> bool:
    """The command, once a stack; whether every stack has a result now."""
    from sorter import pipeline  # noqa: PLC0415  see above
    from sorter.cli import console, outcomes  # noqa: PLC0415

    asked = Asked(
        command=given["command"],
        result_type=ResultType(given["result_type"]),
        jobs=given["jobs"],
        limit_s=None if given["time_limit"] is None else parse_limit(given["time_limit"]),
        again=given["again"],
    )
    with console.Bar("merging stacks") as bar:
        results = pipeline.merge(shoot, wish, asked, bar.tick)
    console.show_lines(outcomes.merged(results))
    for line in outcomes.merging_remarks(results):
        console.remark(line)
    return not (results.failed or results.left_out)


def _collect(shoot: Path, wish: Wish, files: tuple[Path, ...]) -> bool:
    """Files as results; whether all of them were taken in."""
    from sorter import pipeline  # noqa: PLC0415  see above
    from sorter.cli import console, outcomes  # noqa: PLC0415

    def ask(file: str, stacks: tuple[Stack, ...]) -> int | None:
        bar.stop()
        return console.number(outcomes.question(file, stacks)) if console.can_ask() else None

    with console.Bar("taking in") as bar:
        collection = pipeline.collect(shoot, wish, files, ask, bar.tick)
    console.show_lines(outcomes.collected(collection))
    for line in outcomes.collecting_remarks(collection):
        console.remark(line)
    return not collection.refused
