"""Options and arguments that several commands share."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import click

from sorter.cli.paths import GivenPath
from sorter.settings import LIMIT_MEGAPIXELS, MOST_MEGAPIXELS, load_settings, option_of

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

_MOST_JOBS: Final = 64
_METAVARS: Final = {"hand_pause_s": "SECONDS", "apart_s": "SECONDS", "unsure_below": "MARGIN"}
_KNOBS: Final = {
    "hand_pause_s": "The longest pause within a stack whose focus is turned by hand, from the end "
    "of one exposure to the start of the next: --hand-pause 90 for a slow hand. The default is 45.",
    "apart_s": "A pause that is longer always parts two sequences, whatever speaks for joining "
    "them: --apart 300. The default is 900.",
    "unsure_below": "Call a sequence unsure where the next best account comes nearer than this, "
    "from 0 (never) to 30 (always): --unsure-below 7 for a thousand to one. The default is 3, twenty to one.",
}

pixels_option: Decorator = click.option(
    "--most-megapixels",
    type=click.IntRange(1, LIMIT_MEGAPIXELS),
    metavar="N",
    help="A picture with more megapixels than this is named, and not looked at: --most-megapixels 900 for "
    f"a large panorama. The default is {MOST_MEGAPIXELS}.",
)
settings_option: Decorator = click.option(
    "--settings",
    "settings_file",
    type=GivenPath(),
    metavar="FILE",
    help="Read the settings from this TOML file, not from your own sorter.toml.",
)
_clock_option: Decorator = click.option(
    "--clock",
    multiple=True,
    metavar="SERIAL=SHIFT",
    help="Add to the times of the body with this serial (or of this model, where it tells no "
    "serial): 0417=-4m where its clock was four minutes ahead; +90s, +1h4m and +1d are shifts "
    "too. Give it once for every body.",
)
corrections_option: Decorator = click.option(
    "--corrections",
    "corrections_file",
    type=GivenPath(),
    metavar="FILE",
    help="Read from this CSV file which frames are one sequence: its columns are first, last, kind "
    "and name; first and last are paths below the card; kind and name may be empty.",
)
jobs_option: Decorator = click.option(
    "--jobs",
    type=click.IntRange(1, _MOST_JOBS),
    metavar="N",
    help="How many pictures are decoded at a time; without this option one a processor.",
)
json_option: Decorator = click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON document and nothing else."
)
yes_option: Decorator = click.option(
    "--yes", is_flag=True, help="Do not ask. Without a terminal this is needed."
)


def settings_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The command with every option that is a setting; they reach it as one argument, `settings`.

    What an option says goes before what the settings file says. Raises what load_settings raises.
    """

    @functools.wraps(command)
    def with_settings(
        *arguments: object,
        settings_file: Path | None,
        clock: tuple[str, ...],
        **more: Any,  # noqa: ANN401  whatever options the command has of its own
    ) -> None:
        given = {name: more.pop(name) for name in _KNOBS}
        knobs = {name: text for name, text in given.items() if text is not None}
        settings = load_settings(settings_file, clock, knobs)
        command(*arguments, settings=settings, **more)

    whole: Callable[..., Any] = with_settings
    for option in reversed((settings_option, _clock_option, *map(_knob_option, _KNOBS))):
        whole = option(whole)
    return whole


def _knob_option(knob: str) -> Decorator:
    return click.option(option_of(knob), knob, metavar=_METAVARS[knob], help=_KNOBS[knob])
