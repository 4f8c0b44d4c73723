from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

import sorter
from sorter.cli import COMMANDS, commands

GOLDEN = Path(__file__).parent / "golden"
CHEAP = """
import sys
import click
before = set(sys.modules)
sys.argv = ["sorter", *{arguments!r}]
from sorter.cli import run
try:
    run()
except SystemExit:
    pass
print(*sorted(set(sys.modules) - before), file=sys.stderr)
"""
DEAR = {
    "rich",
    "pandas",
    "numpy",
    "PIL",
    "exifread",
    "piexif",
    "platformdirs",
    "tomllib",
    "dataclasses",
}


def help_of(*arguments: str) -> str:
    result = CliRunner().invoke(commands, [*arguments, "--help"], prog_name="sorter")
    assert result.exit_code == 0
    return result.output


def loaded_by(*arguments: str) -> set[str]:
    done = subprocess.run(  # noqa: S603  our own program
        [sys.executable, "-c", CHEAP.format(arguments=list(arguments))],
        capture_output=True, text=True, check=True, cwd=Path(sorter.__file__).parents[1],
    )  # fmt: skip
    assert done.stdout
    return set(done.stderr.split())


def test_the_help_of_the_group(golden: Callable[[Path, bytes], None]) -> None:
    golden(GOLDEN / "sorter.txt", help_of().encode())


@pytest.mark.parametrize("name", COMMANDS)
def test_the_help_of_a_command(name: str, golden: Callable[[Path, bytes], None]) -> None:
    golden(GOLDEN / f"{name}.txt", help_of(name).encode())


@pytest.mark.parametrize("name", COMMANDS)
def test_the_tables_line_is_the_first_of_the_commands_own_help(name: str) -> None:
    command = commands.get_command(click.Context(commands), name)
    assert command is not None
    assert (command.help or "").split("\n")[0] == COMMANDS[name][1]
    assert command.name == name


def test_help_and_version_load_nothing_but_click() -> None:
    for option in ("--help", "--version"):
        loaded = loaded_by(option)
        assert {name for name in loaded if name.startswith("sorter")} == {
            "sorter",
            "sorter.cli",
            "sorter.errors",
        }
        assert not {name.partition(".")[0] for name in loaded} & DEAR


def test_a_commands_help_loads_neither_readers_nor_what_they_need() -> None:
    loaded = loaded_by("scan", "--help")
    assert not loaded & {"rich", "pandas", "PIL", "exifread", "sorter.pipeline", "sorter.reading"}


def test_the_version_is_the_projects() -> None:
    project = (Path(sorter.__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8")
    assert f'version = "{sorter.__version__}"' in project
    result = CliRunner().invoke(commands, ["--version"])
    assert result.output == f"sorter, version {sorter.__version__}\n"


def test_an_unknown_command_or_option_is_wrong_usage() -> None:
    for arguments in (["scan", "--colour"], ["sift"], ["scan"], []):
        assert CliRunner().invoke(commands, arguments).exit_code == 2
