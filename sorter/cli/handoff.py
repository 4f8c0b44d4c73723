"""`sorter handoff`: the stacks of a shoot, for another program."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from sorter import api
from sorter.cli import console, outcomes
from sorter.cli.options import json_option
from sorter.cli.paths import GivenPath
from sorter.errors import BadChoice
from sorter.model.finding import JUDGED
from sorter.model.kinds import NO_FRAME_KINDS, Kind
from sorter.model.result import ResultType
from sorter.model.stack import SliceFiles, SliceOrder, Stack

if TYPE_CHECKING:
    from sorter.api import CollectedResults, HandedOff
    from sorter.cli.layout import Printed

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
    type=click.Choice([str(each) for each in JUDGED]),
    metavar="VERDICT",
    help=f"Only stacks that `sorter check` calls {', '.join(JUDGED)}. Give it once for every verdict.",
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
@json_option
@click.pass_context
def handoff(ctx: click.Context, /, *, shoot: Path, **given: Any) -> None:  # noqa: ANN401  click's options
    """Hands the stacks of a shoot to a stacking program, and takes results back.

    SHOOT is a folder that a card was ingested to. Each stack becomes a list, a folder, or both,
    named as its folder in the shoot; or a command is run for each, and its results come into the
    shoot with the Exif that they lost. A stack that lacks a slice is left out and named: half a
    stack is never handed over.
    """
    refuse_mixtures(given)
    as_json = given["as_json"]
    if given["collects"]:
        outcome = _collected(shoot, given)
        lines, remarks = outcomes.collected, outcomes.collecting_remarks
        _show(outcome, lines(outcome.collection), remarks(outcome.collection), as_json=as_json)
        ctx.exit(outcome.exit_code)
    with console.Bars() as bars:
        handed = api.hand_off(shoot, progress=bars.progress, **_options(given))
    if handed.results is not None:
        results = handed.results
        _show(handed, outcomes.merged(results), outcomes.merging_remarks(results), as_json=as_json)
    elif as_json or handed.handoff is None:
        _show(handed, (), (), as_json=True)
    else:
        console.show_handoff(handed.handoff)
    ctx.exit(handed.exit_code)


def _options(given: Mapping[str, Any]) -> dict[str, Any]:
    """The options under the names that they have on the command line."""
    names = {"lists": "list", "command": "run", "kinds": "kind", "verdicts": "verdict"}
    others = ("files_to_collect", "collects", "as_json")
    return {names.get(name, name): each for name, each in given.items() if name not in others}


def _show(
    outcome: HandedOff | CollectedResults,
    lines: Iterable[Printed],
    remarks: Iterable[str],
    *,
    as_json: bool,
) -> None:
    if as_json:
        console.show_json(outcome.to_dict())
    else:
        console.show_lines(lines)
    for line in remarks:
        console.remark(line)


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


def _collected(shoot: Path, given: Mapping[str, Any]) -> CollectedResults:
    """Files as results; who is at the terminal is asked where nothing tells whose they are."""

    def ask(file: str, stacks: tuple[Stack, ...]) -> int | None:
        bars.stop()
        return console.number(outcomes.question(file, stacks)) if console.can_ask() else None

    with console.Bars() as bars:
        request = api.CollectRequest(
            shoot=shoot,
            files=given["files_to_collect"],
            stacks=api.stack_request(only=given["only"], kind=given["kinds"], order=given["order"]),
            ask=ask,
        )
        return api.collected(request, api.Watch(progress=bars.progress))
