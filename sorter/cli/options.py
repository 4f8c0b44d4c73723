"""Options and arguments that several commands share."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from sorter.cli.paths import GivenPath

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

settings_option: Decorator = click.option(
    "--settings",
    "settings_file",
    type=GivenPath(),
    metavar="FILE",
    help="Read the settings from this TOML file, not from your own sorter.toml.",
)
clock_option: Decorator = click.option(
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
yes_option: Decorator = click.option(
    "--yes", is_flag=True, help="Do not ask. Without a terminal this is needed."
)
