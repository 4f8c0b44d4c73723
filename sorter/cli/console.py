"""The only module that prints. What goes to stdout is the answer; all else goes to stderr."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import sys
import time
import traceback
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import asdict
from typing import TYPE_CHECKING, Final, Self, TextIO

from sorter.api import Stage
from sorter.cli import stacks, view
from sorter.cli.layout import INDENT, Printed, labelled, lay_out, wrapped
from sorter.cli.phrases import safe
from sorter.cli.view import Line
from sorter.errors import AnswerLost, SorterError
from sorter.model.frame import ReadFile
from sorter.model.sequence import Account
from sorter.model.stack import Handoff

if TYPE_CHECKING:
    from rich.console import Console
    from rich.progress import Progress


WIDTH_ELSEWHERE: Final = 120
PATIENCE_S: Final = 1.0  # work that is done sooner shows no bar

_STAGES: Final[Mapping[str, tuple[str, str]]] = {
    Stage.READING: ("reading the card", "finding the sequences"),
    Stage.LOOKING: ("looking at the pictures", "judging them"),
    Stage.COMPARING: ("comparing with what is there", ""),
    Stage.CARRYING: ("carrying", "verifying"),
    Stage.VERIFYING: ("verifying", ""),
    Stage.MENDING: ("mending", ""),
    Stage.UNDOING: ("taking back", ""),
    Stage.ENDING: ("ending what was stopped", ""),
    Stage.MOVING: ("moving files in the shoot", ""),
    Stage.DRAWING: ("drawing pictures and trial merges", "writing the page"),
    Stage.HANDING: ("handing over", ""),
    Stage.MERGING: ("merging stacks", ""),
    Stage.COLLECTING: ("taking in", ""),
    Stage.COUNTING: ("counting", ""),
}
_IN_BYTES: Final = frozenset(
    {Stage.COMPARING, Stage.CARRYING, Stage.VERIFYING, Stage.MENDING, Stage.UNDOING}
)
_STYLES: Final = {"heading": "bold", "day": "bold cyan", "note": "yellow", "dim": "dim"}
# The signs that the table uses itself, for terminals that do not have them.
_PLAIN_SIGNS: Final = {
    "\N{RIGHTWARDS ARROW}": "->",
    "\N{EN DASH}": "-",
    "\N{HORIZONTAL ELLIPSIS}": ".",
    "\N{INFINITY}": "inf",
    "\N{BOX DRAWINGS LIGHT VERTICAL AND RIGHT}": "|",
    "\N{BOX DRAWINGS LIGHT UP AND RIGHT}": "`",
    "\N{BOX DRAWINGS LIGHT VERTICAL}": "|",
    "\N{BOX DRAWINGS LIGHT HORIZONTAL}": "-",
}


def show_account(account: Account, unread: tuple[ReadFile, ...], *, why: bool) -> None:
    """Prints the table, or each sequence with its reasons, then what is no frame, then the sum."""
    with _answering() as stdout:
        if stdout is None:
            return
        _make_lenient(stdout)
        stdout.write(_answer(account, unread, why=why))


def _answer(account: Account, unread: tuple[ReadFile, ...], *, why: bool) -> str:
    console = _console()
    width = shutil.get_terminal_size((WIDTH_ELSEWHERE, 24)).columns
    lines = tuple(_spelled(line, console) for line in view.table(account, fold=not why))
    with console.capture() as captured:
        if lines:
            _print(console, _reasoned(account, lines, width) if why else _tabled(lines, width))
        _print(console, _listed(account, unread))
        _print(console, _left(account))
        _print(console, _summed(account, width))
    return captured.get()


def show_handoff(outcome: Handoff) -> None:
    """Prints a line for each stack and the sum; on stderr what was done otherwise than asked for."""
    with _answering() as stdout:
        if stdout is not None:
            _make_lenient(stdout)
            stdout.write(_handed_over(outcome))
    for line in stacks.remarks(outcome):
        remark(line)


def _handed_over(outcome: Handoff) -> str:
    console = _console()
    with console.capture() as captured:
        _print(console, stacks.table(outcome))
        _print(console, [Printed(text=stacks.summary(outcome), style="heading")])
    return captured.get()


def show_json(content: Mapping[str, object]) -> None:
    """Prints one JSON document on stdout, in ASCII, and nothing else there."""
    show_text(json.dumps(content, indent=1, allow_nan=False))


def show_text(text: str) -> None:
    """Prints the text on stdout as it is, and nothing else there."""
    with _answering() as stdout:
        if stdout is not None:
            stdout.write(f"{text}\n")


def show_lines(lines: Iterable[Printed]) -> None:
    """Prints the lines on stdout, each in its look."""
    with _answering() as stdout:
        if stdout is None:
            return
        _make_lenient(stdout)
        console = _console()
        with console.capture() as captured:
            _print(console, _for_the_screen(lines))
        stdout.write(captured.get())


def _for_the_screen(lines: Iterable[Printed]) -> Iterator[Printed]:
    """Sentences that are longer than a terminal is wide are wrapped there; in a file none are."""
    width = shutil.get_terminal_size((WIDTH_ELSEWHERE, 24)).columns
    for line in lines:
        if not sys.stdout.isatty() or len(line.text) <= width:
            yield line
        else:
            text = line.text.lstrip()
            indent = line.text[: len(line.text) - len(text)]
            parts = wrapped(text, width - len(indent))
            yield from (Printed(text=indent + part, style=line.style) for part in parts)


def can_ask() -> bool:
    """Whether there is a terminal on which someone may answer."""
    return sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty()


def agrees(question: str) -> bool:
    """Whether the user says yes; anything else is no."""
    sys.stderr.write(f"{safe(question)} [y/N] ")
    sys.stderr.flush()
    return sys.stdin.readline().strip().lower() in ("y", "yes")


def number(question: str) -> int | None:
    """The number that the user answers with; None for anything else."""
    sys.stderr.write(f"{safe(question)} ")
    sys.stderr.flush()
    answer = sys.stdin.readline().strip()
    return int(answer) if answer.isascii() and answer.isdecimal() else None


def remark(text: str) -> None:
    """Says something beside the answer, on stderr."""
    stderr: TextIO | None = sys.stderr
    if stderr is None:  # closed by the one who started us
        return
    _make_lenient(stderr)
    with contextlib.suppress(OSError):  # nobody reads on there, or its disk is full
        stderr.write(f"{safe(text)}\n")
        stderr.flush()


def remark_in_bold(text: str) -> None:
    """The same where it counts most: in bold, where stderr is a terminal that shows it."""
    stderr: TextIO | None = sys.stderr
    if stderr is None or not stderr.isatty():
        remark(text)
        return
    from rich.console import Console  # noqa: PLC0415  only where something is printed
    from rich.text import Text  # noqa: PLC0415

    with contextlib.suppress(OSError):
        Console(file=stderr, highlight=False).print(Text(safe(text), style="bold"), soft_wrap=True)


def say_why(sentence: str, error: BaseException) -> None:
    """Says on stderr why the run ends here; of a fault of ours also where it happened."""
    if isinstance(error, KeyboardInterrupt):
        remark("")  # ends the line on which the terminal shows ^C
    elif not isinstance(error, SorterError):
        for line in "".join(traceback.format_exception(error)).splitlines():
            remark(line)
    remark(f"Error: {sentence}")


class Bar:
    """A bar on stderr while work takes long, on a terminal only; gone when the work is done.

    afterwards: the label once all is counted and the rest of the work goes on. in_bytes: what is
    counted is bytes, shown with their rate and the time left.
    """

    def __init__(self, label: str, afterwards: str = "", *, in_bytes: bool = False) -> None:
        self._label = label
        self._afterwards = afterwards or label
        self._in_bytes = in_bytes
        self._began = time.monotonic()
        self._progress: Progress | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    def stop(self) -> None:
        """Takes the bar off the screen."""
        if self._progress is not None:
            self._progress.stop()

    def advance(self, done: int, total: int) -> None:
        """Shows how much is done."""
        if self._progress is None:
            if time.monotonic() - self._began < PATIENCE_S or not sys.stderr.isatty():
                return
            self._progress = _progress(in_bytes=self._in_bytes)
            self._progress.add_task(self._label, total=total)
        label = self._label if done < total else self._afterwards
        task = self._progress.task_ids[0]
        self._progress.update(task, completed=done, total=total, description=label)


class Bars:
    """Bars of one piece of work, one after the other; all are gone when it is done."""

    def __init__(self) -> None:
        self._shown: Bar | None = None
        self._by_stage: dict[str, Callable[[int, int], None]] = {}

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._show(None)

    def progress_of(
        self, label: str, afterwards: str = "", *, in_bytes: bool = False
    ) -> Callable[[int, int], None]:
        """What a stage calls with how much is done, of how much; its bar takes the last one's place."""
        bar: Bar | None = None

        def report(done: int, total: int) -> None:
            nonlocal bar
            bar = bar or Bar(label, afterwards, in_bytes=in_bytes)
            self._show(bar)
            bar.advance(done, total)

        return report

    def progress(self, stage: str, done: int, total: int) -> None:
        """What a call of the front door tells: its stage, and how much of it is done."""
        if stage not in self._by_stage:
            label, afterwards = _STAGES.get(stage, (stage, ""))
            self._by_stage[stage] = self.progress_of(label, afterwards, in_bytes=stage in _IN_BYTES)
        self._by_stage[stage](done, total)

    def stop(self) -> None:
        """Takes the bar off the screen; the next stage brings its own."""
        self._show(None)

    def _show(self, bar: Bar | None) -> None:
        if self._shown is not None and self._shown is not bar:
            self._shown.stop()
        self._shown = bar


def _progress(*, in_bytes: bool) -> Progress:
    from rich import progress as bars  # noqa: PLC0415  only where a bar is shown
    from rich.console import Console  # noqa: PLC0415

    counted: tuple[bars.ProgressColumn, ...] = (bars.MofNCompleteColumn(),)
    if in_bytes:
        left = bars.TimeRemainingColumn(compact=True)
        counted = (bars.DownloadColumn(), bars.TransferSpeedColumn(), left)
    columns = (bars.TextColumn("{task.description}"), bars.BarColumn(), *counted)
    progress = bars.Progress(*columns, console=Console(stderr=True), transient=True)
    progress.start()
    return progress


# ---- the account ----------------------------------------------------------------------------


def _tabled(lines: tuple[Line, ...], width: int) -> Iterator[Printed]:
    yield from lay_out(lines, width)
    yield Printed(text="")


def _reasoned(account: Account, lines: tuple[Line, ...], width: int) -> Iterator[Printed]:
    for line, sequence in zip(lines, account.sequences, strict=True):
        frames = "1 frame" if line.frames == "1" else f"{line.frames} frames"
        parts = (line.day, line.start, line.kind, frames, line.camera, line.lens, line.focus)
        text = "  ".join(each for each in parts if each)
        yield Printed(text=f"{line.number:>4}  {text}", style="heading")
        for label, reason in view.reasons(sequence):
            style = "note" if label == "look at" else "plain"
            yield from labelled(f"{INDENT}{label:<11}", reason, width, style=style)
        yield Printed(text="")
    yield from labelled("", view.MARGINS, width, style="dim")
    yield Printed(text="")


def _listed(account: Account, unread: tuple[ReadFile, ...]) -> Iterator[Printed]:
    lines = view.no_frames(account, unread)
    if lines:
        yield Printed(text="files that are no frame", style="heading")
        yield from (Printed(text=f"  {line}") for line in lines)
        yield Printed(text="")


def _left(account: Account) -> Iterator[Printed]:
    for heading, *lines in view.left(account):
        yield Printed(text=heading, style="heading")
        yield from (Printed(text=line) for line in lines)
        yield Printed(text="")


def _summed(account: Account, width: int) -> Iterator[Printed]:
    """The summary: wrapped on a terminal, one line in a file."""
    summary = view.summary(account)
    for line in wrapped(summary, width) if sys.stdout.isatty() else [summary]:
        yield Printed(text=line, style="heading")


# ---- printing -------------------------------------------------------------------------------


def _print(console: Console, lines: Iterable[Printed]) -> None:
    """The one way of lines to the screen: whatever a card or a path holds is spelled out here."""
    from rich.text import Text  # noqa: PLC0415  only where something is printed

    for line in lines:
        text = Text(_for(console, safe(line.text)), style=_STYLES.get(line.style, ""))
        if line.tail:
            style = _STYLES["heading" if line.style == "heading" else "note"]
            text.append(f"  {_for(console, safe(line.tail))}", style=style)
        console.print(text, soft_wrap=True)


def _spelled(line: Line, console: Console) -> Line:
    """The line in signs that the terminal has, before its cells are counted."""
    texts = {name: _for(console, text) for name, text in asdict(line).items() if name != "notes"}
    return Line(**texts, notes=line.notes)


def _for(console: Console, text: str) -> str:
    """The text, with our own signs in ASCII where the terminal has none for them."""
    lacking = {sign: plain for sign, plain in _PLAIN_SIGNS.items() if not _has(console, sign)}
    for sign, plain in lacking.items():
        text = text.replace(sign, plain)
    return text


def _has(console: Console, sign: str) -> bool:
    try:
        sign.encode(console.encoding)
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def _console() -> Console:
    from rich.console import Console  # noqa: PLC0415  only where something is printed

    return Console(
        file=sys.stdout,
        color_system="auto" if sys.stdout.isatty() else None,
        highlight=False,
        markup=False,
        emoji=False,
    )


def _make_lenient(stream: TextIO) -> None:
    """A letter that the terminal does not have becomes a question mark, not an error."""
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is not None:
        reconfigure(errors="replace")


@contextlib.contextmanager
def _answering() -> Iterator[TextIO | None]:
    """Stdout, written to the end; None where it is closed.

    A reader that has seen enough is no fault: the rest goes nowhere. Raises AnswerLost where
    stdout takes no more for another reason.
    """
    stdout: TextIO | None = sys.stdout
    try:
        yield stdout
        if stdout is not None:
            stdout.flush()
    except BrokenPipeError:
        _to_nowhere(stdout)
    except OSError as error:
        _to_nowhere(stdout)
        raise AnswerLost(
            f"the answer cannot be written to where stdout leads: {error.strerror}. "
            "The card is unchanged; run it again with room there."
        ) from error


def _to_nowhere(stream: TextIO | None) -> None:
    """What is still buffered goes nowhere: Python would stumble over it once more at its end."""
    if stream is not None:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
