"""README's lists are whole: columns of checks.csv, relations, and every option of every command."""

from __future__ import annotations

import re
from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path
from typing import get_args, get_type_hints

import click
import pytest

from sorter.cli import COMMANDS, commands
from sorter.model.finding import CHECK_COLUMNS, Check, Positions
from sorter.model.relation_kind import RelationKind

TEXT = (Path(__file__).parent.parent / "README.md").read_text("utf-8")
SECTIONS = dict(re.findall(r"^#{2,3} (.+)\n((?:(?!#{2,3} ).*\n)*)", TEXT, re.MULTILINE))
"""What stands under each heading, up to the next of its kind."""
NEWS = ("Changes", "0.1.0")
"""Says what is new, and explains nothing."""


# ---- the columns of checks.csv ----------------------------------------------------------------


def columns() -> list[tuple[str, str, str]]:
    """The table's rows: column, what it means, unit or form."""
    rows = re.findall(
        r"^\| `(\w+)` \| (.+) \| (.+) \|$", SECTIONS["The columns of checks.csv"], re.MULTILINE
    )
    return [(name, meaning, form) for name, meaning, form in rows]


def hint(name: str) -> object:
    """The type of what the code puts into the column."""
    attribute = getattr(Check, name)
    if isinstance(attribute, property):
        return get_type_hints(attribute.fget)["return"]
    return get_type_hints(Check)[name]


def test_every_column_of_the_checks_stands_in_the_readme_in_its_place() -> None:
    assert tuple(name for name, _, _ in columns()) == CHECK_COLUMNS


def test_a_column_of_words_lists_each_of_them() -> None:
    listed = 0
    for name, _, form in columns():
        for one in get_args(hint(name)) or (hint(name),):
            if isinstance(one, type) and issubclass(one, StrEnum) and name not in WITH_KINDS:
                assert form == ", ".join(one)
                listed += 1
    assert listed == 2


WITH_KINDS = ("kind", "looks_like")
"""They are explained under "What the kinds mean"."""


@pytest.mark.parametrize(
    ("form", "hints"),
    [
        ("positions", (Positions,)),
        ("share, 0 to 1", (float | None,)),
        ("a kind", (hint("kind"), hint("looks_like"))),
        ("sentences", (str,)),
        ("whole number", (int,)),
        ("position", (int | None,)),
    ],
)
def test_a_form_is_that_of_the_code(form: str, hints: tuple[object, ...]) -> None:
    found = [hint(name) for name, _, told in columns() if told == form]
    assert found
    assert all(one in hints for one in found)


# ---- the options of the commands ----------------------------------------------------------------


def test_every_relation_is_explained() -> None:
    table = TEXT.partition("What a sequence is to another one")[2].partition("## ")[0]
    told = re.findall(r"^\| ([a-z][a-z -]+) \| ", table, re.MULTILINE)
    assert sorted(told) == sorted([*RelationKind, "note"])


def options(name: str) -> Iterator[str]:
    """Every spelling of every option that the command takes."""
    command = commands.get_command(click.Context(commands), name)
    assert command is not None
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            yield from (*parameter.opts, *parameter.secondary_opts)


def told_of(name: str) -> str:
    """What README says of a command, and of all."""
    return "".join(
        text
        for heading, text in SECTIONS.items()
        if not heading.startswith(NEWS)
        and (
            not heading.startswith("sorter ") or f"sorter {name}" in re.split(", | [A-Z]", heading)
        )
    )


def names(text: str, option: str) -> bool:
    return re.search(rf"(?<![\w-]){re.escape(option)}(?![\w-])", text) is not None


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_stands_in_the_readme_with_its_command_or_with_what_all_have(
    name: str,
) -> None:
    missing = [one for one in options(name) if not names(told_of(name), one)]
    assert missing == []


def test_an_option_of_another_command_is_none_of_this_one() -> None:
    """`--wavelength` is of steps alone; `--json` of all; `--plotted` is no `--plot`."""
    assert not names(told_of("undo"), "--magnification")
    assert names(told_of("steps"), "--magnification")
    assert all(names(told_of(name), "--json") for name in COMMANDS)
    assert not names("--plotted", "--plot")
