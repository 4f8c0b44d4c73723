"""`sorter steps`: how deep slices are, and how many a stack takes."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any, Final

import click

from sorter.cli.paths import GivenPath
from sorter.errors import BadChoice
from sorter.model.steps import Setup

_DEFAULT_SENSOR: Final = "full-frame"
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
    refuse_mixtures(given)
    if given["shoot"] is None:
        _over_f_numbers(given)
    else:
        _of_sequence(given)


def refuse_mixtures(given: Mapping[str, Any]) -> None:
    """Returns where the options go together and are enough. Raises BadChoice."""
    if given["sensor"] and given["coc"]:
        raise BadChoice("--sensor and --coc are two ways to say the same. Give one of them.")
    if (given["shoot"] is None) != (given["sequence"] is None):
        raise BadChoice("SHOOT and --sequence go together: sorter steps rock-pool --sequence 7.")
    by_lens = (given["focal_length"] is not None, given["distance"] is not None)
    if given["shoot"] is not None:
        own = (given["magnification"], given["focal_length"], given["distance"], given["depth"])
        if any(each is not None for each in (*own, given["plot"])) or len(given["f_numbers"]) > 1:
            raise BadChoice(
                "of a sequence, magnification, distance and depth come from the shoot, and it has one "
                "f-number; there is no plot of it."
            )
        return
    if any(by_lens) and (not all(by_lens) or given["magnification"] is not None):
        raise BadChoice("give --magnification, or --focal-length and --distance together.")
    if given["magnification"] is None and not all(by_lens):
        raise BadChoice("say how large: --magnification 1, or --focal-length 100 --distance 0.4.")


def _over_f_numbers(given: Mapping[str, Any]) -> None:
    # Imported here, so that this command's help answers at once too.
    from sorter import pipeline  # noqa: PLC0415
    from sorter.cli import console, stepview  # noqa: PLC0415

    if given["plot"] is not None:
        pipeline.check_target(given["plot"], output=pipeline.Output.PLOT)
    setup = _setup(given)
    rows = pipeline.steps(given["f_numbers"] or pipeline.FULL_STOPS, setup)
    if given["plot"] is not None:
        pipeline.draw(given["plot"], rows, setup)
    if given["as_json"]:
        console.show_text(_document(setup=asdict(setup), steps=[asdict(row) for row in rows]))
    else:
        console.show_lines(stepview.table(rows, setup, _circle(given)))


def _of_sequence(given: Mapping[str, Any]) -> None:
    from sorter import pipeline  # noqa: PLC0415  see above
    from sorter.cli import console, stepview  # noqa: PLC0415

    setup = _setup({**given, "magnification": 1.0})
    stop = given["f_numbers"][0] if given["f_numbers"] else None
    found = pipeline.covered(given["shoot"], given["sequence"], setup, stop)
    near = pipeline.is_near(found.focal_mm, found.near_m)
    why = (f"the nearest focus is {pipeline.NEAR}; " if near else "") + pipeline.ESTIMATED
    if given["as_json"]:
        console.show_text(_document(**asdict(found), estimated=why, circle_mm=setup.circle_mm))
    else:
        console.show_lines(stepview.sequence(found, setup, _circle(given), why))


def _setup(given: Mapping[str, Any]) -> Setup:
    from sorter import pipeline  # noqa: PLC0415  see above

    magnification, estimated = given["magnification"], ""
    if magnification is None:
        focal, distance = given["focal_length"], given["distance"]
        magnification = pipeline.estimated_magnification(focal, distance)
        near = f"{pipeline.NEAR}; " if pipeline.is_near(focal, distance) else ""
        estimated = f"from {focal:g} mm at {distance:g} m: {near}{pipeline.ESTIMATED}"
    return Setup(
        magnification=magnification,
        circle_mm=given["coc"] or pipeline.circle_of(given["sensor"] or _DEFAULT_SENSOR),
        overlap=given["overlap"],
        pupil=given["pupil"],
        wavelength_um=given["wavelength"],
        subject_mm=given["depth"],
        criterion=given["criterion"],
        estimated=estimated,
    )


def _circle(given: Mapping[str, Any]) -> str:
    """Where the circle of confusion comes from."""
    if given["coc"]:
        return "as given"
    return given["sensor"] or f"{_DEFAULT_SENSOR}, as nothing else was said"


def _document(**content: object) -> str:
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)
