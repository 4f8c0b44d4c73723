"""The command line: arguments in, the pipeline called, outcomes turned into exit codes.

A command is a module of its own and a line in COMMANDS. The module is imported when its command
is called and not before, so that help and version answer at once.
"""

from __future__ import annotations

import importlib
import signal
from typing import Any, Final

import click

from sorter import __version__
from sorter.errors import SorterError

COMMANDS: Final[dict[str, tuple[str, str]]] = {
    "scan": ("sorter.cli.scan:scan", "Shows which sequences are on a card, and why."),
    "ingest": ("sorter.cli.ingest:ingest", "Carries a card into a shoot folder, and verifies it."),
    "verify": ("sorter.cli.verify:verify", "Reads a shoot again and names what has changed."),
    "undo": ("sorter.cli.undo:undo", "Takes the last ingest of a shoot back."),
    "check": (
        "sorter.cli.check:check",
        "Looks at the pictures: which stacks are worth merging, and which frames.",
    ),
    "handoff": (
        "sorter.cli.handoff:handoff",
        "Hands the stacks of a shoot to a stacking program, and takes results back.",
    ),
    "steps": (
        "sorter.cli.steps:steps",
        "Tells how deep slices are, and how many a stack takes.",
    ),
    "report": (
        "sorter.cli.report:report",
        "Makes a page of a shoot: what was found, with a trial merge of every stack.",
    ),
    "tally": ("sorter.cli.tally:tally", "Counts what shoots hold: a season in numbers."),
}
"""Name: where the command is, and its help in one line, the same as its docstring's first."""

STOPPED: Final = 3
_STOPPED: Final = "stopped. Nothing was lost, and nothing half-written is left. Run the same command again to go on."
_BUG: Final = (
    "this is a fault of the sorter, not of your card, and nothing was lost. Please report it with "
    "the lines above."
)


class Commands(click.Group):
    """The table of commands as click sees it, and the one place where errors become exit codes."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The commands in the order of the table."""
        del ctx
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command, imported now; None where there is none of that name."""
        del ctx
        if cmd_name not in COMMANDS:
            return None
        module, _, name = COMMANDS[cmd_name][0].partition(":")
        command: click.Command = getattr(importlib.import_module(module), name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Lists the commands out of the table, without importing them."""
        del ctx
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])

    def invoke(self, ctx: click.Context) -> Any:  # noqa: ANN401  click's own signature
        """Runs the command; every way to fail ends in a sentence and an exit code."""
        try:
            return super().invoke(ctx)
        except SorterError as error:
            raise _ended(error, str(error), error.exit_code) from error
        except KeyboardInterrupt as error:
            # The interpreter ends by SIGINT, whatever exit code it is given, if a stop came while it
            # ran code out of a text (as dataclasses do): until more such code was run to its end.
            exec("")  # noqa: S102
            raise _ended(error, _STOPPED, STOPPED) from error
        except click.UsageError as error:
            raise _spelled(error) from None
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except Exception as error:
            raise _ended(error, _BUG, STOPPED) from error


def _ended(error: BaseException, sentence: str, code: int) -> click.exceptions.Exit:
    """The end of the run with this code, after its one sentence on stderr."""
    from sorter.cli import console  # noqa: PLC0415  only on the way to an error

    console.say_why(sentence, error)
    return click.exceptions.Exit(code)


def _spelled(error: click.UsageError) -> click.UsageError:
    """The error, with what a terminal would obey spelled out: arguments may be names of files."""
    from sorter.cli.phrases import safe  # noqa: PLC0415  only on the way to an error

    stated = error.format_message()
    spelled = "\n".join(safe(line) for line in stated.split("\n"))
    return error if spelled == stated else click.UsageError(spelled, ctx=error.ctx)


@click.group(
    cls=Commands,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Try first: sorter scan CARD",
)
@click.version_option(__version__, prog_name="sorter")
def commands() -> None:
    """Sorts what a macro shoot left on a memory card.

    Finds the focus brackets, stacks turned by hand, exposure brackets, bursts and singles, says
    why it takes them for that, and never loses a file.
    """


def _interrupt(*_: object) -> None:
    raise KeyboardInterrupt


def run() -> None:
    """Runs the command that the arguments name, and exits with its code.

    A request to end (SIGTERM) ends it as Ctrl-C does, at a clean point.
    """
    signal.signal(signal.SIGTERM, _interrupt)
    commands.main(prog_name="sorter")
