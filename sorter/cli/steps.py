"""`sorter steps`: how deep slices are, and how many a stack takes."""

from __future__ import annotations

import json
import math
from typing import Any, Final

import click

from sorter import api
from sorter.cli import console, stepview
from sorter.cli.paths import GivenPath

_EXAMPLE: Final = """\b
Examples:
  sorter steps --magnification 1 --f-number 5.6 --sensor full-frame --depth 10
  sorter steps --focal-length 100 --distance 0.31 --depth 4 --plot steps.png
  sorter steps rock-pool --sequence 7

Exit codes: 0 all went well; 2 wrong usage, or the camera did not tell enough.
"""


class Positive(click.FloatRange):
    """A number above zero, and finite."""

    def __init__(self) -> None:
        super().__init__(min=0, min_open=True)

    def convert(
        self,
        value: Any,  # noqa: ANN401  click's own signature
        param: click.Parameter | None,
        ctx: click.Context | None,
    ) -> float:
        """The number; ends the run where it is none."""
        number: float = super().convert(value, param, ctx)
        if not math.isfinite(number):
            self.fail(f"{value!r} is no finite number.", param, ctx)
        return number


@click.command(epilog=_EXAMPLE)
@click.argument("shoot", type=GivenPath(), metavar="[SHOOT]", required=False)
@click.option("--sequence", type=click.IntRange(1), metavar="N", help="Which sequence of SHOOT.")
@click.option(
    "--magnification", type=Positive(), metavar="M", help="Size on the sensor over size in life."
)
@click.option(
    "--focal-length", type=Positive(), metavar="MM", help="With --distance, for an estimate."
)
@click.option("--distance", type=Positive(), metavar="M", help="From subject to sensor, in metres.")
@click.option(
    "--f-number",
    "f_numbers",
    multiple=True,
    type=Positive(),
    metavar="N",
    help="As marked on the lens. May be given several times; without it full stops from 1.4 to 32.",
)
@click.option(
    "--sensor",
    type=click.Choice(["full-frame", "aps-c", "four-thirds"]),
    metavar="full-frame|aps-c|four-thirds",
    help="For the circle of confusion: 0.030, 0.020 or 0.015 mm; without this option full-frame.",
)
@click.option("--coc", type=Positive(), metavar="MM", help="A circle of confusion of your own.")
@click.option("--depth", type=Positive(), metavar="MM", help="How deep the subject is.")
@click.option(
    "--overlap",
    type=click.FloatRange(0, 1, max_open=True),
    default=0.25,
    metavar="SHARE",
    help="By how much slices overlap; without this option 0.25.",
)
@click.option(
    "--pupil",
    type=Positive(),
    default=1.0,
    metavar="P",
    help="Pupil magnification, exit over entrance; without this option 1, a symmetric lens.",
)
@click.option(
    "--wavelength",
    type=Positive(),
    default=0.55,
    metavar="UM",
    help="Of light, in micrometres; without this option 0.55.",
)
@click.option(
    "--criterion",
    type=click.Choice(["larger", "geometric", "wave"]),
    default="larger",
    metavar="larger|geometric|wave",
    help="Which depth of field counts: by the circle of confusion, by wave optics, or the larger of "
    "the two, as without this option.",
)
@click.option(
    "--plot",
    type=GivenPath(),
    metavar="FILE",
    help="Draw it over f-numbers, as a PNG. It takes the place of such a plot, and of nothing else.",
)
@click.option("--json", "as_json", is_flag=True, help="One JSON document, and nothing else.")
def steps(**given: Any) -> None:  # noqa: ANN401  click's options
    """Tells how deep slices are, and how many a stack takes.

    From magnification, f-number and how deep the subject is: depth of field, effective f-number,
    diffraction, step and frames. Or of a sequence of SHOOT: what it covered, as an estimate.
    """
    as_json = given.pop("as_json")
    request = api.StepsRequest(f_number=given.pop("f_numbers"), **given)
    found = api.answered(request)
    if as_json:
        console.show_text(
            json.dumps(found.to_dict(), indent=2, ensure_ascii=False, allow_nan=False)
        )
    elif found.covered is None:
        console.show_lines(stepview.table(found.rows, found.setup, request.circle))
    else:
        console.show_lines(
            stepview.sequence(found.covered, found.setup, request.circle, found.estimated)
        )
